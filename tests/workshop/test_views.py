"""Front and side view and the sections of seams: their measures, worked out here once more."""

import numpy as np
import pytest
import shapely
from small_scenes import box, small_scene, write_scene

from raysim.dose.simulate import load_scene
from raysim.scene.file.written import SceneAsWritten
from raysim.workshop.door import door_in, door_of
from raysim.workshop.drawing import Layer, Polyline, Words
from raysim.workshop.grid import GRIDS, MM
from raysim.workshop.plan import plan_of
from raysim.workshop.sections import sections, size_words


@pytest.fixture(scope="module")
def plan(tmp_path_factory):
    folder, data = tmp_path_factory.mktemp("views"), small_scene()
    hook = {"name": "hook", "mesh": "hook.ply", "surface": "stainless steel", "at": [90, 125, 340]}
    data["object"].append(hook)
    data["meter"] = [{"name": "m", "at": [210, 60, 100], "facing": [1, 0, 0]}]
    return plan_of(load_scene(write_scene(folder, data, hook=box((4.0, 4.0, 4.0)))), MM)


def said(drawing, layer=Layer.WORDS):
    return [one for one in drawing.shapes if isinstance(one, Words) and one.layer is layer]


def test_both_views_show_every_place_and_measure_it(plan):
    front, side = plan.views
    assert (front.name, side.name) == ("front_view", "side_view")
    numbers = [{one.text for one in said(view, Layer.MEASURE)} for view in (front, side)]
    for mark in plan.marks:
        x, y, z = (f"{1000 * length:.10g}" for length in np.round(mark.at, 6))
        assert {x, z} <= numbers[0]
        assert {y, z} <= numbers[1]
    assert {"210", "100", "300", "350"} <= numbers[0]  # meter point, and the box
    assert {"60", "100", "250", "350"} <= numbers[1]
    letters = {tag for one in said(front) for tag in one.text.split(", ")}
    assert {"A", "B", "C", "D", "meter 1"} <= letters


def test_a_view_has_a_bar_of_its_scale(plan):
    for view in plan.views:
        lines = [s.points for s in view.shapes if isinstance(s, Polyline)]
        assert any(
            (d - b, c - a) == (0.0, pytest.approx(200.0))  # 100 mm in steps of 0.5 mm
            for (a, b), (c, d) in (line for line in lines if len(line) == 2)
        )
        assert "100 mm" in {one.text for one in said(view)}


def test_a_meter_that_faces_right_has_its_arrow_in_the_front_view_alone(plan):
    front, side = (
        [s.points for s in v.shapes if isinstance(s, Polyline) and s.layer is Layer.OUTLINE]
        for v in plan.views
    )
    assert ((420.0, 200.0), (pytest.approx(520.0), pytest.approx(200.0))) in front
    assert not any(np.allclose(line[0], (120.0, 200.0)) for line in side)


def door(**changed):
    gap = {"name": "door", "wall": "front", "width": 1, "depth": 24, "kind": "rabbet", "step": 8}
    points = [[12, 0, 12], [548, 0, 12], [548, 0, 928], [12, 0, 928], [12, 0, 12]]
    data = {
        "title": "t",
        "chamber": {"inside": [560, 440, 940], "lining": "foil"},
        "lamp": [
            {
                "name": "a",
                "from": [60, 190, 560],
                "to": [400, 190, 560],
                "diameter": 16,
                "uvc": "4 W",
            }
        ],
        "gap": [gap | {"points": points, "distance": 300} | changed],
    }
    return SceneAsWritten.model_validate(data, context={"metres_per_unit": 0.001})


@pytest.mark.parametrize("grid", GRIDS.values())
@pytest.mark.parametrize(("width", "depth", "step"), [(1, 24, 8), (2, 20, 6), (3, 12.5, 5)])
def test_frame_and_leaf_are_as_far_apart_as_the_seam_is_wide(grid, width, depth, step):
    (drawing,) = sections(door(width=width, depth=depth, step=step), grid)
    frame, leaf = (
        shapely.Polygon(s.points)
        for s in drawing.shapes
        if isinstance(s, Polyline) and s.layer is Layer.OUTLINE
    )
    wide, deep, off = (grid.steps(0.001 * length) for length in (width, depth, step))
    assert frame.distance(leaf) == pytest.approx(wide)
    # As built: four equal layers, the leaf proud by the seam; light has its depth to pass.
    assert leaf.bounds[1] == leaf.bounds[3] - frame.bounds[3] == wide
    assert frame.bounds[3] - leaf.bounds[1] in (deep, deep + 1)
    layer = frame.bounds[3] / 2
    low, high = (
        leaf.intersection(shapely.box(-1e3, y, 1e3, y + 0.1)).bounds[0]
        for y in (wide, wide + layer + 0.1)
    )
    # The leaf laps over the frame: outside it begins `off` nearer to the frame than inside.
    assert (low, high) == (wide, wide - off)


def test_the_leaf_has_its_size_in_words():
    """Middle lines 536 x 916 mm apart; half a seam less on each side, and the step more outside."""
    (drawing,) = sections(door(), MM)
    leaf, frame, how, swing = drawing.notes
    assert leaf == "Leaf: inner half 535 x 915, outer half 551 x 931 mm."
    assert frame.startswith("Opening in the frame: inner half 537 x 917, outer half 553 x 933 mm.")
    assert "no wider than 1 mm" in frame
    assert "no narrower than 0.77 mm" in frame  # 543 mm turn about a pin 5 mm out: 29 mm deep
    # (24 + 1) / 2; and with a pin at the edge of the leaf, 5 mm thicker in two layers
    assert "at least 12.5 and at most 15 mm thick whatever t is" in how
    assert "stands 1 mm proud" in how
    assert "at most 5 mm proud" in swing
    found = door_of(door(), MM)
    assert [size_words(found.leaf(step), MM) for step in found.halves] == ["535 x 915", "551 x 931"]
    (plain,) = sections(door(kind="plain", step=None), MM)
    assert plain.notes[0].startswith("Leaf 535 x 915 mm, opening 537 x 917 mm. The front is 24 mm")


def test_a_leaf_swings_clear_of_its_frame_and_its_ring_is_what_is_left_beside_it():
    """The far inner edge turns about the pin: worked out as a distance, not by the formula."""
    found = door_of(door(), MM)
    assert (found.ring(0), found.ring(found.step)) == (23, 7)  # 11.5 and 3.5 mm
    pin = found.pin()
    for out, fits in ((pin, True), (pin + 1, False)):
        across, deep = (535 + 8) * 2.0, 48.0 + out
        reach = np.hypot(across, deep) - across  # steps; the seam is 2 wide
        assert bool(reach <= 0.8 * 2.0) is fits
    for layer, fits in ((found.thickest(), True), (found.thickest() + 1, False)):
        reach = np.hypot(across, 2.0 * layer - 2.0) - across  # a pin at its edge
        assert bool(reach <= 0.8 * 2.0) is fits


def test_layers_of_a_rabbet_overlap_as_far_as_was_calculated():
    """With the leaf proud by the seam, each half overlaps by a layer less the width."""
    found = door_of(door(), MM)
    assert found.layer - found.width >= (found.depth - found.width) / 2
    front = (2 * 584, 2 * 964)
    cut = dict(found.pieces(front, kerf=6))
    assert cut["front frame, inner layer"] == cut["front frame, outer layer"] == front
    assert cut["leaf, outer layer"] == (2 * 551, 2 * 931)  # a cut of 3 mm leaves no 551 of 553
    assert "leaf, inner layer" not in cut  # 535 out of 553 has 9 mm all round
    assert [*dict(found.pieces(front, kerf=2))] == [
        "front frame, inner layer",
        "front frame, outer layer",
    ]


def test_a_seam_that_does_not_go_round_the_door_has_no_leaf():
    slit = door(points=[[12, 0, 12], [548, 0, 12]])
    assert door_in(slit.gap[0], slit, MM) is None
    assert sections(slit, MM)[0].notes == ()
    assert {"wall"} == {w.text for w in said(sections(slit, MM)[0])} - {
        "OUTSIDE",
        "INSIDE of the box, light",
    }
