"""Lengths that are printed come back to the last bit; scenes are rounded to them and no more."""

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_scenes import small_scene, toml_text

from raysim.base.units import LENGTH, parse_quantity
from raysim.scene.file.written import SceneAsWritten
from raysim.workshop.grid import GRIDS, INCH, MM
from raysim.workshop.rounding import moved, rounded

EACH = pytest.mark.parametrize("grid", GRIDS.values(), ids=GRIDS)


@EACH
@given(steps=st.integers(-40_000, 400_000))
def test_what_is_printed_is_read_back_to_the_last_bit(grid, steps):
    assert grid.read(grid.text(steps)) == steps
    assert grid.steps(grid.metres(steps)) == steps
    assert parse_quantity(grid.written(steps), LENGTH) == grid.metres(steps)


@EACH
@given(metres=st.floats(0.0, 10.0))
def test_no_length_is_moved_by_more_than_half_a_step(grid, metres):
    assert abs(grid.metres(grid.steps(metres)) - metres) <= 0.5001 * grid.step


def test_lengths_are_printed_as_a_workshop_writes_them():
    assert [MM.text(k) for k in (0, 1, 240)] == ["0", "0.5", "120"]
    assert [INCH.text(k) for k in (0, 1, 8, 16, 67)] == ["0", "1/16", "1/2", "1", "4 3/16"]
    assert (MM.step_words, INCH.step_words) == ("0.5 mm", "1/16 in")


@pytest.mark.parametrize("text", ["", "x", "4.3", "1/3", "1/0", "4 3/16 in", "nan"])
def test_what_is_no_length_on_the_grid_is_refused(text):
    with pytest.raises(ValueError, match="is no length|lies between"):
        INCH.read(text)


def odd_scene() -> dict:
    """A scene of which many lengths lie on no step, in every key that is built."""
    data = small_scene()
    data["chamber"] |= {"inside": [300.3, "250.2 mm", "35.01 cm"], "sheet": 12.2}
    data["lamp"][0] |= {"from": [40.2, 40, 60], "diameter": 15.7}
    data["object"][0] |= {"at": [130.1, 125, 150], "turn": [0, 0, 30.3], "edge": 25.3}
    data["meter"] = [{"name": "m", "at": [20.3, 20, 20], "facing": [0, 0, 1]}]
    gap = {"wall": "front", "from": [10.2, 0, 10], "to": [10.2, 0, 90], "width": 1.1}
    data["gap"] = [gap | {"depth": 24.3, "kind": "rabbet", "step": 8.2, "distance": 300.3}]
    data["pose"] = [{"name": "p", "object": [{"name": "plate", "at": [131.1, 125, 150]}]}]
    return data


def read(data: dict) -> SceneAsWritten:
    return SceneAsWritten.model_validate(data, context={"metres_per_unit": 0.001})


def on_grid(value, grid) -> bool:
    if isinstance(value, list | tuple):
        return all(on_grid(one, grid) for one in value)
    return value == grid.metres(grid.steps(value))


@EACH
def test_a_rounded_scene_lies_on_the_grid_and_only_what_is_built_is_moved(grid):
    data = odd_scene()
    before = tomllib.loads("\n".join(f"{k} = {toml_text(v)}" for k, v in data.items()))
    found, was = read(rounded(data, read(data), grid)), read(data)
    built = [found.chamber.inside, found.chamber.sheet, found.meter[0].at, found.object[0].at]
    built += [
        found.pose[0].object[0].at,
        *(end for lamp in found.lamp for end in (lamp.start, lamp.end)),
    ]
    gap = found.gap[0]
    built += [gap.start, gap.end, gap.width, gap.depth, gap.step]
    assert all(on_grid(value, grid) for value in built)
    assert not on_grid(was.chamber.inside, grid)
    assert found.object[0].turn == (0.0, 0.0, 30.5)
    assert found.lamp[0].diameter == was.lamp[0].diameter
    assert (found.object[0].edge, gap.distance) == (was.object[0].edge, was.gap[0].distance)
    assert data == before  # the scene of the user is left as it was


def test_what_was_moved_is_told():
    rows = moved(odd_scene(), read(odd_scene()), MM)
    assert [row.after for row in rows if row.key == "inside"] == ["300.5", "250", "350"]
    assert {row.key for row in rows} >= {"sheet", '"left" from', '"plate" at', "width", "step"}
    assert moved(small_scene(), read(small_scene()), MM) == []


def test_a_unit_stands_behind_in_as_a_word():
    assert (MM.name, INCH.name) == ("mm", "inches")
