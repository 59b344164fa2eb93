"""The examples in the documentation of the public names say what they say."""

import ast
import doctest
import functools
import importlib
import inspect
import typing
from dataclasses import replace
from pathlib import Path

import pytest
from running import SMALL_BATCH, batches_of, blank_figures, with_few_traces

import raysim
from raysim.dose import simulate
from raysim.scene.build import BuiltScene

ROOT = Path(__file__).parents[1]
STUDIES = tuple(sorted(path.parent.name for path in (ROOT / "raysim/studies").glob("*/run.py")))
MODULES = (
    "raysim.base.csv_cells",
    "raysim.base.errors",
    "raysim",
    "raysim.cli.doctor",
    "raysim.cli.mistakes",
    "raysim.dose.exposure",
    "raysim.base.figures",
    "raysim.library.survival",
    "raysim.library.keitz",
    "raysim.library.surfaces",
    "raysim.studies.leak.exposure_limits",
    "raysim.studies.leak.passage",
    *(f"raysim.studies.{name}.run" for name in STUDIES),
    "raysim.studies.survey.places",
    "raysim.studies.lamps.kinds",
    "raysim.studies.design.relax",
    "raysim.studies.design.wish",
    "raysim.dose.simulate",
    "raysim.dose.seeds",
    "raysim.scene.check.check",
    "raysim.verdict.rules",
    "raysim.verdict.stray_light",
    "raysim.output.studies",
    *(f"raysim.output.studies.{name}" for name in STUDIES),
    "raysim.output.files.results",
    "raysim.output.words.numbers",
    "raysim.output.words.parcel",
    "raysim.scene.file.parcel_members",
    "raysim.page.edits",
    "raysim.page.journal",
    "raysim.workshop.frames",
    "raysim.workshop.bill",
    "raysim.workshop.grid",
    "raysim.scene.rabbet",
    "raysim.base.unit_symbols",
    "raysim.base.systems",
    "raysim.base.units",
)
OPTIONS = doctest.ELLIPSIS


def asked(value) -> str:
    """What an argument of a study says, whichever copy of a scene or file it is."""
    if isinstance(value, BuiltScene):
        return f"{value.sha256} {value.written!r}"
    return value.read_text("utf-8") if isinstance(value, Path) else repr(value)


@pytest.fixture(scope="module")
def once():
    """Has studies and runs of the same arguments done once for all examples."""
    known = {}

    def of(function):
        @functools.wraps(function)
        def found(*given, **named):
            key = (function, *map(asked, given), *((k, asked(v)) for k, v in named.items()))
            if key not in known:
                known[key] = function(*given, **named)
            wish = {"path": given[0]} if hasattr(known[key], "path") else {}  # a new copy of it
            return replace(known[key], **wish)

        return found

    with pytest.MonkeyPatch.context() as patch:
        for name in STUDIES:
            run = importlib.import_module(f"raysim.studies.{name}.run")
            study = of(run.study)
            patch.setattr(run, "study", study)
            patch.setattr(f"raysim.studies.{name}.study", study)
        whole = of(simulate.simulate)
        # As an entry: an attribute that is looked up when asked for would stay behind as this one.
        patch.setitem(vars(raysim), "simulate", whole)
        patch.setattr(simulate, "simulate", whole)
        yield


@pytest.mark.parametrize("name", MODULES)
def test_examples_in_docstrings_hold(name, once, monkeypatch):
    monkeypatch.chdir(ROOT)
    with_few_traces(monkeypatch, 0, 1, 1)
    # They show shapes and relations, hardly a figure.
    with batches_of(SMALL_BATCH), blank_figures():
        failed, tried = doctest.testmod(importlib.import_module(name), optionflags=OPTIONS)
    assert tried > 0
    assert failed == 0


def test_every_module_with_examples_is_tested():
    sources = {path for path in (ROOT / "raysim").rglob("*.py") if "\n>>> " in _unindented(path)}
    tested = {Path(importlib.import_module(name).__file__).resolve() for name in MODULES}
    assert {path.resolve() for path in sources} == tested


def _unindented(path: Path) -> str:
    return "\n".join(line.strip() for line in path.read_text("utf-8").splitlines())


def has_example(thing) -> bool:
    """Whether the documentation of a function shows how it is called."""
    found = doctest.DocTestFinder(recurse=False).find(thing)
    return any(thing.__name__ in example.source for test in found for example in test.examples)


@pytest.mark.parametrize("name", STUDIES)
def test_studies_show_how_they_are_called(name):
    study = importlib.import_module(f"raysim.studies.{name}")
    public = [getattr(study, word) for word in study.__all__]
    functions = [thing for thing in public if inspect.isfunction(thing)]
    assert study.study in functions
    assert all(map(has_example, functions))
    assert has_example(importlib.import_module(f"raysim.output.studies.{name}").write)


@pytest.mark.parametrize("name", sorted(set(raysim.__all__) - {"__version__"}))
def test_public_names_say_what_they_are(name):
    thing = getattr(raysim, name)
    if not callable(thing):
        assert isinstance(thing, tuple | str)
        return
    assert thing.__module__.startswith("raysim.")
    assert len(inspect.getdoc(thing)) > 20
    if inspect.isfunction(thing):
        assert has_example(thing)
        hints = typing.get_type_hints(thing)
        assert set(inspect.signature(thing).parameters) | {"return"} == set(hints)


def test_types_are_published():
    assert (ROOT / "raysim" / "py.typed").is_file()
    # What checkers of types see is what is there at run time.
    seen = ast.parse((ROOT / "raysim" / "__init__.py").read_text("utf-8"))
    block = next(node for node in seen.body if isinstance(node, ast.If))
    names = {a.name for node in block.body if isinstance(node, ast.ImportFrom) for a in node.names}
    assert names | {"__version__"} == set(raysim.__all__)
    for node in block.body:
        for alias in node.names:
            home = importlib.import_module(node.module)
            assert getattr(raysim, alias.name) is getattr(home, alias.name)
