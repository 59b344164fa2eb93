"""Things in the box as their meshes have them: size, facing, rods and how these are held."""

import numpy as np
import pytest
import trimesh
from small_scenes import box, small_scene, write_scene
from test_fixings import marks_on, scene

from raysim.dose.simulate import load_scene
from raysim.workshop.fixings import Held, box_walls
from raysim.workshop.grid import MM
from raysim.workshop.plan import plan_of
from raysim.workshop.shapes import outline, shapes


def built(folder, **objects):
    """A box of 300 x 250 x 350 mm with one thing for each mesh: (mesh, more keys)."""
    data = small_scene()
    more = [
        {"name": name, "mesh": f"{name}.ply", "surface": "stainless steel"} | keys
        for name, (_, keys) in objects.items()
    ]
    data["object"] += more
    meshes = {name: mesh for name, (mesh, _) in objects.items()}
    return load_scene(write_scene(folder, data, **meshes))


def test_a_size_is_that_of_the_mesh_however_it_is_turned(tmp_path):
    thing = box((40.0, 20.0, 5.0))
    found = shapes(built(tmp_path, thing=(thing, {"at": [150, 60, 250], "turn": [0, 30, 50]})))
    assert sorted(found["thing"].size) == pytest.approx([0.005, 0.02, 0.04])
    room = np.subtract(found["thing"].high, found["thing"].low)
    assert not np.allclose(sorted(room), sorted(found["thing"].size), atol=0.002)
    assert found["thing"].facing is None  # closed
    assert found["thing"].rod is None


@pytest.mark.parametrize(
    ("turn", "way"), [([0, 0, 0], [0, 0, 1]), ([90, 0, 0], [0, -1, 0]), ([0, 90, 0], [1, 0, 0])]
)
def test_an_open_shell_faces_the_way_of_its_outer_side(tmp_path, turn, way):
    dome = trimesh.creation.icosphere(subdivisions=2, radius=25.0)
    dome.update_faces(dome.triangles_center[:, 2] > 0.0)
    found = shapes(built(tmp_path, dome=(dome, {"at": [150, 60, 250], "turn": turn})))
    assert found["dome"].facing == pytest.approx(way, abs=0.02)


def test_a_rod_is_held_at_both_ends_by_the_walls_ahead(tmp_path):
    rod = box((200.0, 8.0, 8.0))
    plan = plan_of(built(tmp_path, rod=(rod, {"at": [50, 56, 246]})), MM)
    at, left, right = (mark for mark in plan.marks if mark.thing == "rod")
    assert (at.held, at.wall) == (Held.ENDS, "")
    assert [(m.held, m.wall, m.end) for m in (left, right)] == [
        (Held.HOOK, "left", "left"),
        (Held.HOOK, "right", "right"),
    ]
    assert left.at == pytest.approx((0.05, 0.06, 0.25))
    assert (left.off_wall, right.off_wall) == pytest.approx((0.05, 0.05))
    bought = {line.name: line.quantity for line in plan.bill.lines}
    assert bought["rod 200 x 8 x 8 mm, square bar or tube with shut ends, stainless steel"] == 1
    assert bought["bolt of 5 mm, 65 mm + t long, with a distance tube of 50 mm"] == 2


@pytest.mark.parametrize(
    ("ends", "held"),
    [
        (((0.2, 0.05, 0.3), (0.2, 0.33, 0.3)), [(Held.FREE, ""), (Held.HOOK, "back")]),  # no door
        (((0.2, 0.19, 0.2), (0.2, 0.19, 0.56)), [(Held.FREE, ""), (Held.HOOK, "ceiling")]),
    ],
)
def test_no_end_of_a_rod_hangs_on_the_door_or_on_nothing(ends, held):
    written = scene()
    bar = written.object[0].model_copy(update={"name": "bar", "at": (0.2, 0.19, 0.3)})
    found = marks_on(
        written.model_copy(update={"object": [bar]}),
        box_walls(written.chamber.inside),
        {},
        {"bar": ends},
    )
    assert [(m.held, m.wall) for m in found if m.end not in ("from", "to", "at")] == held


def test_an_outline_covers_what_the_thing_hides():
    import shapely

    ball = trimesh.creation.icosphere(subdivisions=4, radius=0.05)
    (line,) = outline(ball.triangles, (0, 2), MM.step)
    assert shapely.Polygon(line).area * MM.step**2 == pytest.approx(np.pi * 0.05**2, rel=0.02)
    sheet = np.array([[[0, 0, 0], [0.1, 0, 0], [0.1, 0.1, 0]]])
    (edge,) = outline(sheet, (0, 2), MM.step)  # seen on its edge
    assert {y for _, y in edge} == {0.0}
    assert max(x for x, _ in edge) == pytest.approx(0.1 / MM.step)


@pytest.mark.parametrize(
    ("end", "room"), [(400.0, 0.025), (416.0, 0.009), (419.0, 0.006), (430.0, -0.005)]
)
def test_a_holder_bridges_what_lies_between_the_lamp_and_its_wall(end, room):
    """T8 15 W: 437 mm over all, so that 38.5 mm lie beyond each end of an arc of 360 mm."""
    written = scene()
    lamp = written.lamp[0].model_copy(
        update={
            "diameter": 0.026,
            "start": (0.001 * end - 0.36, 0.19, 0.56),
            "end": (0.001 * end, 0.19, 0.56),
        }
    )
    wide = (0.4635, 0.38, 0.61)
    found = marks_on(written.model_copy(update={"lamp": [lamp], "object": []}), box_walls(wide))
    assert found[1].held is Held.HOLE
    assert found[1].beyond == pytest.approx(0.0385)
    assert found[1].room == pytest.approx(room)
    assert found[1].is_too_long is (room < 0.007)  # 6 mm was called the depth of its holder
