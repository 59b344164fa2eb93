"""What is no number is no figure: no record of results holds it, and no words or files tell it."""

import dataclasses
import importlib
import math
import pkgutil
import typing

import pytest

import raysim
from raysim.base.figures import Figures, NotAFigure, finite_or_none, told
from raysim.base.units import minutes_seconds
from raysim.output.files.folder import json_text
from raysim.output.words.numbers import number

# Input, geometry, and numbers on their way, which are no results.
OTHERS = {
    "scene", "library", "transport", "estimate", "logbook", "starter", "kernels", "cli",
    "output.pictures", "output.viewer", "output.pages.card_png", "workshop", "assess.sensitivity.Cycle",
    "dose.checkpoint", "dose.exposure", "dose.lamp_failures.LampTallies", "studies.leak.slit", "studies.leak.passage",
    "studies.hooks.clearances", "studies.hooks.points", "studies.hooks.contestant", "studies.hooks.load", "studies.hooks.race",
    "studies.lamps.places", "studies.lamps.kinds", "studies.design.shapes", "studies.design.boxes", "page.jobs",
}  # fmt: skip


def dataclasses_of_the_package():
    """Every dataclass, by its dotted name within the package."""
    found = {}
    for module in pkgutil.walk_packages(raysim.__path__, "raysim."):
        if module.name.endswith("__main__"):
            continue
        for kind in vars(importlib.import_module(module.name)).values():
            if (
                isinstance(kind, type)
                and dataclasses.is_dataclass(kind)
                and kind.__module__.startswith("raysim.")
            ):
                found[f"{kind.__module__}.{kind.__qualname__}".removeprefix("raysim.")] = kind
    return found


def numbers_of(kind):
    """Names of the fields that hold a float."""
    hints = typing.get_type_hints(kind)
    return [
        field.name
        for field in dataclasses.fields(kind)
        if float in [hints[field.name], *typing.get_args(hints[field.name])]
    ]


RECORDS = {
    name: kind for name, kind in dataclasses_of_the_package().items() if issubclass(kind, Figures)
}
FIELDS = [(name, field) for name, kind in RECORDS.items() for field in numbers_of(kind)]


def test_every_record_of_results_is_guarded():
    left = [
        name
        for name, kind in dataclasses_of_the_package().items()
        if numbers_of(kind)
        and name not in RECORDS
        and name not in OTHERS
        and not any(name.startswith(f"{other}.") for other in OTHERS)
    ]
    assert left == []
    assert len(FIELDS) > 80


@pytest.mark.parametrize(("name", "field"), FIELDS)
def test_no_record_holds_what_is_no_number(name, field):
    kind = RECORDS[name]
    values = {
        entry.name: 1.0 if entry.name in numbers_of(kind) else ()
        for entry in dataclasses.fields(kind)
    }
    kind(**values)
    held = typing.get_type_hints(kind)[field]
    many = typing.get_origin(held) is tuple
    with pytest.raises(NotAFigure, match=rf"{kind.__name__}\.{field} came out as no number"):
        kind(**(values | {field: (math.nan,) if many else math.nan}))


@pytest.mark.parametrize("door", [number, minutes_seconds, finite_or_none, lambda v: told(v, "it")])
@pytest.mark.parametrize("value", [math.nan, None])
def test_no_words_and_no_files_tell_it(door, value):
    with pytest.raises(NotAFigure):
        door(value)


def test_a_number_without_end_has_words_only_as_a_time():
    assert minutes_seconds(math.inf) == "no finite time"
    assert finite_or_none(math.inf) is None
    with pytest.raises(NotAFigure):
        number(math.inf)


def test_json_holds_none_of_it():
    with pytest.raises(NotAFigure):
        json_text({"timer_s": math.nan})
