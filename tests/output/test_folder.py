"""The folder of a run is written whole or not at all, and takes the place of nothing else."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import synthetic

from raysim.base.cases import EXPECTED
from raysim.base.errors import RaysimError
from raysim.base.figures import NotAFigure
from raysim.output.files import folder
from raysim.output.files.dose_map import write_dose_map
from raysim.output.files.folder import (
    MOVING,
    OLD,
    READY,
    STAGED,
    claimed,
    json_text,
    write_whole,
)
from raysim.output.files.lock import LOCK_FILE
from raysim.output.files.results import write_results
from raysim.output.pictures import draw
from raysim.output.pictures.charts import write_charts


def refuse_taken(place, force):
    """Claim a folder for a moment."""
    with claimed(place, force):
        pass


def filled(path: Path, **files: str) -> Path:
    """Folder with some files of text."""
    path.mkdir(parents=True, exist_ok=True)
    for name, text in files.items():
        (path / name.replace("_json", ".json")).write_text(text)
    return path


def contents(path: Path) -> dict[str, str]:
    """Every file under a folder with its text."""
    return {
        file.relative_to(path).as_posix(): file.read_text()
        for file in sorted(path.rglob("*"))
        if file.is_file()
    }


def one_file(text: str):
    """A function that fills a folder with one file."""
    return lambda fresh: (fresh / "result.json").write_text(text)


def test_a_new_place_and_an_empty_folder_are_free(tmp_path):
    for force in (False, True):
        refuse_taken(tmp_path / "new", force)
        refuse_taken(tmp_path / "deep" / "down" / "new", force)
        refuse_taken(filled(tmp_path / "empty"), force)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["empty"]


def test_results_give_way_to_force_alone(tmp_path):
    results = filled(tmp_path / "results", result_json="{}", report="x")
    (results / "report").rename(results / "report.html")
    with pytest.raises(RaysimError, match="stand there already.*--force"):
        refuse_taken(results, False)
    refuse_taken(results, True)


@pytest.mark.parametrize("force", [False, True])
def test_other_things_never_give_way(tmp_path, force):
    with pytest.raises(RaysimError, match="holds other things"):
        refuse_taken(filled(tmp_path / "letters", letter="dear clinic"), force)
    (tmp_path / "file").write_text("x")
    with pytest.raises(RaysimError, match="a file stands there"):
        refuse_taken(tmp_path / "file", force)
    with pytest.raises(RaysimError, match="cannot be written"):
        refuse_taken(tmp_path / "file" / "below", force)


def test_what_a_killed_run_left_is_told_from_results_and_from_other_things(tmp_path):
    out = filled(tmp_path / "out")
    (out / "checkpoint.npz.part").write_text("half")
    (out / LOCK_FILE).write_text("")
    filled(out / STAGED, result_json="half")
    refuse_taken(out, False)  # nothing that could be lost or gone on with
    assert not (out / STAGED).exists()
    (out / "checkpoint.npz").write_text("whole")
    with pytest.raises(RaysimError, match="broken off stands there.*--resume"):
        refuse_taken(out, False)
    refuse_taken(out, True)
    (out / "checkpoint of my own.npz").write_text("dear clinic")
    with pytest.raises(RaysimError, match="other things"):
        refuse_taken(out, True)


@pytest.mark.parametrize("place", [READY, MOVING])
def test_what_was_ready_is_put_in_place_by_the_next_run(tmp_path, place):
    out = filled(tmp_path / "out", **({"result_json": "old"} if place == READY else {}))
    filled(out / OLD, result_json="older")
    (out / OLD / "result.json").rename(out / OLD / "report.html")
    filled(out / place, result_json="new")
    with pytest.raises(RaysimError, match="results stand there already"):
        refuse_taken(out, False)
    assert contents(tmp_path) == {"out/result.json": "new"}


def test_other_things_beside_results_never_give_way(tmp_path):
    mixed = filled(tmp_path / "mixed", result_json="{}", readings="2.1 mW/cm2 at the door")
    with pytest.raises(RaysimError, match="other things"):
        refuse_taken(mixed, True)


def test_a_folder_is_put_in_place_whole(tmp_path):
    write_whole(tmp_path / "a" / "out", one_file("new"))
    assert contents(tmp_path) == {"a/out/result.json": "new"}
    assert (tmp_path / "a" / "out").stat().st_mode & 0o777 == 0o755


def test_a_folder_takes_the_place_of_an_older_one(tmp_path):
    out = filled(tmp_path / "out", result_json="old", report="old", notes="dear clinic")
    (out / "report").rename(out / "report.html")
    write_whole(out, one_file("new"))
    assert contents(tmp_path) == {"out/result.json": "new", "out/notes": "dear clinic"}
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


@pytest.mark.parametrize("error", [OSError(28, "No space left on device"), KeyboardInterrupt()])
@pytest.mark.parametrize("before", [None, "old"])
def test_a_broken_write_leaves_things_as_they_were(tmp_path, error, before):
    if before:
        filled(tmp_path / "out", result_json=before)

    def breaks_off(fresh: Path) -> None:
        (fresh / "result.json").write_text("half")
        raise error

    expected = RaysimError if isinstance(error, OSError) else KeyboardInterrupt
    with pytest.raises(expected) as refusal:
        write_whole(tmp_path / "out", breaks_off)
    if expected is RaysimError:
        assert "No space left on device" in str(refusal.value)
        assert "nothing there was changed" in str(refusal.value)
    assert contents(tmp_path) == ({"out/result.json": "old"} if before else {})
    assert len(list(tmp_path.iterdir())) == (1 if before else 0)


def test_a_broken_swap_puts_the_old_folder_back(tmp_path, monkeypatch):
    out = filled(tmp_path / "out", result_json="old")
    rename = Path.rename

    def fails_for_the_new(self, target):
        if Path(target).parent == out and "-old-" not in self.parent.name:
            raise OSError(5, "Input/output error")
        return rename(self, target)

    monkeypatch.setattr(Path, "rename", fails_for_the_new)
    with pytest.raises(RaysimError, match="Input/output error"):
        write_whole(out, one_file("new"))
    assert contents(tmp_path) == {"out/result.json": "old"}


def test_the_folder_we_stand_in_can_be_filled(tmp_path, monkeypatch):
    out = filled(tmp_path / "out")
    monkeypatch.chdir(out)
    write_whole(Path(), one_file("new"))
    assert contents(tmp_path) == {"out/result.json": "new"}
    assert Path.cwd() == out


def test_all_files_of_a_result_are_written(tmp_path):
    result = synthetic.result()
    told: list[str] = []
    out = tmp_path / "out"
    assert write_results(result, out, case=EXPECTED, pictures=False, notice=told.append) == ""
    names = {path.name for path in out.iterdir()}
    files = {"result.json", "faces.csv", "dose_map.vtp", "report.html"}
    assert names == files | {"card.html"}
    assert told == ["writing the dose map", "writing the report"]
    text = (out / "result.json").read_text("utf-8")
    assert json.loads(text)["case"] == "expected"
    assert text == json_text(json.loads(text))


def test_the_dose_map_opens_whatever_objects_are_called(tmp_path):
    import pyvista

    result = synthetic.result()
    bodies = result.triangles.bodies
    named = (replace(bodies[0], name="Schürze <b>"), *bodies[1:])
    triangles = replace(result.triangles, bodies=named)
    write_dose_map(replace(result, triangles=triangles), tmp_path / "dose_map.vtp")
    mesh = pyvista.read(tmp_path / "dose_map.vtp")
    assert mesh.n_cells == len(triangles.corners)
    assert mesh.field_data["body_names"][0] == "Sch&#252;rze <b>"
    shown = mesh.cell_data["irradiance_outside_mW_cm2"]
    assert np.allclose(shown, 0.1 * result.cases["cautious"].irradiance[:, 0], rtol=1e-6)


def test_results_are_written_even_where_no_picture_can_be_drawn(tmp_path, monkeypatch):
    monkeypatch.setattr(draw.Drawing, "pictures", lambda *_: ([], "no graphics library"))
    trouble = write_results(synthetic.result(), tmp_path / "out")
    assert trouble == "no graphics library"
    names = {path.name for path in (tmp_path / "out").iterdir()}
    assert {"result.json", "faces.csv", "dose_map.vtp", "report.html"} <= names


def test_drawing_that_dies_is_trouble_told_not_a_crash(tmp_path, monkeypatch):
    monkeypatch.setattr(draw.sys, "executable", "/nowhere/python")
    with draw.Drawing(synthetic.result()) as drawing:
        shown, trouble = drawing.pictures(tmp_path / "pictures")
    assert shown == []
    assert not (tmp_path / "pictures").exists()
    assert "/nowhere/python" in trouble


@pytest.fixture(scope="module")
def alone(drawn, tmp_path_factory):
    """A result and its pictures, drawn in this process."""
    result = synthetic.result()
    return result, drawn + write_charts(result, tmp_path_factory.mktemp("alone"))


@pytest.mark.parametrize("cores", [pytest.param(1, marks=pytest.mark.slow), 2])
def test_processes_share_the_drawing_and_the_report_has_its_order(
    alone, tmp_path, monkeypatch, cores
):
    monkeypatch.setattr(draw, "default_threads", lambda: cores)
    result, drawn = alone
    with draw.Drawing(result) as drawing:
        assert len(drawing._processes) == cores
        shown, trouble = drawing.pictures(tmp_path / "pictures")
    assert trouble == ""
    assert {p.file for p in shown} == set((tmp_path / "pictures").iterdir())
    assert [(p.file.name, p.title, p.caption) for p in shown] == [
        (p.file.name, p.title, p.caption) for p in drawn
    ]
    assert len({p.file.read_bytes() for p in shown}) == len(shown) > 4
    for one, other in zip(shown, drawn, strict=True):
        assert one.file.read_bytes() == other.file.read_bytes()


@pytest.mark.parametrize("objects", [1, 2, 3, 6, 24])
def test_nothing_is_drawn_twice_or_left_out(objects):
    for processes in (1, 2):
        shares = draw._shares(objects, processes)
        assert len(shares) == processes
        assert sorted(sum(shares, [])) == list(range(objects + 1))


def test_a_drawing_that_is_not_waited_for_ends():
    with draw.Drawing(synthetic.result()) as drawing:
        processes = drawing._processes
        assert all(process.poll() is None for process in processes)
    assert all(process.returncode is not None for process in processes)


def test_json_has_no_numbers_that_others_cannot_read():
    assert folder.json_text({"a": 1.5}) == '{\n  "a": 1.5\n}\n'
    for value in (float("nan"), float("inf")):
        with pytest.raises(NotAFigure, match="not JSON compliant"):
            json_text({"a": value})
