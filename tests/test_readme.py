"""What the pages tell users to type is valid; no command and no key of a scene is left out."""

import contextlib
import doctest
import re
import shlex
import tomllib
from pathlib import Path
from typing import Annotated, Any

import click
import pytest
from pydantic import BaseModel, TypeAdapter
from pydantic.fields import FieldInfo

import raysim.cli
from raysim.base import units
from raysim.library.surfaces import find_surface
from raysim.scene.file import rows, seams, things, written

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
        command.make_context(command.name, words, help_option_names=["-h", "--help"])
    for word in words:
        if word.startswith("scenes/"):
            assert (ROOT / word).is_file(), word


# Heading of each table of keys in scenes/README.md, and the class that reads them.
TABLES: dict[str, type[BaseModel]] = {
    "[chamber]": written.Chamber,
    "[[lamp]]": written.Lamp,
    "[[object]]": things.Object,
    "[[row]]": rows.Row,
    "[target]": written.Target,
    "[lamps_behaviour]": written.LampsBehaviour,
    "lamps_behaviour.warm_up": written.WarmUp,
    "[wear]": written.Wear,
    "[[meter]]": written.Meter,
    "[[gap]]": seams.Gap,
    "[seams]": seams.Seams,
    "[[pose]]": things.Pose,
    "pose.object": things.PosedObject,
    "[[surface]]": things.SurfaceTable,
}
# Given in metres or by a table of their own; the page says it as it is written.
SHOWN_OTHERWISE = {
    ("[chamber]", "edge"): "50 mm",
    ("[[lamp]]", "reflectance"): f"{find_surface('lamp tube').reflectance:g}",
    ("[[row]]", "parts"): "those of the starter",
    ("[[row]]", "rail_at"): "54 mm behind",
    ("[lamps_behaviour]", "warm_up"): "none",
    ("[[meter]]", "response"): '`"cosine"`',
}
ROW = re.compile(r"^\| `(\w+)` \| `(.+?)` \| (.+?) \| .*\|$", re.MULTILINE)


def rows_of(heading: str) -> dict[str, tuple[str, str]]:
    """(example, default) of each key under a heading of scenes/README.md."""
    page = (ROOT / "scenes" / "README.md").read_text("utf-8")
    section = page.split(f"## {heading}\n")[1].split("\n## ")[0]
    found = ROW.findall(section)
    assert len(found) == len({key for key, *_ in found})
    return {key: (example, default) for key, example, default in found}


def fields_of(model: type[BaseModel]) -> dict[str, FieldInfo]:
    """Fields of a table by the key that a user writes."""
    return {field.alias or name: field for name, field in model.model_fields.items()}


def as_shown(default: Any) -> str:
    """A default as the page shows it."""
    if default is None or default in ([], {}, ()):
        return "none"
    if isinstance(default, tuple):
        return f"`[{', '.join(f'{value:g}' for value in default)}]`"
    if isinstance(default, str):
        return f'`"{default}"`'
    return str(default).lower() if isinstance(default, bool) else f"{default:g}"


@pytest.mark.parametrize("heading", TABLES)
def test_every_key_of_a_scene_is_listed_with_its_default(heading):
    rows, fields = rows_of(f"`{heading}`"), fields_of(TABLES[heading])
    assert set(rows) == set(fields)
    for key, field in fields.items():
        if field.is_required():
            expected = "required"
        else:
            default = field.get_default(call_default_factory=True)
            expected = SHOWN_OTHERWISE.get((heading, key)) or as_shown(default)
        assert rows[key][1] == expected, key


@pytest.mark.parametrize("heading", TABLES)
def test_every_key_takes_the_example_it_is_listed_with(heading):
    rows = rows_of(f"`{heading}`")
    for key, field in fields_of(TABLES[heading]).items():
        value = tomllib.loads(f"x = {rows[key][0]}")["x"]
        kind = Annotated[field.annotation, *field.metadata] if field.metadata else field.annotation
        TypeAdapter(kind).validate_python(value, context={"metres_per_unit": 0.001})
        if isinstance(value, str) and value[0].isdigit():  # a quantity: its unit is not optional
            with pytest.raises(ValueError, match="unit"):
                TypeAdapter(kind).validate_python(float(value.split()[0]))


def test_every_table_of_a_scene_is_listed():
    listed = {heading.strip("[]") for heading in TABLES if heading.startswith("[")}
    top = rows_of("Top of the file")
    assert listed | set(top) == set(written.SceneAsWritten.model_fields)
    for key, (example, default) in top.items():
        field = written.SceneAsWritten.model_fields[key]
        assert default == ("required" if field.is_required() else as_shown(field.default))
        TypeAdapter(field.annotation).validate_python(tomllib.loads(f"x = {example}")["x"])


def test_units_that_are_listed_are_read():
    page = (ROOT / "scenes" / "README.md").read_text("utf-8")
    for quantity in units.EXAMPLE:
        if quantity == units.LENGTH:
            continue
        (listed,) = re.findall(rf"^\| {quantity} \| (.+) \|$", page, re.MULTILINE)
        for unit in listed.split(", "):
            assert units.parse_quantity(f"300 {unit}", quantity) > 0.0


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
