"""A round vessel: found among meshes, unrolled, and measured so that each place comes back."""

from math import cos, pi, sin

import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st
from small_scenes import box, small_scene, write_scene
from test_drawings_back import NOTE
from test_fixings import drum as upright

from raysim.dose.simulate import load_scene
from raysim.output.files.guide_scene import rounded_scene
from raysim.workshop.drum import BOTTOM, MANTLE, TOP, Drum, drum_of, drum_sides
from raysim.workshop.fixings import Walls, box_walls
from raysim.workshop.grid import GRIDS, MM
from raysim.workshop.plan import drum_in, plan_of

LIES = Drum(0, (1.0, 2.0), 0.3, (0.5, 1.4))  # along x
STANDS = Drum(2, (1.0, 2.0), 0.285, (3.0, 3.85))
SHARE = st.floats(0.01, 0.99)


@pytest.mark.parametrize("drum", [LIES, STANDS], ids=["lies", "stands"])
@pytest.mark.parametrize("side", [MANTLE, BOTTOM, TOP])
@given(reach=SHARE, turn=SHARE, along=SHARE)
def test_a_place_comes_back_from_every_side(drum, side, reach, turn, along):
    at = [0.0, 0.0, 0.0]
    at[drum.axis] = drum.ends[0] + along * (drum.ends[1] - drum.ends[0])
    for axis, value, middle in zip(drum.across, (cos, sin), drum.centre, strict=True):
        at[axis] = middle + reach * drum.radius * value(2 * pi * turn)
    back = drum.place(side, *drum.measures(side, tuple(at)))
    assert back == pytest.approx(tuple(at), abs=1e-12)


def test_the_mantle_runs_to_the_right_from_the_front_line_as_seen_from_inside():
    """One who stands inside before the front line (low y) and turns right looks along -x."""
    quarter = 0.5 * pi * STANDS.radius
    x, y, z = STANDS.place(MANTLE, 0.0, 0.1, 0.0)
    assert (x, y, z) == pytest.approx((1.0, 2.0 - 0.285, 3.1))
    assert STANDS.place(MANTLE, quarter, 0.1, 0.0) == pytest.approx((1.0 - 0.285, 2.0, 3.1))
    assert STANDS.place(MANTLE, 2 * quarter, 0.1, 0.05)[1] == pytest.approx(2.0 + 0.235)


def test_the_lower_edge_of_the_bottom_is_the_front_and_that_of_the_top_the_back():
    assert STANDS.place(BOTTOM, 0.285, 0.0, 0.0) == pytest.approx((1.0, 2.0 - 0.285, 3.0))
    assert STANDS.place(TOP, 0.285, 0.0, 0.0) == pytest.approx((1.0, 2.0 + 0.285, 3.85))
    for side in (BOTTOM, TOP):
        assert STANDS.place(side, 0.0, 0.285, 0.0)[0] == pytest.approx(1.0 - 0.285)


def test_a_drum_is_found_and_a_box_or_a_cone_is_none():
    found = drum_of(upright())
    assert (found.axis, found.centre) == (2, pytest.approx((1.0, 2.0)))
    assert (found.radius, found.ends) == (pytest.approx(0.285), pytest.approx((3.0, 3.85)))
    assert dict(found.by_name) == {"floor": BOTTOM, "ceiling": TOP, "side wall": MANTLE}
    assert drum_of(box_walls((0.5, 0.5, 0.5))) is None
    hexagon = trimesh.creation.cylinder(0.3, 0.8, sections=6).triangles[:, ::-1]
    assert drum_of(Walls(np.array(hexagon), ("",) * len(hexagon), False)) is None
    cone = trimesh.creation.cone(0.3, 0.8).triangles[:, ::-1]
    assert drum_of(Walls(np.array(cone), ("",) * len(cone), False)) is None


def test_the_sides_have_the_size_of_the_vessel():
    sides = drum_sides(STANDS, MM)
    assert sides[MANTLE].size == (MM.steps(2 * pi * 0.285), MM.steps(0.85))
    assert sides[TOP].size == (1140, 1140)
    assert [sides[side].is_disc for side in (MANTLE, BOTTOM, TOP)] == [False, True, True]


@pytest.mark.parametrize("grid", GRIDS.values(), ids=GRIDS)
def test_what_is_printed_of_a_drum_gives_the_places_that_were_traced(grid, tmp_path):
    """Read from the notes of the drawings alone, by the radius of the vessel, to the last bit."""
    vessel = trimesh.creation.cylinder(radius=200, height=500, sections=48)
    vessel.apply_translation([200, 200, 250])
    data = small_scene()
    data["chamber"] = {"mesh": "vessel.ply", "lining": "aluminium foil, bright side"}
    data["lamp"][0] |= {"from": [90.3, 140.2, 60.1], "to": [90.3, 140.2, 440.7]}
    data["lamp"][1] |= {"from": [330.3, 210.2, 150.2], "to": [330.3, 210.2, 300.6]}
    data["object"][0]["at"] = [200.3, 190.1, 330.3]
    path = write_scene(tmp_path, data, vessel=vessel, hook=box((3.0, 3.0, 3.0)))
    scene, _ = rounded_scene(load_scene(path), grid, tmp_path, load_scene)
    plan, drum = plan_of(scene, grid), drum_in(scene)
    assert not plan.is_box
    assert not plan.is_named
    read = {}
    for panel, drawing in zip(plan.panels, plan.drawings, strict=True):
        for place, note in zip(panel.places, drawing.notes, strict=False):
            numbers = NOTE.match(note).groups()[2:5]
            u, v, off = (grid.metres(grid.read(number)) for number in numbers)
            read[place.mark.thing, place.mark.end] = drum.place(panel.wall, u, v, off)
    written = scene.written
    ends = {(x.name, "from"): x.start for x in written.lamp}
    ends |= {(x.name, "to"): x.end for x in written.lamp}
    assert read == ends | {(x.name, "at"): x.at for x in written.object}
    assert written.lamp[0].start != load_scene(path).written.lamp[0].start
