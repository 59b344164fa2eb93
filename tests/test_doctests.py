"""The examples in the documentation of the public names say what they say."""

import doctest
import importlib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
MODULES = (
    "raysim",
    "raysim.cli.mistakes",
    "raysim.exposure",
    "raysim.kinetics",
    "raysim.lamps",
    "raysim.library",
    "raysim.people",
    "raysim.unit_symbols",
    "raysim.units",
)
OPTIONS = doctest.ELLIPSIS


@pytest.mark.parametrize("name", MODULES)
def test_examples_in_docstrings_hold(name, monkeypatch):
    monkeypatch.chdir(ROOT)
    failed, tried = doctest.testmod(importlib.import_module(name), optionflags=OPTIONS)
    assert tried > 0
    assert failed == 0


def test_every_module_with_examples_is_tested():
    sources = {path for path in (ROOT / "raysim").rglob("*.py") if "\n>>> " in _unindented(path)}
    tested = {Path(importlib.import_module(name).__file__).resolve() for name in MODULES}
    assert {path.resolve() for path in sources} == tested


def _unindented(path: Path) -> str:
    return "\n".join(line.strip() for line in path.read_text("utf-8").splitlines())
