"""Cut list and drill marks of a box."""

import pytest

from raysim.assess.cut_list import FREE, marks, nearest_wall, panels
from raysim.scene.file.written import SceneAsWritten

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


@pytest.mark.parametrize("sheet", [3.0, 12.0, 18.0])
def test_panels_add_up_to_the_shell_and_leave_the_inside(sheet):
    """Volume of the panels = outer box - inner box: no corner is doubled or missing."""
    w, d, h, t = 460.0, 380.0, 610.0, sheet
    volume = sum(p.sheet[0] * p.sheet[1] for p in panels(scene(sheet).chamber)) / MM**2 * t
    assert volume == pytest.approx((w + 2 * t) * (d + 2 * t) * (h + 2 * t) - w * d * h)


def test_linings_cover_the_inside():
    cut = panels(scene(12).chamber)
    area = sum(p.lining[0] * p.lining[1] for p in cut) / MM**2
    assert area == pytest.approx(2 * (460 * 380 + 460 * 610 + 380 * 610))
    assert {p.wall: p.surface for p in cut}["floor"] == "plywood"
    assert {p.wall: p.surface for p in cut}["back"] == "foil"


def test_without_a_thickness_there_are_linings_only():
    assert all(p.sheet is None for p in panels(scene().chamber))


def test_lamps_are_drilled_where_their_axis_meets_a_wall():
    by_name = {m.what: m for m in marks(scene())}
    first, second = (by_name[f"lamp a, {end} end of the arc"] for end in ("first", "second"))
    assert (first.wall, second.wall) == ("left", "right")
    assert dict(first.measures) == pytest.approx({"from the door": 0.19, "from the floor": 0.56})
    assert (first.off_wall, second.off_wall) == pytest.approx((0.06, 0.06))
    upright = by_name["lamp b, second end of the arc"]
    assert upright.wall == "ceiling"
    assert upright.off_wall == pytest.approx(0.11)


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
    assert dict(mark.measures) == pytest.approx({"from the left wall": 0.23, "from the door": 0.19})


def test_hooks_in_the_middle_hang_on_a_rail_and_none_on_the_door():
    """115 mm and more off every wall but the door, which is nearest: a rail, all three measures."""
    data = scene().model_dump()["object"]
    assert data, "the scene has hooks"
    written = scene()
    hook = written.object[0].model_copy(update={"name": "hook 9", "at": (0.23, 0.05, 0.3)})
    (mark,) = (m for m in marks(written.model_copy(update={"object": [hook]})) if "hook" in m.what)
    assert mark.wall == FREE
    assert mark.off_wall is None
    assert [round(1000 * value) for _, value in mark.measures] == [230, 50, 300]


def test_a_chamber_of_any_shape_has_no_cut_list():
    other = scene(inside=None, mesh="x.stl", walls={})
    assert panels(other.chamber) == ()
    assert marks(other) == ()


def test_no_hook_is_told_to_hang_on_the_door():
    size = (0.4, 0.4, 0.6)
    assert nearest_wall((0.15, 0.01, 0.3), size) == ("left", pytest.approx(0.15))
