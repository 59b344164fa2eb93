"""What the README tells users to type is valid, and no command is left out."""

import contextlib
import doctest
import re
import shlex
from pathlib import Path

import click
import pytest

import raysim.cli

ROOT = Path(__file__).parents[1]
TEXT = (ROOT / "README.md").read_text("utf-8")
FENCED = re.findall(r"^```sh\n(.*?)^```$", TEXT, re.MULTILINE | re.DOTALL)


def typed_lines() -> list[str]:
    """Every `raysim ...` that stands in a fenced block, without its comment."""
    lines = [line for block in FENCED for line in block.splitlines()]
    parts = [part.strip() for line in lines for part in re.split(r";|&&", line.partition("  #")[0])]
    return [re.sub(r"^\S*raysim", "raysim", p) for p in parts if re.match(r"\S*raysim ", p)]


@pytest.mark.parametrize("line", typed_lines())
def test_what_stands_there_can_be_typed(line):
    words = shlex.split(line.partition(" > ")[0])[1:]
    command: click.Command = raysim.cli.raysim
    while isinstance(command, click.Group) and not words[0].startswith("-"):
        command = command.get_command(click.Context(command), words.pop(0))
        assert command is not None, line
    with contextlib.suppress(click.exceptions.Exit):  # --help ends at once
        command.make_context(command.name, words)
    for word in words:
        if word.startswith("scenes/"):
            assert (ROOT / word).is_file(), word


def test_every_command_stands_in_it():
    missing = [name for name in raysim.cli.COMMANDS if f"raysim {name}" not in TEXT]
    assert missing == []


def test_the_two_commands_are_where_ci_looks_for_them():
    for mark in ("demo", "tests"):
        assert re.search(rf"^<!-- {mark} -->\n```sh\n[^\n]+\n```$", TEXT, re.MULTILINE)


def test_python_in_it_does_what_it_says(monkeypatch):
    monkeypatch.chdir(ROOT)
    failed, _ = doctest.testfile(
        str(ROOT / "README.md"), module_relative=False, optionflags=doctest.ELLIPSIS
    )
    assert failed == 0
