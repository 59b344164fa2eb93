"""`check`: every kind of broken or doubtful scene is found before any tracing."""

import numpy as np
import pytest
import trimesh
from small_scenes import (
    box,
    errors_of,
    faults_of,
    is_one_clear_line,
    only_fault,
    plate,
    small_scene,
    with_object,
    write_scene,
)

from raysim.base.errors import Level
from raysim.dose.simulate import load_scene
from raysim.scene.check import contact
from raysim.scene.check.check import check_scene


def only_error(path):
    """The one fault of a scene, an error."""
    fault = only_fault(path)
    assert fault.level is Level.ERROR
    return fault


def only_warning(path):
    """The one fault of a scene, a warning."""
    fault = only_fault(path)
    assert fault.level is Level.WARNING
    return fault


def rod(start, end, radius=1.0) -> trimesh.Trimesh:
    """Closed round bar from `start` to `end`, mm."""
    return trimesh.creation.cylinder(radius=radius, segment=[start, end], sections=8)


# ---------------------------------------------------------------- sizes


@pytest.mark.parametrize(
    ("unit", "inside"),
    [
        ("m", [300, 250, 350]),  # millimetres read as metres
        ("in", [300, 250, 350]),  # millimetres read as inches
        ("mm", [0.3, 0.25, 0.35]),  # metres read as millimetres
        ("mm", ["100 m", "100 m", "100 m"]),
        ("mm", [1, 1, 1]),
        ("mm", [300, 250, 40]),
    ],
)
def test_a_box_of_absurd_size_is_an_error(tmp_path, unit, inside):
    data = small_scene() | {"units": unit}
    data["chamber"]["inside"] = inside
    data["object"][0]["edge"] = "25 mm"
    path = write_scene(tmp_path, data)
    faults = errors_of(path)
    assert [fault.key for fault in faults] == ["chamber.inside"]
    assert "not the size of a box" in faults[0].what
    assert f'units = "{unit}"' in faults[0].mend


def test_a_room_is_no_box_but_a_large_cabinet_is(tmp_path):
    data = small_scene()
    data["chamber"]["inside"] = ["2 m", "1 m", "2.5 m"]
    assert faults_of(write_scene(tmp_path, data)) == []


@pytest.mark.parametrize(
    ("scale", "said"),
    [
        (25.4, "more than the box"),  # inches read as millimetres
        (1000.0, "more than the box"),  # metres read as millimetres
        (0.001, "measures only"),
    ],
)
def test_an_object_of_absurd_size_is_an_error(tmp_path, scale, said):
    data = small_scene()
    data["object"][0]["scale"] = scale
    del data["object"][0]["edge"]
    path = write_scene(tmp_path, data)
    fault = only_error(path)
    assert fault.key == 'object 1 "plate".scale'
    assert said in fault.what


@pytest.mark.parametrize("length", ["3 parsec", 1e17, -1e30])
def test_a_length_out_of_this_world_is_refused_without_noise(tmp_path, length, capfd, recwarn):
    for where in ("at", "from", "inside"):
        data = small_scene()
        if where == "inside":
            data["chamber"]["inside"][1] = length
        else:
            data["object" if where == "at" else "lamp"][0][where][1] = length
        path = write_scene(tmp_path, data)
        faults = errors_of(path)
        assert faults
        for fault in faults:
            is_one_clear_line(fault, path)
    assert [str(warning.message) for warning in recwarn] == []


# ---------------------------------------------------------------- meshes


def test_a_chamber_mesh_that_is_not_closed_is_an_error(tmp_path):
    shape = box([300.0, 250.0, 350.0])
    shape.update_faces(np.arange(len(shape.faces)) != 3)
    data = small_scene()
    data["chamber"] = {"mesh": "room.ply", "lining": "aluminium foil, bright side"}
    fault = only_error(write_scene(tmp_path, data, room=shape))
    assert fault.key == "chamber.mesh"
    assert "room.ply is not closed" in fault.what


def test_a_chamber_mesh_of_mixed_sides_is_an_error(tmp_path):
    shape = box([300.0, 250.0, 350.0])
    faces = np.array(shape.faces)
    faces[3] = faces[3, ::-1]
    data = small_scene() | {"repair": False}
    data["chamber"] = {"mesh": "room.ply", "lining": "aluminium foil, bright side"}
    mixed = trimesh.Trimesh(shape.vertices, faces, process=False)
    fault = only_error(write_scene(tmp_path, data, room=mixed))
    assert fault.key == "chamber.mesh"
    assert "face opposite ways" in fault.what


def test_an_object_of_mixed_sides_is_an_error(tmp_path):
    sheet = plate()
    mixed = trimesh.Trimesh(sheet.vertices, [[0, 1, 2], [0, 3, 2]], process=False)
    path = write_scene(tmp_path)
    mixed.export(tmp_path / "plate.ply")
    fault = only_error(path)
    assert fault.key == 'object 1 "plate".mesh'
    assert "its sides cannot be told apart" in fault.what


def test_a_closed_object_inside_out_is_turned_round_with_a_warning(tmp_path):
    shape = box([30.0, 30.0, 30.0])
    shape.invert()
    fault = only_warning(write_scene(tmp_path, with_object(at=[40, 150, 60]), thing=shape))
    assert fault.key == 'object 2 "thing".mesh'
    assert "is inside out" in fault.what


def test_an_open_cup_inside_out_is_doubted(tmp_path):
    ball = trimesh.creation.icosphere(subdivisions=2, radius=30.0)
    ball.update_faces(ball.triangles_center[:, 1] < 0.0)
    data = with_object(at=[70, 150, 175], judged=True, edge=25, surface="respirator fabric")
    assert faults_of(write_scene(tmp_path, data, thing=ball)) == []
    ball.invert()
    fault = only_warning(write_scene(tmp_path, data, thing=ball))
    assert fault.key == 'object 2 "thing".mesh'
    assert "seems inside out" in fault.what


def test_degenerate_triangles_are_told_of(tmp_path):
    text = "v 0 0 0\nv 40 0 0\nv 40 0 40\nv 80 0 0\nf 1 2 3\nf 1 2 4\nf 1 1 3\n"
    (tmp_path / "plate.obj").write_text(text)
    data = small_scene()
    data["object"][0]["mesh"] = "plate.obj"
    fault = only_warning(write_scene(tmp_path, data))
    assert "2 triangles without area" in fault.what


def test_a_corner_that_is_not_finite_is_an_error(tmp_path):
    (tmp_path / "plate.obj").write_text("v 0 0 0\nv nan 0 0\nv 40 0 40\nf 1 2 3\n")
    data = small_scene()
    data["object"][0]["mesh"] = "plate.obj"
    fault = only_error(write_scene(tmp_path, data))
    assert fault.key == 'object 1 "plate".mesh'
    assert "not a finite number" in fault.what


def test_a_missing_mesh_names_the_file(tmp_path):
    data = small_scene()
    data["object"][0]["mesh"] = "cup.stl"
    fault = only_error(write_scene(tmp_path, data))
    assert fault.key == 'object 1 "plate".mesh'
    assert "cup.stl" in fault.what
    assert "relative to the scene file" in fault.mend


# ---------------------------------------------------------------- who stands where


def test_a_judged_object_outside_the_box_is_an_error(tmp_path):
    for at in ([-200, 125, 150], [130, 125, 500], [130, 400, 150]):
        data = small_scene()
        data["object"][0]["at"] = at
        fault = only_error(write_scene(tmp_path, data))
        assert fault.key == 'object 1 "plate".at'
        assert fault.what == "it lies outside the box"


@pytest.mark.parametrize(
    ("at", "wall"),
    [
        ([280, 125, 150], "right"),
        ([-20, 125, 150], "left"),
        ([130, 125, 330], "ceiling"),
        ([130, 125, -20], "floor"),
    ],
)
def test_a_judged_object_that_cuts_a_wall_is_an_error(tmp_path, at, wall):
    data = small_scene()
    data["object"][0]["at"] = at
    fault = only_error(write_scene(tmp_path, data))
    assert fault.key == 'object 1 "plate".at'
    assert fault.what == f"it cuts through chamber: {wall} by 20 mm"


def test_a_shelf_that_ends_in_the_wall_is_only_a_warning(tmp_path):
    data = with_object(at=[250, 100, 20])
    fault = only_warning(write_scene(tmp_path, data, thing=box([80.0, 30.0, 5.0])))
    assert fault.key == 'object 2 "thing".at'
    assert "chamber: right" in fault.what


def test_the_missing_corner_of_an_l_shape_is_outside(tmp_path):
    outline = [(0, 0), (300, 0), (300, 140), (180, 140), (180, 250), (0, 250)]
    corners = [(x, y, z) for z in (0, 350) for x, y in outline]
    caps = [(0, 1, 2), (0, 2, 3), (0, 3, 4), (0, 4, 5)]
    faces = [cap[::-1] for cap in caps] + [tuple(6 + c for c in cap) for cap in caps]
    for a in range(6):
        b = (a + 1) % 6
        faces += [(a, b, b + 6), (a, b + 6, a + 6)]
    room = trimesh.Trimesh(corners, faces, process=False)
    data = small_scene()
    data["chamber"] = {"mesh": "room.ply", "lining": "aluminium foil, bright side"}
    data["lamp"][1] |= {"from": [260, 100, 60], "to": [260, 100, 290]}
    data["object"][0]["at"] = [220, 200, 150]
    fault = only_error(write_scene(tmp_path, data, room=room))
    assert fault.what == "it lies outside the box"
    assert fault.mend.endswith("reaches from x 0 to 300, y 0 to 250, z 0 to 350 mm")
    data["object"][0]["at"] = [160, 200, 150]
    assert "it cuts through" in only_error(write_scene(tmp_path, data, room=room)).what
    data["object"][0]["at"] = [100, 200, 150]
    assert faults_of(write_scene(tmp_path, data, room=room)) == []


def test_objects_that_cut_each_other_are_told_of_once(tmp_path):
    data = with_object(at=[120, 100, 170])
    fault = only_warning(write_scene(tmp_path, data, thing=box([40.0, 60.0, 4.0])))
    assert fault.key == 'object 1 "plate".at'
    assert fault.what == "it cuts into thing"


@pytest.mark.parametrize("moved", [0.0, 1.0, 2.0, 3.0, 5.0, 7.0])
def test_a_wire_through_a_lamp_is_an_error(tmp_path, moved):
    # A bar of 2 mm across a tube of 16 mm, wherever it goes through.
    wire = rod([40 + moved, 12, 150], [40 + moved, 100, 150])
    fault = only_error(write_scene(tmp_path, with_object(), thing=wire))
    assert fault.key == 'lamp 1 "left".from'
    assert fault.what == "the lamp cuts into thing"


def test_a_wire_beside_a_lamp_is_none(tmp_path):
    wire = rod([49.5, 12, 150], [49.5, 100, 150])
    assert faults_of(write_scene(tmp_path, with_object(), thing=wire)) == []


def test_a_lamp_through_a_respirator_is_an_error(tmp_path):
    data = small_scene()
    data["object"][0]["at"] = [30, 40, 150]
    faults = errors_of(write_scene(tmp_path, data))
    assert [fault.what for fault in faults] == ["the lamp cuts into plate"]


def test_lamps_that_cut_each_other_are_an_error(tmp_path):
    data = small_scene()
    data["lamp"][1] |= {"from": [50, 30, 170], "to": [50, 200, 170]}
    fault = only_error(write_scene(tmp_path, data))
    assert fault.key == 'lamp 1 "left".from'
    assert fault.what == 'the lamp cuts into lamp "right"'
    data["lamp"][1] |= {"from": [56.1, 30, 170], "to": [56.1, 200, 170]}
    assert faults_of(write_scene(tmp_path, data)) == []


@pytest.mark.parametrize(
    ("ends", "what"),
    [
        (([-40, 40, 60], [-40, 40, 290]), "lies outside the box by 48 mm"),
        (([40, 40, 60], [40, 40, 360]), "cuts through a wall by 10 mm"),
        (([5, 40, 60], [5, 40, 290]), "cuts through a wall by 3.0 mm"),  # its glass only
    ],
)
def test_lamps_outside_or_in_the_wall_are_errors(tmp_path, ends, what):
    data = small_scene()
    data["lamp"][0] |= {"from": ends[0], "to": ends[1]}
    fault = only_error(write_scene(tmp_path, data))
    assert fault.key == 'lamp 1 "left".from'
    assert fault.what == f"the lamp {what}"


def test_a_meter_outside_the_box_is_an_error(tmp_path):
    data = small_scene()
    data["meter"] = [
        {"name": "in", "at": [150, 50, 100], "facing": [0, 1, 0]},
        {"name": "out", "at": [150, -50, 100], "facing": [0, 1, 0]},
    ]
    fault = only_error(write_scene(tmp_path, data))
    assert fault.key == 'meter 2 "out".at'


@pytest.mark.parametrize(("y", "doubted"), [(20, True), (40, False)])
def test_a_meter_that_looks_at_a_wall_from_near_is_doubted(tmp_path, y, doubted):
    data = small_scene()
    data["meter"] = [{"name": "m", "at": [150, y, 100], "facing": [0, -1, 0]}]
    faults = faults_of(write_scene(tmp_path, data))
    assert [fault.key for fault in faults] == ['meter 1 "m".facing'] * doubted
    assert all("looks at chamber: front, less than 30 mm off" in fault.what for fault in faults)


@pytest.mark.parametrize(
    ("at", "where"),
    [([40, 40, 100], 'lamp "left"'), ([150, 127, 170], "plate"), ([150, 60, 60], "thing")],
)
def test_a_meter_in_a_lamp_or_in_the_load_is_an_error(tmp_path, at, where):
    """With a reading that counts, that is. The thing is a block, its middle far from all faces."""
    data = with_object(at=[150, 60, 60])
    point = {"name": "m", "at": at, "facing": [0, -1, 0]}
    data["meter"] = [point]
    scene = write_scene(tmp_path, data, thing=trimesh.creation.box([60, 60, 60]))
    assert [f.code for f in faults_of(scene) if f.key.startswith("meter")] == ["meter-in-the-way"]
    assert errors_of(scene) == []
    data["meter"] = [point | {"reading": "1 mW/cm2"}]
    fault = only_error(write_scene(tmp_path, data, thing=trimesh.creation.box([60, 60, 60])))
    assert fault.code == "meter-in-the-way"
    assert f"in or right at {where}," in fault.what
    data["meter"][0]["at"] = [150, 200, 100]
    assert errors_of(write_scene(tmp_path, data)) == []


@pytest.mark.parametrize(("off", "held"), [(5.0, True), (60.0, False)])
def test_a_respirator_far_from_its_hook_is_doubted(tmp_path, off, held):
    """A hook 250 mm off was passed, and so the strap on it was not dark."""
    data = with_object(name="hook", at=[150, 125, 250])
    data["object"][0] = data["object"][0] | {"mesh": "cup.ply", "at": [150, 125, 200 - off]}
    cup = trimesh.creation.icosphere(subdivisions=2, radius=40.0)
    rod = trimesh.creation.box([5.0, 5.0, 20.0])
    found = faults_of(write_scene(tmp_path, data, cup=cup, thing=rod))
    assert [f.code for f in found if f.code == "nothing-holds-it"] == ["nothing-holds-it"] * (
        not held
    )
    if not held:
        assert "nothing holds it: hook, 60 mm off, is the nearest" in found[-1].what


@pytest.mark.parametrize("hook", [(150, 125, 145), (218, 125, 160)])
def test_a_hook_within_the_box_around_a_strap_does_not_hold_it(tmp_path, hook):
    """Beside the strap or at half the height of the respirator: only one at its top holds it."""
    data = with_object(name="hook", at=list(hook))
    data["object"][0] |= {"mesh": "strap.ply", "at": [150, 125, 100]}
    strap = trimesh.creation.torus(major_radius=60.0, minor_radius=2.0)
    strap.apply_transform(trimesh.transformations.rotation_matrix(0.5 * np.pi, [1, 0, 0]))
    strap.apply_translation([0.0, 0.0, 60.0])
    shell = trimesh.creation.icosphere(subdivisions=2, radius=30.0)
    rod = trimesh.creation.box([5.0, 20.0, 5.0])
    respirator = trimesh.util.concatenate([strap, shell])
    codes = [f.code for f in faults_of(write_scene(tmp_path, data, strap=respirator, thing=rod))]
    assert "nothing-holds-it" in codes
    data["object"][1]["at"] = [150, 125, 215]
    found = faults_of(write_scene(tmp_path, data, strap=respirator, thing=rod))
    assert "nothing-holds-it" not in {f.code for f in found}


def test_one_wrong_unit_is_one_error(tmp_path):
    """Meshes in mm, a scene in inches: one line for each object hid the rest."""
    data = small_scene()
    data["object"] = [data["object"][0] | {"name": f"cup {k}"} for k in range(5)]
    data |= {"units": "in"}
    data["chamber"]["inside"] = [12, 10, 12]
    for lamp in data["lamp"]:
        lamp |= {"from": [2, 2, 2], "to": [2, 2, 8], "diameter": 1}
    (fault,) = (f for f in faults_of(write_scene(tmp_path, data)) if f.code.startswith("object"))
    assert fault.key == 'object 1 "cup 0".scale'
    assert 'it is alike with "cup 1", "cup 2" and 2 more' in fault.what
    assert "write scale = 0.0393701" in fault.mend


def test_without_a_hook_in_the_scene_nobody_asks_for_one(tmp_path):
    data = small_scene()
    data["object"][0] |= {"mesh": "cup.ply", "at": [150, 125, 150]}
    cup = trimesh.creation.icosphere(subdivisions=2, radius=40.0)
    assert "nothing-holds-it" not in {
        f.code for f in faults_of(write_scene(tmp_path, data, cup=cup))
    }


@pytest.mark.parametrize(
    ("name", "told"), [("foil", True), ("Aluminum Foil", True), ("dull foil", False)]
)
def test_a_name_that_fits_several_linings_is_asked_about(tmp_path, name, told):
    """`foil` was the bright side without a word."""
    data = small_scene()
    data["chamber"]["lining"] = name
    found = faults_of(write_scene(tmp_path, data))
    assert [fault.code for fault in found] == ["loose-name"] * told
    if told:
        assert f'"{name}" is taken as "aluminium foil, bright side"' in found[0].what
    data["surface"] = [{"name": name, "reflectance": 0.6, "reflectance_low": 0.5}]
    assert faults_of(write_scene(tmp_path, data)) == []  # it is the user's own


def test_panels_are_not_cut_for_a_mesh(tmp_path):
    """`sheet` was read and forgotten."""
    data = small_scene()
    data["chamber"] = {"mesh": "room.ply", "lining": "white paint", "sheet": 9}
    (fault,) = errors_of(write_scene(tmp_path, data, room=box([300, 250, 350])))
    assert "sheet is for the panels of a box given by inside" in fault.what


def test_two_respirators_through_each_other_are_an_error(tmp_path):
    data = small_scene()
    across = {"name": "plate 2", "at": [150, 105, 150], "turn": [0, 0, 90]}
    data["object"].append(data["object"][0] | across)
    fault = only_error(write_scene(tmp_path, data))
    assert fault.what in {"it cuts into plate", "it cuts into plate 2"}
    data["object"][1]["judged"] = False
    (fault,) = (f for f in faults_of(write_scene(tmp_path, data)) if "cuts into" in f.what)
    assert fault.level is Level.WARNING


def test_a_cut_wall_is_told_in_millimetres(tmp_path):
    data = small_scene()
    data["object"][0]["at"] = [130, 125, -12.5]
    (fault, *_) = faults_of(write_scene(tmp_path, data))
    assert "it cuts through chamber: floor by 12 mm" in fault.what


@pytest.mark.parametrize(("uvc", "slip"), [("2.4 mW", True), ("0.44 W", True), ("0.46 W", False)])
def test_a_lamp_that_gives_next_to_nothing_of_its_watts_is_an_error(tmp_path, uvc, slip):
    data = small_scene()
    for lamp in data["lamp"]:
        lamp |= {"uvc": uvc, "electrical": "9 W"}
    errors = errors_of(write_scene(tmp_path, data))
    assert [fault.key for fault in errors] == ['lamp 1 "left".uvc', 'lamp 2 "right".uvc'] * slip
    assert all("less than 5%" in fault.what for fault in errors)
    for lamp in data["lamp"]:
        del lamp["electrical"]
    assert bool(errors_of(write_scene(tmp_path, data))) is (uvc == "2.4 mW")


@pytest.mark.parametrize("gap", [0.05, 0.2])
def test_a_judged_face_that_touches_another_surface_is_doubted(tmp_path, gap):
    data = small_scene()
    data["object"][0]["at"] = [130, gap, 150]
    fault = only_warning(write_scene(tmp_path, data))
    assert fault.key == 'object 1 "plate".at'
    assert "16 cm2) of its outside touch chamber: front" in fault.what
    data["object"][0]["at"] = [130, 1.0, 150]
    assert faults_of(write_scene(tmp_path, data)) == []


def test_two_sheets_lying_on_each_other_are_doubted(tmp_path):
    data = small_scene()
    data["object"].append(data["object"][0] | {"name": "plate 2", "at": [130, 125.1, 150]})
    faults = faults_of(write_scene(tmp_path, data))
    assert [fault.level for fault in faults] == [Level.WARNING] * 2
    assert "of its inside touch plate 2" in faults[0].what
    assert "of its outside touch plate," in faults[1].what


# ---------------------------------------------------------------- lamps, linings, target


def test_electrical_watts_given_as_uvc_watts_are_an_error(tmp_path):
    data = small_scene()
    data["lamp"][0] |= {"uvc": "8 W", "electrical": "8 W"}
    fault = only_error(write_scene(tmp_path, data))
    assert fault.key == 'lamp 1 "left".uvc'
    assert "more than 45%" in fault.what


def test_uvc_watts_like_the_mains_watts_of_such_a_lamp_are_an_error(tmp_path):
    # A T5 tube of 8 W has an arc of 235 mm and gives 2.1 to 2.5 W of UVC (data/lamps.toml).
    data = small_scene()
    data["lamp"][0]["uvc"] = "8 W"
    fault = only_error(write_scene(tmp_path, data))
    assert fault.key == 'lamp 1 "left".uvc'
    assert "look like electrical watts" in fault.what
    assert "2.1 to 2.5 W" in fault.what
    data["lamp"][0]["uvc"] = "2.5 W"
    assert faults_of(write_scene(tmp_path, data)) == []


def test_a_believable_share_of_the_electrical_watts_is_no_fault(tmp_path):
    data = small_scene()
    data["lamp"][0] |= {"uvc": "2.4 W", "electrical": "8 W"}
    assert faults_of(write_scene(tmp_path, data)) == []


@pytest.mark.parametrize(
    ("lining", "bright"),
    [("household mirror", True), ("white paint", True), ("bare plywood", False)],
)
def test_a_lining_that_is_black_at_254_nm_is_doubted(tmp_path, lining, bright):
    data = small_scene()
    data["chamber"]["lining"] = lining
    fault = only_warning(write_scene(tmp_path, data))
    assert fault.key == "chamber.lining"
    assert lining in fault.what
    assert "nearly black" in fault.what
    assert ("however bright it looks" in fault.what) == bright
    assert "aluminium" in fault.mend


def test_only_the_weak_walls_are_named(tmp_path):
    data = small_scene()
    data["chamber"]["walls"] = {"floor": "white paint", "front": "white paint"}
    fault = only_warning(write_scene(tmp_path, data))
    assert "(front, floor)" in fault.what


def test_a_reflectance_beyond_belief_is_doubted(tmp_path):
    data = small_scene()
    data["chamber"]["lining"] = {"reflectance": 0.985, "reflectance_low": 0.9}
    fault = only_warning(write_scene(tmp_path, data))
    assert "more than a lining in use keeps (0.97)" in fault.what


def test_a_reflectance_without_a_low_end_is_doubted(tmp_path):
    data = small_scene()
    data["chamber"]["lining"] = {"reflectance": 0.75, "specular": 0.6}
    fault = only_warning(write_scene(tmp_path, data))
    assert "no low end" in fault.what
    assert "reflectance_low" in fault.mend


def test_the_mend_for_the_reflectance_of_a_tube_can_be_done(tmp_path):
    data = small_scene()
    data["lamp"][0]["reflectance"] = 0.5
    for fault in faults_of(write_scene(tmp_path, data)):
        assert fault.key.startswith('lamp 1 "left"')
        # A lamp has no such key.
        assert "reflectance_low" not in fault.mend


def test_hours_past_the_rated_life_are_doubted(tmp_path):
    data = small_scene()
    data["lamp"][1]["hours"] = 8001
    fault = only_warning(write_scene(tmp_path, data))
    assert fault.key == 'lamp 2 "right".hours'
    assert "past the rated 8000 h" in fault.what
    data["lamps_behaviour"] = {"rated_hours": 9000}
    assert faults_of(write_scene(tmp_path, data)) == []


def test_a_low_target_is_doubted(tmp_path):
    data = small_scene() | {"target": {"dose": "500 mJ/cm2"}}
    fault = only_warning(write_scene(tmp_path, data))
    assert fault.key == "target.dose"
    assert "0.5 J/cm2 is below the 1 J/cm2" in fault.what
    assert "were J/cm2 meant?" not in fault.mend
    data["target"]["dose"] = "1 mJ/cm2"
    assert only_warning(write_scene(tmp_path, data)).mend.startswith("were J/cm2 meant? ")
    data["target"]["dose"] = "1.5 J/cm2"
    assert faults_of(write_scene(tmp_path, data)) == []


def test_without_a_judged_object_there_is_nothing_to_do(tmp_path):
    data = small_scene()
    data["object"][0]["judged"] = False
    fault = only_error(write_scene(tmp_path, data))
    assert fault.key == "object"
    assert "judged = true" in fault.mend
    data["object"] = []
    assert only_error(write_scene(tmp_path, data)).key == "object"


def test_keys_that_are_read_but_not_used_are_told_of(tmp_path):
    data = small_scene() | {"target": {"judge_area": "1 cm2"}}
    faults = faults_of(write_scene(tmp_path, data))
    assert {fault.key for fault in faults} == {"target.judge_area"}
    assert all(fault.level is Level.WARNING for fault in faults)


def test_a_gap_half_beside_its_wall_is_doubted(tmp_path):
    data = small_scene()
    data["gap"] = [{"wall": "front", "from": [0, 0, 0], "to": [0, 0, 350], "width": 2,
                    "depth": 10, "distance": "1 m"}]  # fmt: skip
    (half,) = (f for f in faults_of(write_scene(tmp_path, data)) if f.key != "gap")
    assert half.level is Level.WARNING
    assert "reads too small" in half.what


def test_errors_come_before_warnings_and_all_are_told(tmp_path):
    data = small_scene() | {"target": {"dose": "0.5 J/cm2"}}
    data["chamber"]["lining"] = "white paint"
    data["object"][0]["at"] = [-200, 125, 150]
    data["lamp"][0]["uvc"] = "8 W"
    path = write_scene(tmp_path, data)
    faults = faults_of(path)
    levels = [fault.level for fault in faults]
    assert levels == [Level.ERROR] * 2 + [Level.WARNING] * 2
    for fault in faults:
        is_one_clear_line(fault, path)


def test_looking_at_faces_nearby_only_overlooks_nothing(tmp_path, monkeypatch):
    data = small_scene()
    plate = data["object"][0]
    places = {"upon it": [130, 125.01, 150], "across it": [150, 110, 160], "far": [200, 60, 40]}
    for name, at in places.items():
        data["object"].append(plate | {"name": name, "at": at})
    data["object"][2]["turn"] = [0, 0, 90]
    data["object"].append(plate | {"name": "through the wall", "at": [280, 100, 150]})
    data["object"].append(plate | {"name": "through the lamp", "at": [20, 41, 150]})
    write_scene(tmp_path, data)
    scene = load_scene(tmp_path / "scene.toml")
    quick = [str(fault) for fault in contact.contact_faults(scene)]
    monkeypatch.setattr(contact._Report, "within", lambda report, faces, low, high: faces)
    assert [str(fault) for fault in contact.contact_faults(scene)] == quick
    assert len([fault for fault in quick if "touch" in fault]) >= 2
    assert len([fault for fault in quick if "cuts" in fault]) >= 2
    assert any("the lamp cuts into through the lamp" in fault for fault in quick)


def test_building_and_checking_tell_how_far_they_have_come(tmp_path):
    data = small_scene()
    data["object"].append(data["object"][0] | {"name": "other", "at": [130, 60, 150]})
    data["pose"] = [{"name": "a"}, {"name": "b", "object": [{"name": "other", "turn": [0, 0, 10]}]}]
    told = []
    scene = load_scene(write_scene(tmp_path, data), lambda *one: told.append(one))
    assert [one[1:] for one in told] == [(0.0, 1.0), (0.5, 1.0)]
    told.clear()
    check_scene(scene, lambda *one: told.append(one))
    assert [one[1:] for one in told] == [(0.0, 1.0), (0.25, 1.0), (0.5, 1.0), (0.75, 1.0)]


def test_large_areas_and_lengths_are_told_without_powers_of_ten(tmp_path):
    """A twin of a whole respirator was said to touch 2.3e+02 cm2 of it."""
    data = with_object(mesh="plate.ply", at=[130, 125, 150])
    data["object"][0] |= {"scale": 4.0, "at": [130, 125, 60]}
    data["object"][1] |= {"scale": 4.0, "at": [130, 125, 60]}
    told = " ".join(fault.what for fault in faults_of(write_scene(tmp_path, data)))
    assert "(260 cm2) lie right on thing" in told
    data = small_scene()
    data["object"][0] |= {"scale": 5.0, "at": [80, 125, -120]}
    assert any("by 120 mm" in fault.what for fault in faults_of(write_scene(tmp_path, data)))
