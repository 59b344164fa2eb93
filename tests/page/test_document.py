"""Tests of the document: only what changed changes, in every scene of the project."""

import difflib
import shutil
import tomllib
from pathlib import Path

import pytest
import tomlkit
from small_scenes import small_scene, write_scene

from raysim.base.errors import RaysimError
from raysim.page.document import Document
from raysim.page.edits import edited, free_name
from raysim.scene.file.differences import differences
from raysim.scene.file.read import read_scene

ROOT = Path(__file__).parents[2]
SCENES = sorted(ROOT.glob("scenes/*.toml"))
STARTER = ROOT / "raysim/starter/starter_scene.toml"


@pytest.fixture
def scenes(tmp_path):
    """A copy of the scenes with their meshes."""
    shutil.copytree(ROOT / "scenes", tmp_path / "scenes")
    shutil.copytree(ROOT / "meshes", tmp_path / "meshes")
    shutil.copy(STARTER, tmp_path / "scenes")
    return tmp_path / "scenes"


@pytest.mark.parametrize("name", [*(path.name for path in SCENES), STARTER.name])
def test_open_and_save_of_every_scene_is_byte_for_byte(scenes, name):
    before = (scenes / name).read_bytes()
    document = Document(scenes / name)
    document.save()
    assert (scenes / name).read_bytes() == before
    assert tomlkit.dumps(tomlkit.parse(before.decode())).encode() == before
    kind = "lamp"
    document.edit({"do": "delete", "things": [[kind, 0]]}, "delete")
    document.undo()
    document.save(over=True)
    assert (scenes / name).read_bytes() == before


def changed(before: str, after: str) -> list[str]:
    """Lines that are gone or new, with their signs."""
    lines = difflib.ndiff(before.splitlines(), after.splitlines())
    return [line for line in lines if line[0] in "+-"]


def test_an_edit_changes_its_line_alone_and_keeps_the_comment_behind_it(scenes):
    document = Document(scenes / "clinic_locker.toml")
    before = document.text
    document.edit({"do": "set", "path": ["target", "safety_factor"], "value": 1.5}, "")
    assert changed(before, document.text) == [
        "- safety_factor = 1.2      # common practice, no published norm",
        "+ safety_factor = 1.5      # common practice, no published norm",
    ]
    assert not document.is_saved
    document.save()
    assert (scenes / "clinic_locker.toml").read_text() == document.text


def test_a_moved_point_changes_only_the_numbers_that_differ(scenes):
    document = Document(scenes / "clinic_locker.toml")
    before = document.text
    document.edit({"do": "move", "points": [["lamp", 0, "from", [50, 45, 60]]]}, "")
    assert changed(before, document.text) == ["- from = [45, 45, 60]", "+ from = [50, 45, 60]"]


def test_units_of_the_scene_and_of_a_quantity_stay():
    text = 'title = "t"\nunits = "in"\n[[lamp]]\nname = "a"\nfrom = [1, "30 mm", 2.5]\n'
    after = edited(text, {"do": "move", "points": [["lamp", 0, "from", [50.8, 40, 63.5]]]})
    assert 'from = [2, "40 mm", 2.5]' in after


def test_a_copy_stands_behind_the_last_of_its_kind_and_comments_stay_with_what_follows(scenes):
    document = Document(scenes / "clinic_locker.toml")
    before = document.text
    document.edit({"do": "copy", "things": [["lamp", 3]], "by": [-50, 0, 0], "times": 2}, "")
    lines = changed(before, document.text)
    assert all(line.startswith("+") for line in lines)
    assert [one.name for one in document.scene.lamp[4:]] == ["rear right 2", "rear right 3"]
    assert [round(one.start[0], 4) for one in document.scene.lamp[4:]] == [0.465, 0.415]
    place = document.text.index('name = "rear right 3"')
    assert place < document.text.index("# Two rails carry three wire hooks each")


def test_a_mirrored_thing_stands_on_the_other_side_of_the_middle(scenes):
    document = Document(scenes / "clinic_locker.toml")
    document.edit({"do": "mirror", "things": [["meter", 0]], "axis": 1}, "")
    twin = document.scene.meter[-1]
    assert twin.at == pytest.approx((0.28, 0.3, 0.47))
    assert twin.facing == (0, 1, 0)


def test_lists_and_tables_on_one_line_are_edited_as_well(tmp_path):
    document = Document(write_scene(tmp_path))
    assert 'lamp" = [{' in document.text.replace("lamp = ", 'lamp" = ')
    document.edit({"do": "copy", "things": [["lamp", 0]], "by": [60, 0, 0]}, "")
    document.edit({"do": "set", "path": ["chamber", "walls", "back"], "value": "strap"}, "")
    document.edit({"do": "delete", "things": [["lamp", 1]]}, "")
    assert [lamp.name for lamp in document.scene.lamp] == ["left", "left 2"]
    assert document.scene.lamp[1].start == pytest.approx((0.1, 0.04, 0.06))
    assert document.scene.chamber.walls == {"back": "strap"}


def test_all_of_a_kind_can_be_deleted_and_one_added_again(scenes):
    document = Document(scenes / "clinic_locker.toml")
    document.edit({"do": "delete", "things": [["meter", 0], ["meter", 1]]}, "")
    assert document.scene.meter == []
    table = {"name": "point", "facing": [0, -1, 0]}
    new = {"do": "add", "kind": "meter", "table": table, "points": {"at": [1, 2, 3]}}
    document.edit(new, "")
    assert document.scene.meter[0].at == (0.001, 0.002, 0.003)


@pytest.mark.parametrize(
    "edit",
    [
        {"do": "nothing"},
        {"do": "delete", "things": [["lamp", 99]]},
        {"do": "delete", "things": [["chamber", 0]]},
        {"do": "move", "points": [["lamp", 0, "from", ["a", 1, 2]]]},
        {"do": "set", "path": ["title"], "value": "x" * 100_000},
        {"do": "set", "path": ["lamp", "x", "y"], "value": 1},
        {},
    ],
)
def test_an_edit_that_does_not_fit_is_refused_in_one_line_and_changes_nothing(scenes, edit):
    document = Document(scenes / "clinic_locker.toml")
    before = document.text
    with pytest.raises(RaysimError, match="Mend: ") as refused:
        document.edit(edit, "")
    assert "\n" not in str(refused.value)
    assert document.text == before


def test_a_value_that_is_none_is_a_fault_and_stays_in_the_draft(scenes):
    document = Document(scenes / "clinic_locker.toml")
    document.edit({"do": "set", "path": ["lamp", 0, "uvc"], "value": "much"}, "")
    assert document.scene is None
    (fault,) = document.faults
    assert fault.key == 'lamp 1 "front left".uvc'
    assert Document(scenes / "clinic_locker.toml").text == document.text
    document.undo()
    assert document.scene is not None


def test_a_file_changed_elsewhere_is_not_written_over_unasked(scenes):
    path = scenes / "clinic_locker.toml"
    document = Document(path)
    document.edit({"do": "set", "path": ["title"], "value": "mine"}, "")
    path.write_text(path.read_text() + "# theirs\n")
    assert document.changed_on_disk
    with pytest.raises(RaysimError, match="changed by another program"):
        document.save()
    assert path.read_text().endswith("# theirs\n")
    document.take_disk()
    assert document.text.endswith("# theirs\n")
    document.undo()
    assert tomllib.loads(document.text)["title"] == "mine"
    document.save(over=True)
    assert tomllib.loads(path.read_text())["title"] == "mine"


def test_what_cannot_be_written_is_said_and_the_draft_kept(scenes, monkeypatch):
    path = scenes / "clinic_locker.toml"
    document = Document(path)
    document.edit({"do": "set", "path": ["title"], "value": "mine"}, "")

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(RaysimError, match="draft is kept.*No space left on device"):
        document.save()
    monkeypatch.undo()
    assert not document.is_saved
    assert tomllib.loads(path.read_text())["title"] != "mine"
    assert tomllib.loads(Document(path).text)["title"] == "mine"


@pytest.mark.parametrize("name", ["../secret.obj", "/etc/passwd", "a/../../b.stl"])
def test_no_mesh_from_outside_the_folder_can_be_named(tmp_path, name):
    (tmp_path / "box").mkdir()
    document = Document(write_scene(tmp_path / "box"))
    with pytest.raises(RaysimError, match="outside the folder"):
        document.edit({"do": "set", "path": ["object", 0, "mesh"], "value": name}, "")
    document.edit({"do": "set", "path": ["object", 0, "mesh"], "value": "other.ply"}, "")


def test_line_ends_of_windows_and_a_byte_order_mark_stay(tmp_path):
    path = write_scene(tmp_path)
    data = b"\xef\xbb\xbf" + path.read_bytes().replace(b"\n", b"\r\n")
    path.write_bytes(data)
    document = Document(path)
    document.edit({"do": "set", "path": ["title"], "value": "other"}, "")
    document.save()
    assert path.read_bytes() == data.replace(b"small box", b"other")


def test_names_are_never_given_twice():
    assert free_name({}, "lamp", "rear") == "rear"
    assert free_name({"lamp": [{"name": "Rear"}]}, "lamp", "rear") == "rear 2"
    assert free_name({"lamp": [{"name": "a 1"}, {"name": "a 2"}]}, "lamp", "a 1") == "a 3"


@pytest.mark.parametrize("units", ["mm", "in"])
def test_rows_written_out_are_the_same_box_whose_things_can_be_moved(tmp_path, units):
    scale = {"mm": 1.0, "in": 25.4}[units]
    data = small_scene()
    size = [round(x / scale, 3) for x in data["chamber"]["inside"]]
    data = data | {"units": units, "chamber": data["chamber"] | {"inside": size}}
    row = {"name": "low", "count": 2, "from": [3.5, 5, 6], "spacing": "101 mm"}
    data["row"] = [
        row | {"mesh": "plate.ply", "parts": {}, "hook": "plate.ply", "turn": [0, 0, 30]}
    ]
    before = write_scene(tmp_path, data)
    after = tmp_path / "after.toml"
    after.write_text(edited(before.read_text("utf-8"), {"do": "write out"}), encoding="utf-8")
    assert differences(before, after) == []
    assert read_scene(after).object == read_scene(before).object
    names = [table["name"] for table in tomllib.loads(after.read_text("utf-8"))["object"]]
    assert names == ["plate", "low hook 1", "low 1", "low hook 2", "low 2"]


def test_a_scene_that_a_study_found_is_taken_as_a_step_with_its_meshes(tmp_path):
    path = write_scene(tmp_path)
    document, before = Document(path), path.read_text()
    folder = tmp_path / "results" / "scene_lamps"
    folder.mkdir(parents=True)
    best = before.replace("plate.ply", "../../plate.ply").replace("[40, ", "[60, ")
    (folder / "best.toml").write_text(best)
    document.take_result("scene_lamps", "best")
    assert document.scene.lamp[0].start[0] == pytest.approx(0.06)
    assert document.scene.object[0].mesh == "plate.ply"
    assert document.journal.undo_words == "best of scene_lamps"
    document.undo()
    assert document.text == before
    (tmp_path / "other.toml").write_text(best)
    for folder, name in (
        ("scene_lamps", "nothing"),
        ("..", "other"),
        ("scene_lamps/../..", "other"),
    ):
        with pytest.raises(RaysimError, match="is not there"):
            document.take_result(folder, name)
    (tmp_path / "results" / "scene_lamps" / "best.toml").write_text("[[[")
    with pytest.raises(RaysimError, match="best.toml"):
        document.take_result("scene_lamps", "best")
    assert document.text == before
