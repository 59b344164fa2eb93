"""Room about hook points: distances known by geometry, never overstated."""

import numpy as np
import pytest
import trimesh
from hung import between_tubes
from small_scenes import box

from raysim.base.errors import RaysimError
from raysim.studies.hooks.clearances import (
    COVER,
    LAMP,
    OTHER,
    WALL,
    Clearances,
    Room,
    comes_near,
)
from raysim.studies.hooks.load import Hang, build_stage, find_load
from raysim.studies.hooks.points import Grid, grid_points


def ball(radius=20.0, below=40.0):
    """Ball (mm) that hangs below its origin."""
    shape = trimesh.creation.icosphere(3, radius)
    shape.apply_translation([0, 0, -below])
    return shape


@pytest.fixture
def hung(tmp_path):
    """A ball of 20 mm, 40 mm below its hook point, and a post of 10 mm that stays."""
    post = {"name": "post", "mesh": "post.ply", "surface": "stainless steel", "at": [0, 0, 0]}
    shapes = {"sheet": ball(), "post": box([10, 10, 100], [295, 195, 150])}
    return find_load(between_tubes(tmp_path, more=[post], meshes=shapes))


def trouble(load, x, y=0.2, z=0.24, **clear):
    """What is in the way of a ball whose middle is at (x, y, z - 40 mm)."""
    return Room(load, Clearances(**{"wall": 0.0, "lamp": 0.0, "other": 0.0} | clear)).trouble(
        Hang((x, y, z))
    )


def test_distance_to_a_flat_wall_is_exact(hung):
    assert trouble(hung, 0.0355, wall=0.015) == ""  # the ball ends at 15.5 mm
    assert trouble(hung, 0.0345, wall=0.015) == WALL
    assert trouble(hung, 0.2, z=0.0555 + 0.02, wall=0.015) == ""
    assert trouble(hung, 0.2, z=0.0545 + 0.02, wall=0.015) == WALL


def test_distance_to_a_lamp_is_never_overstated(hung):
    """Axis of the front tube at y = 50, radius 8: the ball at y has a gap of y - 50 - 8 - 20."""
    found = {gap: trouble(hung, 0.2, y=0.078 + gap / 1000, lamp=0.030) for gap in range(20, 41)}
    assert all(found[gap] == LAMP for gap in found if gap < 30)
    assert all(found[gap] == "" for gap in found if gap > 30 + 1000 * COVER + 0.2)


def test_distance_to_what_stays_is_never_overstated(hung):
    room = Room(hung, Clearances(0.0, 0.0, 0.015))
    found = {
        gap: room.trouble(Hang((0.295 - 0.020 - gap / 1000, 0.2, 0.24))) for gap in range(8, 26)
    }
    assert all(found[gap] == OTHER for gap in found if gap < 15)
    assert all(found[gap] == "" for gap in found if gap > 15 + 2000 * COVER + 0.2)


def test_distance_to_each_other_is_never_overstated(hung):
    room = Room(hung, Clearances(0.0, 0.0, 0.015))
    here = Hang((0.1, 0.2, 0.24))
    for gap in range(8, 26):
        there = Hang((0.1 + 0.040 + gap / 1000, 0.2, 0.24), 33.0)
        apart = room.apart(here, there)
        assert apart == room.apart(there, here)
        if gap < 15:
            assert not apart
        elif gap > 15 + 2000 * COVER + 0.2:
            assert apart


def test_a_hook_stays_inside_as_far_as_it_does_now(tmp_path):
    """The hook ends 2 mm above its point: there is no room for it right under the ceiling."""
    load = find_load(between_tubes(tmp_path))
    room = Room(load, Clearances(0.0, 0.0, 0.0))
    assert room.trouble(Hang((0.2, 0.2, 0.3979))) == ""
    assert room.trouble(Hang((0.2, 0.2, 0.3981))) == WALL


def test_a_chamber_from_a_mesh_keeps_its_distance(tmp_path):
    """The same cube as a mesh, no longer exact but never too near."""
    from small_scenes import toml_text

    scene = between_tubes(tmp_path, meshes={"sheet": ball()})
    box([400, 400, 400]).export(tmp_path / "cube.ply")
    text = scene.path.read_text()
    chamber = {"mesh": "cube.ply", "lining": {"reflectance": 0.0}}
    lines = [
        f"chamber = {toml_text(chamber)}" if line.startswith("chamber") else line
        for line in text.splitlines()
    ]
    scene.path.write_text("\n".join(lines))
    import raysim

    load = find_load(raysim.load_scene(scene.path))
    room = Room(load, Clearances(0.015, 0.0, 0.0))
    found = {gap: room.trouble(Hang((0.020 + gap / 1000, 0.2, 0.24))) for gap in range(5, 26)}
    assert all(found[gap] == WALL for gap in found if gap < 15)
    assert all(found[gap] == "" for gap in found if gap > 15 + 2000 * COVER + 0.2)
    assert room.trouble(Hang((0.6, 0.2, 0.24))) == WALL


def test_a_turn_counts(tmp_path):
    """A sheet of 60 mm across, 20 mm from the left wall: room only if turned edge on."""
    load = find_load(between_tubes(tmp_path))
    room = Room(load, Clearances(0.010, 0.0, 0.0))
    assert room.trouble(Hang((0.035, 0.2, 0.25), 0.0)) == WALL
    assert room.trouble(Hang((0.035, 0.2, 0.25), 90.0)) == ""
    side_by_side = Hang((0.2, 0.2, 0.25), 90.0), Hang((0.22, 0.2, 0.25), 90.0)
    assert Room(load, Clearances(0.0, 0.0, 0.010)).apart(*side_by_side)
    assert not Room(load, Clearances(0.0, 0.0, 0.010)).apart(
        side_by_side[0], Hang((0.22, 0.2, 0.25))
    )


def test_placing_moves_and_turns_all_that_hangs_together(tmp_path):
    """What is placed is what the scene file of the same layout would give."""
    from raysim.scene.build import build_scene
    from raysim.studies.hooks.load import written_layout

    tag = {"name": "tag", "mesh": "hook.ply", "surface": "white paint", "at": [215, 150, 240]}
    scene = between_tubes(tmp_path, more=[tag | {"turn": [10, 0, 20]}], turn=[5, 0, 0])
    load = find_load(scene, along=("hook 1", "tag"))
    layout = (Hang((0.1, 0.2, 0.25), 30.0), Hang((0.3, 0.22, 0.25), -75.0))
    placed = build_stage(load, 2).placed(layout)
    written = build_scene(scene.path, written_layout(load, layout)).triangles
    own = written.face_body >= 6
    assert np.allclose(placed.corners[placed.face_body >= 6], written.corners[own], atol=2e-9)
    assert np.allclose(placed.normals[placed.face_body >= 6], written.normals[own], atol=1e-9)
    assert [body.name for body in written.bodies if body.judged] == ["respirator 1", "respirator 2"]


def test_what_hangs_and_what_stays(tmp_path):
    shelf = {"name": "shelf", "mesh": "hook.ply", "surface": "white paint", "at": [50, 50, 50]}
    second = {
        "name": "mask B",
        "mesh": "sheet.ply",
        "surface": "white paint",
        "at": [300, 200, 250],
        "judged": True,
    }
    scene = between_tubes(tmp_path, more=[shelf, second])
    load = find_load(scene)
    assert [entry.name for entry in load.hung] == ["respirator 1", "hook 1"]
    assert [entry.name for entry in load.stays] == ["shelf"]
    assert len(load.now) == 2
    other = find_load(scene, hang="mask b", take_out=["shelf"])
    assert [entry.name for entry in other.hung] == ["mask B"]
    assert other.stays == ()
    with pytest.raises(RaysimError, match='did you mean "mask B"'):
        find_load(scene, hang="maskB")
    with pytest.raises(RaysimError, match="is not judged"):
        find_load(scene, hang="shelf")


def test_the_grid_has_the_middle_the_planes_and_the_hooks_as_they_are(tmp_path):
    load = find_load(between_tubes(tmp_path))
    points = grid_points(load, Grid(spacing=0.05))
    assert Hang((0.2, 0.2, 0.25)) in points
    assert load.now[0] in points
    assert len(points) == 9 * 9 + 1
    part = grid_points(load, Grid((0.3, 0.2), 0.05, (0.1, 0.2), (0.2, 0.2), (0.0, 90.0)))
    assert len(part) == 2 * 3 * 2
    with pytest.raises(RaysimError, match="larger --spacing"):
        grid_points(load, Grid(spacing=0.001))


def test_a_large_drum_of_few_facets_is_no_matter(tmp_path):
    """570 mm across and 850 mm high in 48 facets: splitting all of it finely is not needed."""
    from small_scenes import toml_text

    import raysim

    lamp = {"name": "axis", "from": [0, 0, 100], "to": [0, 0, 700], "diameter": 16, "uvc": "2 W"}
    scene = between_tubes(tmp_path, meshes={"sheet": ball()}, at=[150, 0, 400])
    drum = trimesh.creation.cylinder(radius=285.0, height=850.0, sections=48)
    drum.apply_translation([0.0, 0.0, 425.0])
    drum.export(tmp_path / "drum.stl")
    put = {"chamber": {"mesh": "drum.stl", "lining": {"reflectance": 0.0}}, "lamp": [lamp]}
    lines = [
        f"{key} = {toml_text(put[key]) if key in put else rest}"
        for key, rest in (line.split(" = ", 1) for line in scene.path.read_text().splitlines())
    ]
    scene.path.write_text("\n".join(lines))
    room = Room(find_load(raysim.load_scene(scene.path)), Clearances(0.015, 0.0, 0.0))
    flat = 0.285 * np.cos(np.pi / 48)  # of a facet from the axis
    found = {
        gap: room.trouble(Hang((flat * c, flat * s, 0.4)))
        for gap in range(5, 26)
        for turned in [np.pi / 48 * 7]
        for c, s in [(1 - (gap / 1000 + 0.020) / flat) * np.array([np.cos(turned), np.sin(turned)])]
    }
    assert all(found[gap] == WALL for gap in found if gap < 15)
    assert all(found[gap] == "" for gap in found if gap > 15 + 2000 * COVER + 0.2)


def test_triangles_come_near_as_all_their_spots_say():
    """Large, small and long thin triangles against points: by spots all over each of them."""
    from scipy.spatial import cKDTree

    random = np.random.default_rng(3)
    points = random.normal(0.0, 0.05, (400, 3))
    tree = cKDTree(points)
    u, v = np.meshgrid(np.linspace(0, 1, 60), np.linspace(0, 1, 60))
    u, v = u[u + v <= 1.0], v[u + v <= 1.0]
    far = near = 0
    for _ in range(300):
        corners = random.normal(0.0, 0.2, (1, 3, 3))
        corners[0, 2] = corners[0, 1] + random.choice([0.003, 0.3]) * random.normal(size=3)
        a, b, c = corners[0]
        spots = (1 - u - v)[:, None] * a + u[:, None] * b + v[:, None] * c
        gap = tree.query(spots)[0].min()
        said = comes_near(corners, tree, 0.0, 0.02)
        assert said or gap > 0.02
        assert not said or gap < 0.02 + 2 * COVER + 0.004  # the spots are up to 4 mm apart
        near, far = near + said, far + (not said)
    assert near > 40
    assert far > 40
