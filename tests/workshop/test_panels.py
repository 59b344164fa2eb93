"""Panels of a box: their sizes, which way round they are, and how they lie on stock."""

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from test_fixings import marks, scene

from raysim.base.errors import RaysimError
from raysim.scene.place import BOX_WALLS, box_vertices
from raysim.workshop.fixings import Held
from raysim.workshop.frames import frames, net
from raysim.workshop.grid import MM
from raysim.workshop.measures import rows_of_labels
from raysim.workshop.nesting import Piece, nested
from raysim.workshop.panel_drawing import hole_diameter, place_words
from raysim.workshop.panels import panels

INSIDE = (560, 440, 940)
LENGTH = st.integers(1, 5000)


def cut(sheet=None, **chamber):
    written = scene(sheet, **chamber)
    return {p.wall: p for p in panels(written, marks(written), MM)}


@pytest.mark.parametrize("sheet", [3.0, 12.0, 18.0])
def test_panels_add_up_to_the_shell_and_leave_the_inside(sheet):
    """Volume of the panels = outer box - inner box: no corner is doubled or missing."""
    w, d, h, t = 460.0, 380.0, 610.0, sheet
    volume = sum(p.sheet[0] * p.sheet[1] for p in cut(sheet).values()) / 4.0 * t
    assert volume == pytest.approx((w + 2 * t) * (d + 2 * t) * (h + 2 * t) - w * d * h)


def test_linings_cover_the_inside():
    found = cut(12)
    area = sum(p.frame.size[0] * p.frame.size[1] for p in found.values()) / 4.0
    assert area == pytest.approx(2 * (460 * 380 + 460 * 610 + 380 * 610))
    assert (found["floor"].surface, found["back"].surface) == ("plywood", "foil")


def test_without_a_thickness_there_are_linings_only():
    assert all(p.sheet is None for p in cut().values())


def test_a_chamber_of_any_shape_has_no_panels():
    assert panels(scene(inside=None, mesh="x.stl", walls={}), (), MM) == ()


@given(inside=st.tuples(LENGTH, LENGTH, LENGTH), place=st.tuples(LENGTH, LENGTH, LENGTH))
def test_a_place_comes_back_from_every_wall(inside, place):
    for frame in frames(inside, MM).values():
        assert frame.place(*frame.on_wall(place)) == place


def test_walls_are_drawn_as_seen_from_inside_and_not_mirrored():
    """u, v and the normal into the box are right-handed, and the normal is that of the triangles."""
    corners = box_vertices(INSIDE)
    for wall, frame in frames(INSIDE, MM).items():
        origin, u, v, n = (
            [float(x) for x in frame.place(*p)]
            for p in ((0, 0, 0), (1, 0, 0), (0, 1, 0), (0, 0, 1))
        )
        right, up, inward = ([b - a for a, b in zip(origin, p, strict=True)] for p in (u, v, n))
        cross = [
            right[1] * up[2] - right[2] * up[1],
            right[2] * up[0] - right[0] * up[2],
            right[0] * up[1] - right[1] * up[0],
        ]
        assert cross == inward
        a, b, c = corners[BOX_WALLS[wall][0]]
        assert np.sign(np.cross(b - a, c - a)).tolist() == inward


def test_neighbours_on_the_net_are_neighbours_in_the_box():
    """Where two walls touch on the net, points on their common edge are the same in the box."""
    corners, walls = net(INSIDE), frames(INSIDE, MM)
    seen = 0
    for (one, a), (other, b) in itertools.combinations(walls.items(), 2):
        (ax, ay), (bx, by) = corners[one], corners[other]
        shared = [
            (x, y)
            for x in {ax, ax + a.size[0]} & {bx, bx + b.size[0]}
            for y in {ay, ay + a.size[1]} & {by, by + b.size[1]}
        ]
        if len(shared) == 2:
            seen += 1
            for x, y in shared:
                assert a.place(x - ax, y - ay, 0) == b.place(x - bx, y - by, 0)
    assert seen == 5  # five folds hold six walls together


def test_each_edge_names_the_wall_that_it_meets():
    walls = frames(INSIDE, MM)
    assert walls["back"].edges == {
        "left": "left", "right": "right", "lower": "floor", "upper": "ceiling"
    }  # fmt: skip
    assert walls["left"].edges["left"] == "front"
    assert walls["right"].edges["left"] == "back"
    assert walls["front"].edges["left"] == "right"
    assert (walls["ceiling"].edges["upper"], walls["floor"].edges["upper"]) == (
        "front", "back",
    )  # fmt: skip


def test_a_place_is_measured_from_the_edges_of_the_panel():
    found = cut(12)
    (place,) = found["left"].places[:1]
    assert (place.mark.thing, place.mark.end) == ("a", "from")
    assert found["left"].from_edges(place) == (2 * 190, 2 * 560)  # between floor and ceiling
    (hook,) = (p for p in found["ceiling"].places if p.mark.thing == "hook 1")
    assert found["ceiling"].from_edges(hook) == (2 * (120 + 12), 2 * (380 - 150))
    assert hook.mark.carries == ("respirator",)


def test_how_a_load_is_turned_stands_with_its_hook():
    written = scene(12)
    turned = written.object[1].model_copy(update={"turn": (0.0, 0.0, 35.5)})
    written = written.model_copy(update={"object": [written.object[0], turned]})
    found = {p.wall: p for p in panels(written, marks(written), MM)}
    (place,) = (p for p in found["ceiling"].places if p.mark.thing == "hook 1")
    words = place_words(found["ceiling"], place, MM)
    assert "respirator turned 0, 0, 35.5 degrees about x (right), y (back), z (up)" in words


def test_only_what_a_wall_holds_gets_a_hole():
    for panel in cut(12).values():
        for place in panel.places:
            drilled = place.mark.held in (Held.HOLE, Held.HOOK)
            assert (hole_diameter(place, MM) is not None) == drilled


PIECES = st.lists(st.tuples(st.integers(50, 900), st.integers(50, 900)), min_size=1, max_size=7)


@given(sizes=PIECES, kerf=st.integers(0, 12))
def test_nothing_on_a_sheet_overlaps_and_all_of_it_is_there(sizes, kerf):
    pieces = [Piece(f"p{k}", size) for k, size in enumerate(sizes)]
    sheets = nested(pieces, (1000, 1000), kerf, 50)
    laid = [one for sheet in sheets for one in sheet.pieces]
    assert sorted(one.name for one in laid) == sorted(one.name for one in pieces)
    for one in laid:
        asked = next(p.size for p in pieces if p.name == one.name)
        assert one.size == (asked[::-1] if one.turned else asked)
    for sheet in sheets:
        boxes = [(*one.at, *one.size, kerf) for one in sheet.pieces]
        boxes += [(*cut, 0) for cut in sheet.offcuts]
        assert all(x >= 0 and y >= 0 and x + w <= 1000 and y + h <= 1000 for x, y, w, h, _ in boxes)
        for (x, y, w, h, k), (a, b, c, d, m) in itertools.combinations(boxes, 2):
            assert x + w + k <= a or a + c + m <= x or y + h + k <= b or b + d + m <= y


def test_the_largest_empty_rectangle_is_the_first_offcut():
    (sheet,) = nested([Piece("p", (400, 1000))], (1000, 1000), 10, 50)
    assert sheet.offcuts == ((0, 410, 1000, 590),) or sheet.offcuts == ((410, 0, 590, 1000),)
    assert sheet.used == pytest.approx(0.4)


def test_a_panel_larger_than_the_stock_is_refused():
    with pytest.raises(RaysimError, match=r'"back" is larger than a sheet of stock. Mend: '):
        nested([Piece("back", (1001, 200))], (1000, 1000), 0, 50)


def test_labels_that_would_overlap_take_another_row():
    assert rows_of_labels([0, 10, 12, 14, 30], [8, 8, 8, 8, 8]) == [0, 0, 1, 2, 0]
