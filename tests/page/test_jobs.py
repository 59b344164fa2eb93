"""Tests of the jobs: their command lines are real ones, and results are listed with their scenes."""

import json
from pathlib import Path

import click
import pytest

import raysim.cli
from raysim.base.progress import PROGRESS_VARIABLE
from raysim.cli.common import Teller
from raysim.page.jobs import KINDS, results, words_of

GROUP = raysim.cli.raysim


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("resume", [False, True])
def test_each_command_line_is_understood(tmp_path, monkeypatch, kind, resume):
    monkeypatch.setattr("raysim.cli.common.click.Context.find_root", lambda self: self)
    (tmp_path / "-odd.toml").write_text("")
    monkeypatch.chdir(tmp_path)
    (tmp_path / "wish.toml").write_text("")
    name, *words = words_of(kind, Path("-odd.toml"), resume)
    command = GROUP.get_command(click.Context(GROUP), name)
    context = command.make_context(name, words, resilient_parsing=True)
    about = ("wish", "wish.toml") if kind == "design" else ("scene", "-odd.toml")
    assert str(context.params[about[0]]) == about[1]
    known = {option for one in command.params for option in one.opts}
    assert {word for word in words if word.startswith("--") and word != "--"} <= known


def test_a_command_tells_the_page_how_far_it_is(tmp_path, monkeypatch):
    monkeypatch.setenv(PROGRESS_VARIABLE, str(tmp_path / "far"))
    teller = Teller(quiet=True)
    teller.progress("tracing", 1.0, 4.0)
    assert json.loads((tmp_path / "far").read_text()) == {"what": "tracing", "share": 0.25}


def test_results_are_listed_with_their_page_and_scene(tmp_path):
    for name, page in (("box", "report.html"), ("box_guide", "guide.html"), ("broken", None)):
        folder = tmp_path / "results" / name
        folder.mkdir(parents=True)
        record = {"scene": {"title": "My box", "sha256": "ab" * 32, "file": "box.toml"}}
        (folder / "result.json").write_text(json.dumps(record) if page else "{")
        if page:
            (folder / page).write_text("")
    (tmp_path / "results" / "box" / "best.toml").write_text("")
    found = {one["name"]: one for one in results(tmp_path)}
    assert found["box"]["scenes"] == ["best"]
    assert set(found) == {"box", "box_guide"}
    assert found["box_guide"]["page"] == "/results/box_guide/guide.html"
    assert found["box"]["scene"] == "My box"
    assert found["box"]["sha256"] == "abababababab"
