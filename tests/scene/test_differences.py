"""What differs between two scenes: what they mean, in words with units, and nothing else."""

import shutil

import pytest
from small_scenes import plate, small_scene, write_scene

from raysim.output.words.compare import differing
from raysim.output.words.compare_boxes import UNKNOWN, box_rows
from raysim.scene.file.differences import differences

ROW = {
    "name": "low",
    "count": 2,
    "from": [90, 125, 200],
    "spacing": 100,
    "mesh": ["plate.ply", "other.ply"],
    "parts": {},
    "hook": "hook.ply",
}
GAP = {"wall": "front", "from": [20, 0, 20], "to": [20, 0, 300], "depth": 12, "distance": 300}


def written(folder, data, hook=10.0):
    folder.mkdir()
    return write_scene(folder, data, other=plate(20.0), hook=plate(hook))


@pytest.fixture
def told(tmp_path):
    """Key, first and second of what differs between two scenes given as tables."""

    def ask(first, second, **meshes):
        paths = written(tmp_path / "a", first), written(tmp_path / "b", second, **meshes)
        found = differences(*paths)
        shutil.rmtree(tmp_path / "a")
        shutil.rmtree(tmp_path / "b")
        return [(row.key, row.first, row.second) for row in found]

    return ask


def with_row(**keys):
    return small_scene() | {"row": [ROW | keys]}


def test_rows_of_one_name_are_held_against_each_other(told):
    assert told(with_row(), with_row()) == []
    assert told(with_row(), with_row(count=1, mesh=["plate.ply"])) == [
        ('row "low".count', "2", "1"),
        ('row "low".mesh', '["plate.ply", "other.ply"]', '["plate.ply"]'),
    ]


def test_a_mesh_of_a_row_is_one_by_its_bytes(told):
    assert told(with_row(), with_row(), hook=11.0) == [('row "low".hook', "hook.ply", "hook.ply")]


def test_a_row_and_the_objects_it_is_short_for_are_the_same(told):
    data = small_scene()
    for number, x, mesh in ((1, 90, "plate.ply"), (2, 190, "other.ply")):
        hook = {"name": f"low hook {number}", "mesh": "hook.ply", "surface": "stainless steel"}
        load = {"name": f"low {number}", "mesh": mesh, "surface": "respirator fabric"}
        data["object"] += [hook | {"at": [x, 125, 200]}]
        data["object"] += [load | {"at": [x, 125, 200], "judged": True}]
    assert told(with_row(), data) == []
    assert told(with_row(), small_scene())[0] == ('object "low hook 1"', "there", "not there")
    assert len(told(with_row(), small_scene())) == 4


def test_gaps_without_a_name_do_not_hide_each_other(told):
    data = small_scene() | {"gap": [GAP | {"width": 2}, GAP | {"width": 1, "to": [20, 0, 200]}]}
    other = small_scene() | {"gap": [GAP | {"width": 3}, GAP | {"width": 1, "to": [20, 0, 200]}]}
    assert told(data, other) == [('gap "gap".width', "2 mm", "3 mm")]


def test_the_same_box_in_inches_and_in_mm_differs_in_nothing(told):
    inches = small_scene() | {"units": "in"}
    inches["chamber"] = inches["chamber"] | {"inside": [12, 10, 14]}
    mm = small_scene()
    mm["chamber"]["inside"] = [304.8, 254, 355.6]
    for lamp in inches["lamp"]:
        lamp |= {key: [f"{x} mm" for x in lamp[key]] for key in ("from", "to")}
        lamp["diameter"] = "16 mm"
    for thing in inches["object"]:
        thing |= {"at": [f"{x} mm" for x in thing["at"]], "edge": "25 mm"}
    assert told(inches, mm) == []
    mm["chamber"] |= {"inside": [310, 254, 355.6], "edge": 40}
    assert told(inches, mm) == [
        ("chamber.inside", "[12, 10, 14] inch", "[310, 254, 355.6] mm"),
        ("chamber.edge", "1.9685 inch, by default", "40 mm"),
    ]


def test_a_surface_a_head_and_a_curve_are_one_value_each(told):
    point = {"name": "middle", "at": [150, 125, 60], "facing": [0, 0, 1]}
    first = small_scene() | {"meter": [point]}
    second = small_scene() | {"meter": [point | {"response": "flat window"}]}
    second["chamber"]["lining"] = {"reflectance": 0.6}
    second["lamps_behaviour"] = {"air": ["15 C", "40 C"], "air_curve": [[10, 0.7], [45, 1.0]]}
    assert told(first, second) == [
        ("chamber.lining", "aluminium foil, bright side", "{ reflectance = 0.6 }"),
        ("lamps_behaviour.air", "not given", '["15 C", "40 C"]'),
        ("lamps_behaviour.air_curve", "not given", "[[10, 0.7], [45, 1.0]]"),
        ('meter "middle".response', "by default", "flat window"),
    ]


def test_many_differences_are_counted_by_table(tmp_path):
    data = small_scene()
    data["lamp"] = data["lamp"][:1] + [data["lamp"][1] | {"name": "back"}]
    data["target"] = {"dose": "2 J/cm2", "safety_factor": 1.5}
    found = differences(written(tmp_path / "a", small_scene()), written(tmp_path / "b", data))
    assert ("target.safety_factor", "1.2, by default", "1.5") in [
        (row.key, row.first, row.second) for row in found
    ]
    assert differing(found, "") == (
        "4 entries of the scenes differ, all told on the page: 2 of lamp, 2 of target."
    )


def test_what_each_box_is_stands_in_words(tmp_path):
    data = with_row()
    data["chamber"]["walls"] = {"floor": data["chamber"]["lining"], "back": "white paint"}
    path = written(tmp_path / "a", data)
    rows = {label: cells for label, *cells in box_rows(path, None)}
    assert rows["inside"] == ["300 × 250 × 350 mm", UNKNOWN]
    assert rows["lining"] == ["aluminium foil, bright side; back: white paint", UNKNOWN]
    assert rows["load"] == ["2 × plate; 1 × other", UNKNOWN]
    assert rows["their sizes"] == ["2 × 2.40 W of UVC, 16 mm thick", UNKNOWN]
    assert box_rows(None, None) == []
