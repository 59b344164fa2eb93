"""Where lamps and hooks are fixed in a box."""

import numpy as np
import pytest
import trimesh

from raysim.scene.file.written import SceneAsWritten
from raysim.workshop.fixings import Held, Walls, box_walls, nearest_wall
from raysim.workshop.fixings import marks as marks_on

MM = 0.001


def scene(sheet=None, **chamber):
    shape = {"inside": [460, 380, 610], "lining": "foil", "walls": {"floor": "plywood"}}
    data = {
        "title": "t",
        "chamber": shape | ({} if sheet is None else {"sheet": sheet}) | chamber,
        "lamp": [
            {
                "name": "a",
                "from": [60, 190, 560],
                "to": [400, 190, 560],
                "diameter": 16,
                "uvc": "4 W",
            },
            {"name": "b", "from": [50, 40, 60], "to": [50, 40, 500], "diameter": 16, "uvc": "4 W"},
        ],
        "object": [
            {"name": "hook 1", "mesh": "hook.stl", "surface": "steel", "at": [120, 150, 590]},
            {
                "name": "respirator",
                "mesh": "cup.obj",
                "surface": "fabric",
                "at": [120, 150, 590],
                "judged": True,
            },
        ],
    }
    return SceneAsWritten.model_validate(data, context={"metres_per_unit": MM})


def marks(written):
    return marks_on(written, box_walls(written.chamber.inside))


def with_lamps(*lamps):
    """A wardrobe with these lamps alone: (name, from, to, more keys)."""
    rows = [
        {"name": name, "from": start, "to": end, "diameter": 16, "uvc": "4 W"} | more
        for name, start, end, more in lamps
    ]
    data = {
        "title": "t",
        "chamber": {"inside": [600, 500, 1800], "lining": "foil"},
        "lamp": rows,
    }
    return SceneAsWritten.model_validate(data, context={"metres_per_unit": MM})


def test_lamps_are_drilled_where_their_axis_meets_a_wall():
    by_name = {m.what: m for m in marks(scene())}
    first, second = (by_name[f'lamp a, at "{end}"'] for end in ("from", "to"))
    assert (first.wall, second.wall) == ("left", "right")
    assert first.held is second.held is Held.HOLE
    assert (first.thing, first.end, first.at) == ("a", "from", pytest.approx((0.06, 0.19, 0.56)))
    assert (first.off_wall, second.off_wall) == pytest.approx((0.06, 0.06))


@pytest.mark.parametrize(
    ("end", "held", "wall", "off"),
    [
        (1730, Held.HOLE, "ceiling", 70.0),
        (1710, Held.BRACKET, "left", 45.0),  # 90 mm: beyond its cap and holder
        (850, Held.BRACKET, "left", 45.0),  # the lower of two storeys: 950 mm
    ],
)
def test_only_a_wall_right_ahead_of_a_lamp_gets_a_hole(end, held, wall, off):
    _, mark = marks(with_lamps(("low", [45, 60, 30], [45, 60, end], {})))
    assert (mark.held, mark.wall) == (held, wall)
    assert 1000.0 * mark.off_wall == pytest.approx(off)
    assert mark.at == pytest.approx((0.045, 0.06, 0.001 * end))


def test_no_lamp_is_held_by_the_door():
    first, second = marks(with_lamps(("across", [40, 60, 900], [40, 440, 900], {})))
    assert (first.held, first.wall) == (Held.BRACKET, "left")
    assert (second.held, second.wall) == (Held.HOLE, "back")


def test_a_lamp_end_far_from_every_wall_hangs_free():
    first, second = marks(with_lamps(("middle", [300, 250, 700], [300, 250, 1100], {})))
    assert first.held is second.held is Held.FREE
    assert first.at == pytest.approx((0.3, 0.25, 0.7))
    assert first.off_wall is None


@pytest.mark.parametrize(("low", "end"), [(30, "from"), (300, "to")])
def test_a_lamp_of_several_tubes_has_one_cap(low, end):
    """Four holes were asked for where two twin tubes have two caps; the free ends get a support."""
    twin = {"tubes": 2, "spacing": 28}
    found = {m.end: m for m in marks(with_lamps(("twin", [45, 60, low], [45, 60, 1740], twin)))}
    mark = found.pop(end)
    assert mark.what == f'lamp twin, its one cap, at "{end}"'
    assert mark.held is Held.HOLE
    (free,) = found.values()
    assert free.held is Held.SUPPORT
    assert (free.wall, free.off_wall) == ("left", pytest.approx(0.045))


def drum(radius=0.285, height=0.85):
    """A drum that stands somewhere, its faces turned inwards, without names."""
    shape = trimesh.creation.cylinder(radius=radius, height=height, sections=96)
    shape.apply_translation([1.0, 2.0, 3.0 + 0.5 * height])
    corners = shape.triangles[:, ::-1]
    return Walls(np.array(corners), ("",) * len(corners), False)


def test_a_box_from_a_mesh_has_the_wall_that_holds():
    on_axis = with_lamps(
        ("axis", [1000, 2000, 3040], [1000, 2000, 3800], {}),
        ("side", [1240, 2000, 3200], [1240, 2000, 3600], {}),
    )
    low, high, side, _ = marks_on(on_axis, drum())
    assert [(m.held, m.wall) for m in (low, high)] == [
        (Held.HOLE, "floor"),
        (Held.HOLE, "ceiling"),
    ]
    assert (low.off_wall, high.off_wall) == pytest.approx((0.04, 0.05))
    assert (side.held, side.wall) == (Held.BRACKET, "side wall")
    assert side.off_wall == pytest.approx(0.285 - 0.24, abs=1e-3)


def test_hooks_are_fixed_to_the_nearest_wall_and_respirators_are_not():
    hook = next(m for m in marks(scene()) if m.what == "hook 1")
    assert (hook.wall, hook.off_wall) == ("ceiling", pytest.approx(0.02))
    assert not any(m.what == "respirator" for m in marks(scene()))


@pytest.mark.parametrize("name", ["Haken 1", "crochet", "peg", "крюк"])
def test_hooks_are_found_in_any_language(name):
    written = scene()
    hook = written.object[0].model_copy(update={"name": name})
    respirator = written.object[1].model_copy(update={"judged": True})
    found = marks(written.model_copy(update={"object": [hook, respirator]}))
    assert [m.what for m in found if not m.what.startswith("lamp")] == [name]


def test_a_respirator_that_no_hook_was_drawn_for_has_its_place_on_the_sheet():
    written = scene()
    update = {"judged": True, "at": (0.23, 0.19, 0.6), "name": "Maske 2"}
    lone = written.object[1].model_copy(update=update)
    found = marks(written.model_copy(update={"object": [written.object[0], lone]}))
    mark = next(m for m in found if "Maske 2" in m.what)
    assert (mark.what, mark.wall) == ("Maske 2, where it hangs", "ceiling")
    assert mark.at == pytest.approx((0.23, 0.19, 0.6))


def test_hooks_in_the_middle_hang_on_a_rail_and_none_on_the_door():
    """115 mm and more off every wall but the door, which is nearest: a rail."""
    data = scene().model_dump()["object"]
    assert data, "the scene has hooks"
    written = scene()
    hook = written.object[0].model_copy(update={"name": "hook 9", "at": (0.23, 0.05, 0.3)})
    (mark,) = (m for m in marks(written.model_copy(update={"object": [hook]})) if "hook" in m.what)
    assert mark.held is Held.FREE
    assert mark.off_wall is None
    assert mark.at == pytest.approx((0.23, 0.05, 0.3))


def test_no_hook_is_told_to_hang_on_the_door():
    size = (0.4, 0.4, 0.6)
    assert nearest_wall((0.15, 0.01, 0.3), size) == ("left", pytest.approx(0.15))
