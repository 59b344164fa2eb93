"""A vessel of any shape: places by distances from three named corners, found again from them."""

import numpy as np
import pytest
import trimesh
from small_scenes import small_scene, write_scene

from raysim.dose.simulate import load_scene
from raysim.output.files.guide_scene import rounded_scene
from raysim.output.words import guide_tables
from raysim.output.words.guide_use import moved_words
from raysim.output.words.same_box import linings_by_wall
from raysim.workshop.corners import corners_of
from raysim.workshop.fixings import Walls, box_walls
from raysim.workshop.grid import GRIDS, MM
from raysim.workshop.plan import plan_of

INSIDE = (0.3, 0.25, 0.35)


def tent() -> trimesh.Trimesh:
    """A prism with a triangle as its front, such as a tent: a ridge, four corners on the floor."""
    corners = [[0, 0, 0], [400, 0, 0], [200, 0, 450], [0, 500, 0], [400, 500, 0], [200, 500, 450]]
    return trimesh.Trimesh(corners).convex_hull


def test_a_box_has_eight_corners_that_are_called_by_where_they_lie():
    found = corners_of(box_walls(INSIDE)).at
    assert len(found) == 8
    assert found["lower left front"] == (0.0, 0.0, 0.0)
    assert found["upper right back"] == pytest.approx(INSIDE)
    assert found["lower right front"] == pytest.approx((0.3, 0.0, 0.0))


def test_corners_that_are_one_have_one_name():
    mesh = tent()
    walls = Walls(np.array(mesh.triangles) / 1000.0, ("",) * len(mesh.faces), False)
    found = corners_of(walls).at
    assert len(found) == len(set(found.values()))
    assert {"lower left front", "lower right back"} <= set(found)


@pytest.mark.parametrize("grid", GRIDS.values(), ids=GRIDS)
def test_a_place_is_found_again_within_what_is_printed(grid):
    corners = corners_of(box_walls(INSIDE))
    rng = np.random.default_rng(3)
    for at in rng.uniform(0.02, 0.23, (200, 3)):
        names, distances = corners.measured(tuple(at), grid)
        assert len(set(names)) == 3
        for name, steps in zip(names, distances, strict=True):
            away = np.linalg.norm(np.subtract(corners.at[name], at))
            assert abs(grid.metres(steps) - away) <= 0.51 * grid.step
        back = corners.place(names, distances, grid)
        assert np.abs(np.subtract(back, at)).max() < 3.0 * grid.step


def test_distances_without_error_give_the_place_itself():
    """Not its mirror image beyond the corners; 500 mm from three of them, which are 700 mm apart."""
    corners = corners_of(box_walls((0.7, 0.7, 0.9)))
    names = ("lower left front", "lower right front", "lower left back")
    at = corners.place(names, (1000, 1000, 1000), MM)
    assert at == pytest.approx((0.35, 0.35, np.sqrt(0.25 - 2 * 0.35**2)))
    for name in names:
        assert np.linalg.norm(np.subtract(corners.at[name], at)) == pytest.approx(0.5, abs=1e-12)


@pytest.mark.parametrize("grid", GRIDS.values(), ids=GRIDS)
def test_a_printed_place_is_measured_as_it_is_printed(grid):
    corners = corners_of(box_walls(INSIDE))
    rng = np.random.default_rng(4)
    middle = [(0.15, 0.125, z) for z in np.linspace(0.05, 0.3, 40)]  # corners are equally good
    for at in [*rng.uniform(0.02, 0.23, (200, 3)), *middle]:
        place = corners.printed(tuple(map(float, at)), grid)
        assert corners.place(*corners.measured(place, grid), grid) == place


@pytest.mark.parametrize("grid", GRIDS.values(), ids=GRIDS)
def test_what_is_printed_of_a_tent_gives_the_places_that_were_traced(grid, tmp_path):
    data = small_scene()
    data["chamber"] = {"mesh": "vessel.ply", "lining": "aluminium foil, bright side"}
    data["lamp"][0] |= {"from": [120.3, 60.2, 60.1], "to": [120.3, 440.2, 60.1]}
    data["lamp"][1] |= {"from": [290.3, 60.2, 60.2], "to": [290.3, 440.2, 60.2]}
    data["object"][0]["at"] = [180.3, 250.1, 170.3]
    path = write_scene(tmp_path, data, vessel=tent())
    scene, _ = rounded_scene(load_scene(path), grid, tmp_path, load_scene)
    plan, written = plan_of(scene, grid), scene.written
    assert plan.panels == ()
    read = {
        (p.mark.thing, p.mark.end): plan.corners.place(
            p.corners, tuple(grid.read(grid.text(steps)) for steps in p.distances), grid
        )
        for p in plan.corner_places
    }
    ends = {(x.name, "from"): x.start for x in written.lamp}
    ends |= {(x.name, "to"): x.end for x in written.lamp}
    assert read == ends | {(x.name, "at"): x.at for x in written.object}


def test_each_part_of_a_vessel_is_told_with_its_lining(tmp_path):
    """All linings were those of "the inside": nobody could know which goes where."""
    mesh = tent()
    lines = ["v {} {} {}".format(*corner) for corner in mesh.vertices.tolist()]
    for name, floor in (("floor", True), ("roof", False)):
        faces = mesh.faces[(mesh.face_normals[:, 2] < -0.9) == floor] + 1
        lines += [f"o {name}", *("f {} {} {}".format(*face) for face in faces.tolist())]
    (tmp_path / "tent.obj").write_text("\n".join(lines))
    data = small_scene()
    foil, tape = "aluminium foil, bright side", "aluminium tape, bare metal"
    data["chamber"] = {"mesh": "tent.obj", "lining": foil, "walls": {"floor": tape}}
    for lamp, x in zip(data["lamp"], (120, 290), strict=True):
        lamp |= {"from": [x, 60, 60], "to": [x, 440, 60]}
    data["object"][0]["at"] = [180, 250, 170]
    plan = plan_of(load_scene(write_scene(tmp_path, data)), MM)
    assert set(linings_by_wall(plan)) == {("floor", tape), ("roof", foil)}


def test_corners_are_told_by_their_places_where_several_lie_as_far_out(tmp_path):
    """A vessel of eight sides has two corners at its left front: a builder must know which."""
    barrel = trimesh.creation.cylinder(240.0, 640.0, sections=8)
    barrel.apply_transform(trimesh.transformations.rotation_matrix(np.pi / 8, [0, 0, 1]))
    barrel.apply_translation([240, 240, 320])
    barrel.vertices = barrel.vertices.astype(np.float32)  # as STL keeps them
    data = small_scene()
    data["chamber"] = {"mesh": "vessel.ply", "lining": "aluminium foil, bright side"}
    data["lamp"] = [data["lamp"][0] | {"from": [200, 200, 60], "to": [200, 200, 290]}]
    scene, rows = rounded_scene(
        load_scene(write_scene(tmp_path, data, vessel=barrel)), MM, tmp_path, load_scene
    )
    plan = plan_of(scene, MM, rows)
    told = dict(guide_tables.corners(plan).rows)
    assert list(told) == list(plan.corners.at)
    low = barrel.bounds[0]
    for words in told.values():
        place = [MM.metres(MM.read(part)) * 1000 for part in words.split(", ")]
        assert np.abs(barrel.vertices - low - place).max(axis=1).min() <= 0.25 + 1e-6
    assert moved_words(plan) == "Places were moved to where their printed measures put them."
