"""`raysim check`, `materials`, `start`, and the help of all commands."""

import json
import shlex

import pytest
from running import raysim_said, shows_cautions
from small_scenes import small_scene, write_scene

from raysim.library.lamps import lamp_types
from raysim.library.surfaces import surfaces
from raysim.version import __version__


def test_check_of_a_sound_scene(tmp_path):
    write_scene(tmp_path)
    said = raysim_said("check", "scene.toml", folder=tmp_path)
    assert said.status == 0
    assert said.err == ""
    assert said.out.startswith("scene.toml: ")
    assert "0 errors, 0 warnings" in said.out


@pytest.fixture(scope="module")
def doubtful(tmp_path_factory):
    """Folder with a scene of one error and one warning."""
    folder = tmp_path_factory.mktemp("doubtful")
    data = small_scene()
    data["chamber"]["lining"] = "white paint"
    data["object"][0]["at"] = [280, 125, 150]
    write_scene(folder, data)
    return folder


def test_check_tells_errors_first_and_ends_with_status_2(doubtful):
    said = raysim_said("check", "scene.toml", folder=doubtful)
    assert said.status == 2
    error, warning, summary = said.out.splitlines()
    assert error.startswith('error: scene.toml: object 1 "plate".at: it cuts through')
    assert warning.startswith("warning: scene.toml: chamber.lining: ")
    assert summary.endswith("1 error, 1 warning")


def test_an_error_that_hides_others_says_so(tmp_path):
    """A reading in uW hid a lining of no known name, and that a load through the floor."""
    data = small_scene()
    data["chamber"]["lining"] = "no such thing"
    write_scene(tmp_path, data)
    said = raysim_said("check", "scene.toml", folder=tmp_path)
    assert said.status == 2
    assert said.out.splitlines()[-1].endswith("mend this and check again for the rest")


def test_check_as_json(doubtful):
    said = raysim_said("check", "scene.toml", "--json", folder=doubtful)
    assert said.status == 2
    assert said.err == ""
    told = json.loads(said.out)
    assert told["scene"] == "scene.toml"
    assert [fault["level"] for fault in told["faults"]] == ["error", "warning"]
    assert set(told["faults"][0]) == {"level", "code", "file", "key", "what", "mend"}


def test_check_of_a_file_that_is_no_scene_is_still_json(doubtful):
    said = raysim_said("check", "none.toml", "--json", folder=doubtful)
    assert said.status == 2
    (fault,) = json.loads(said.out)["faults"]
    assert "no such file" in fault["what"]


def test_a_dose_is_refused_for_the_same_error_and_nothing_is_written(doubtful):
    said = raysim_said("dose", "scene.toml", folder=doubtful)
    assert said.status == 2
    assert said.out == ""
    assert "it cuts through chamber: right" in said.err
    assert not (doubtful / "results").exists()


def test_materials_lists_every_surface_with_range_and_mark(tmp_path):
    said = raysim_said("materials", folder=tmp_path)
    assert said.status == 0
    assert said.err == ""
    # In a pipe, one line for each, so that it can be searched.
    lines = said.out.splitlines()
    for surface in surfaces().values():
        starts = (f"{surface.name}  ", f"{surface.name} (looks bright, is not)")
        (line,) = [line for line in lines if line.startswith(starts)]
        assert surface.mark in line
        assert f"{surface.reflectance:g}" in line or surface.is_fresnel
        assert ("looks bright, is not" in line) == surface.looks_bright


def test_materials_as_json_is_the_library(tmp_path):
    said = raysim_said("materials", "--json", folder=tmp_path)
    told = json.loads(said.out)
    assert [row["name"] for row in told] == list(surfaces())
    for row in told:
        surface = surfaces()[row["name"]]
        assert row["reflectance"] == surface.reflectance
        assert row["source"] == surface.source
        assert row["source"]


def test_materials_by_name_shows_source_and_note(tmp_path):
    said = raysim_said("materials", "Household", "mirror", folder=tmp_path)
    assert said.status == 0
    assert said.out.startswith("household mirror\n")
    assert " ".join(surfaces()["household mirror"].source.split()) in said.words
    assert "white paint\n" not in said.out


def test_materials_lists_every_type_of_lamp_with_its_watts_and_mark(tmp_path):
    lines = raysim_said("materials", "--lamps", folder=tmp_path).out.splitlines()
    for kind in lamp_types().values():
        (line,) = [line for line in lines if line.startswith(f"{kind.name}  ")]
        assert kind.mark in line
        assert f"  {kind.uvc_W_low:g}" in line
    (only,) = json.loads(
        raysim_said("materials", "--lamps", "t8", "15", "--json", folder=tmp_path).out
    )
    assert (only["name"], only["arc_mm"]) == ("T8 15 W", lamp_types()["T8 15 W"].arc_mm)
    said = raysim_said("materials", "--lamps", "T99", folder=tmp_path)
    assert said.status == 2
    assert 'no lamp is called "T99". Mend: one of T5 4 W' in said.err


@pytest.fixture(scope="module")
def started(tmp_path_factory):
    """Folder in which `raysim start my_box` was run, and what it said."""
    folder = tmp_path_factory.mktemp("started")
    return folder, raysim_said("start", "my_box", folder=folder)


def test_start_makes_a_scene_that_passes_its_check(started):
    folder, said = started
    assert said.status == 0
    assert "raysim dose my_box/my_box.toml" in said.out
    files = {path.name for path in (folder / "my_box").iterdir()}
    assert "my_box.toml" in files
    assert len(files) >= 3
    checked = raysim_said("check", "my_box/my_box.toml", folder=folder)
    assert checked.status == 0
    assert "0 errors, 0 warnings" in checked.out


def test_what_start_says_next_can_be_pasted_into_a_shell(tmp_path):
    said = raysim_said("start", "Kiste Größe 1", folder=tmp_path)
    assert said.status == 0
    for line in said.out.splitlines()[1:]:
        program, command, scene = shlex.split(line)
        assert program == "raysim"
        assert raysim_said("check", scene, folder=tmp_path).status == 0, command


def test_the_demo_comes_with_its_meshes(tmp_path):
    said = raysim_said("start", "demo", "--demo", folder=tmp_path)
    assert said.status == 0
    checked = raysim_said("check", "demo/clinic_locker.toml", folder=tmp_path)
    assert "36,040 triangles; 0 errors, 0 warnings" in checked.out


def dose_of(folder, *words) -> tuple[int, dict]:
    """Status and result.json of a dose run of the starter scene."""
    out = "-".join(words).strip("-")
    common = ("dose", "my_box/my_box.toml", "--no-pictures", "--out", out)
    said = raysim_said(*common, *words, folder=folder)
    assert shows_cautions(said.out)
    assert said.err == ""
    record = json.loads((folder / out / "result.json").read_text("utf-8"))
    assert len(record["cases"]["cautious"]["per_object"]) == 2
    assert record["meters"][0]["irradiance_mW_cm2"] > 0.0
    return said.status, record


def test_a_quick_dose_of_the_starter_scene_works(started):
    # So few photons leave some face of the straps without any, and then there is no time.
    status, record = dose_of(started[0], "--photons", "1")
    assert status == (3 if record["verdict"]["timer_s"] is None else 0)
    assert record["cases"]["expected"]["percentiles"]["mean_mW_cm2"] > 0.0


@pytest.mark.slow
def test_the_starter_scene_has_a_timer_at_the_usual_precision(started):
    status, record = dose_of(started[0], "--precision", "0.02")
    assert status == 0
    for name in ("cautious", "expected"):
        assert 0.0 < record["cases"][name]["precision"] <= 0.02


def test_start_keeps_what_stands_there(started):
    folder = started[0]
    scene = folder / "my_box" / "my_box.toml"
    before = scene.read_bytes()
    scene.write_bytes(before + b"# mine\n")
    said = raysim_said("start", "my_box", folder=folder)
    assert said.status == 2
    assert "Mend: " in said.err
    assert scene.read_bytes() == before + b"# mine\n"


def test_start_fills_an_empty_folder(tmp_path):
    (tmp_path / "new").mkdir()
    assert raysim_said("start", "new", folder=tmp_path).status == 0
    assert (tmp_path / "new" / "new.toml").is_file()


@pytest.mark.parametrize("command", ["", "dose", "check", "materials", "start"])
def test_help_says_what_a_command_is_for_with_an_example(tmp_path, command):
    said = raysim_said(*([command] if command else []), "--help", folder=tmp_path)
    assert said.status == 0
    assert said.err == ""
    assert "Example" in said.out
    assert "raysim" in said.out
    if not command:
        assert all(name in said.out for name in ("dose", "check", "materials", "start"))
        assert "injures eyes and skin" in said.words
        assert "not a medical device" in said.words


def test_without_a_command_the_help_is_shown(tmp_path):
    said = raysim_said(folder=tmp_path)
    assert said.status in (0, 2)
    assert "Commands" in said.out + said.err


def test_version(tmp_path):
    assert raysim_said("--version", folder=tmp_path).out.strip() == f"raysim, version {__version__}"
