"""`raysim dose` on a small scene: what it writes, prints and returns."""

import csv
import json
import re

import jsonschema
import pytest
import pyvista
import trimesh
from running import QUICK, contents, raysim_said, shows_cautions
from small_scenes import box, plate, small_scene, with_object, write_scene

from raysim.base.units import minutes_seconds
from raysim.dose.simulate import load_scene
from raysim.output.files.schemas.print import schema_text
from raysim.output.words.cautions import CAUTIONS
from raysim.transport.photons import BATCH_PHOTONS

FACE_COLUMNS = [
    "object", "face", "side", "x_mm", "y_mm", "z_mm", "area_cm2",
    "irradiance_mW_cm2", "standard_error_mW_cm2", "dose_at_timer_mJ_cm2",
]  # fmt: skip


def validator():
    """Validator of the published schema."""
    text = schema_text("dose")
    schema = json.loads(text)
    jsonschema.Draft202012Validator.check_schema(schema)
    return jsonschema.Draft202012Validator(schema)


def rows_of(folder):
    """Rows of faces.csv."""
    with (folder / "faces.csv").open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    """Folder, output and results of one whole run, with a meter and pictures."""
    folder = tmp_path_factory.mktemp("small")
    data = small_scene()
    data["meter"] = [{"name": "m", "at": [150, 60, 100], "facing": [0, 1, 0]}]
    write_scene(folder, data)
    said = raysim_said("dose", "scene.toml", *QUICK, folder=folder, batch=BATCH_PHOTONS)
    results = folder / "results" / "scene"
    return folder, said, results


@pytest.fixture(scope="module")
def record(small):
    """result.json of the small run."""
    return json.loads((small[2] / "result.json").read_text("utf-8"))


def test_a_good_run_ends_with_status_0_and_the_promised_files(small):
    _, said, results = small
    assert said.status == 0
    assert said.err == ""
    assert {path.name for path in results.iterdir()} == {
        "result.json", "faces.csv", "dose_map.vtp", "report.html", "pictures",
        "card.html", "card.png",
    }  # fmt: skip


def test_nothing_else_is_left_beside_the_results(small):
    folder = small[0]
    assert {path.name for path in folder.iterdir()} == {"scene.toml", "plate.ply", "results"}
    assert [path.name for path in (folder / "results").iterdir()] == ["scene"]


def test_result_json_keeps_to_its_schema(record):
    assert list(validator().iter_errors(record)) == []


def test_the_schema_refuses_what_is_not_a_result(record):
    check = validator()
    for change in (
        {"timer": 5},
        {"seed": -1},
        {"case": "bright"},
        {"energy": {}},
        {"verdict": {}},
        {"schema_version": "1"},
        {"cautions": []},
    ):
        assert not check.is_valid(record | change), change
    for key in record:
        assert not check.is_valid({k: v for k, v in record.items() if k != key}), key


def test_result_json_tells_of_the_run(record, small):
    assert record["scene"]["title"] == "small box"
    assert record["seed"] == 1
    assert record["photons"] > 0
    assert record["precision_asked"] == 0.2
    assert record["interrupted"] is False
    assert record["target"] == {"dose_mJ_cm2": 1000.0, "safety_factor": 1.2}
    assert record["verdict"]["timer_s"] == record["cases"]["cautious"]["exposure_time_s"]
    assert record["energy"] == record["cases"][record["case"]]["energy"]
    assert record["cautions"] == list(CAUTIONS)
    assert [lamp["name"] for lamp in record["lamps"]] == ["left", "right"]
    assert [meter["name"] for meter in record["meters"]] == ["m"]
    assert record["warnings"] == []
    worst = record["cases"]["cautious"]["worst"]
    assert worst["lower_bound_mW_cm2"] <= worst["irradiance_mW_cm2"]


def test_faces_csv_has_one_row_for_each_judged_face_side(small, record):
    rows = rows_of(small[2])
    assert list(rows[0]) == FACE_COLUMNS
    triangles = load_scene(small[0] / "scene.toml").triangles
    assert len(rows) == triangles.judged.sum() == 32
    names = {(row["object"], int(row["face"]), row["side"]) for row in rows}
    assert len(names) == len(rows)
    for row in rows:
        face = int(row["face"])
        place = [float(row[key]) for key in ("x_mm", "y_mm", "z_mm")]
        assert place == pytest.approx(1000.0 * triangles.centroids[face], abs=1e-3)
        assert float(row["area_cm2"]) == pytest.approx(1e4 * triangles.areas[face], rel=1e-5)
    # 40 mm x 40 mm, both sides.
    assert sum(float(row["area_cm2"]) for row in rows) == pytest.approx(32.0, rel=1e-5)


def test_faces_csv_agrees_with_result_json(small, record):
    rows = {(int(row["face"]), row["side"]): row for row in rows_of(small[2])}
    case = record["cases"]["cautious"]
    for spot in (case["worst"], case["best"]):
        row = rows[spot["face"], spot["side"]]
        for key in ("irradiance_mW_cm2", "standard_error_mW_cm2"):
            assert float(row[key]) == pytest.approx(spot[key], rel=1e-3)
    # What lies below the worst that is named does so by its noise.
    worst = case["percentiles"]["worst_mW_cm2"]
    assert worst == case["worst"]["irradiance_mW_cm2"]
    shown = [
        (float(row["irradiance_mW_cm2"]), float(row["standard_error_mW_cm2"]))
        for row in rows.values()
    ]
    assert min(value for value, _ in shown) <= worst * (1.0 + 1e-5)
    assert all(value + 2.0 * error > 0.999 * worst for value, error in shown)
    # Five minutes that rise from half to full output lose a quarter of them.
    effective = record["verdict"]["timer_s"] - 75.0
    for row in rows.values():
        dose = float(row["irradiance_mW_cm2"]) * effective
        assert float(row["dose_at_timer_mJ_cm2"]) == pytest.approx(dose, rel=1e-4)


def test_the_dose_map_opens_elsewhere_and_agrees(small):
    mesh = pyvista.read(small[2] / "dose_map.vtp")
    triangles = load_scene(small[0] / "scene.toml").triangles
    assert mesh.n_cells == len(triangles.corners)
    assert mesh.area == pytest.approx(1e6 * triangles.areas.sum(), rel=1e-5)
    for row in rows_of(small[2]):
        for name in ("irradiance_{}_mW_cm2", "dose_at_timer_{}_mJ_cm2"):
            shown = mesh.cell_data[name.format(row["side"])][int(row["face"])]
            key = name.format("").replace("__", "_")
            assert shown == pytest.approx(float(row[key]), rel=1e-4)
    judged = mesh.cell_data["judged_outside"].sum() + mesh.cell_data["judged_inside"].sum()
    assert judged == 32


def test_pictures_are_pictures(small):
    pictures = sorted((small[2] / "pictures").iterdir())
    assert pictures
    for path in pictures:
        assert path.suffix == ".png"
        assert path.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"
        assert path.stat().st_size > 5_000


def test_the_terminal_says_time_spot_and_cautions(small, record):
    said = small[1]
    assert minutes_seconds(record["verdict"]["timer_s"]) in said.words
    assert minutes_seconds(record["cases"]["expected"]["exposure_time_s"]) in said.words
    worst = record["cases"]["cautious"]["worst"]
    x, y, z = (f"{value:.0f}" for value in worst["centroid_mm"])
    assert f"plate, {worst['side']}" in said.words
    assert f"(at x {x}, y {y}, z {z} mm)" in said.words
    assert shows_cautions(said.out)
    assert "results/scene/report.html" in said.out


def test_every_text_that_shows_a_time_shows_the_cautions(small, record):
    time = minutes_seconds(record["verdict"]["timer_s"])
    html = (small[2] / "report.html").read_text("utf-8")
    assert time in html
    for text in (html, json.dumps(record, ensure_ascii=False)):
        for word in ("eyes and skin", "Crisis-capacity", "medical device", "calibrated", "wiring"):
            assert word in text, word


def test_no_file_and_no_line_claims_too_much(small):
    texts = [content for name, content in contents(small[2]).items() if not name.endswith(".png")]
    for text in (*texts, small[1].out.encode()):
        assert b"steril" not in text.lower()


def test_json_prints_the_result_and_nothing_else(small, record):
    folder = small[0]
    words = ("dose", "scene.toml", "--out", "json", "--json", "--no-pictures", *QUICK)
    said = raysim_said(*words, folder=folder, batch=BATCH_PHOTONS)
    assert said.status == 0
    assert said.err == ""
    printed = json.loads(said.out)
    assert said.out == (folder / "json" / "result.json").read_text("utf-8")
    assert not (folder / "json" / "pictures").exists()
    # The very same numbers as in the first run.
    times = {"seconds": 0, "made_at": ""}
    assert printed | times == record | times


def test_quiet_prints_nothing_and_case_chooses_the_map(small, record):
    folder = small[0]
    words = ("dose", "scene.toml", "--out", "quiet", "--no-pictures", "--quiet", *QUICK)
    said = raysim_said(*words, "--case", "expected", folder=folder, batch=BATCH_PHOTONS)
    assert (said.status, said.out, said.err) == (0, "", "")
    written = json.loads((folder / "quiet" / "result.json").read_text("utf-8"))
    assert written["case"] == "expected"
    assert written["energy"] == record["cases"]["expected"]["energy"]
    assert written["cases"] == record["cases"]
    assert written["verdict"]["timer_s"] == record["verdict"]["timer_s"]
    worst = record["cases"]["expected"]["worst"]
    rows = {(int(row["face"]), row["side"]): row for row in rows_of(folder / "quiet")}
    shown = float(rows[worst["face"], worst["side"]]["irradiance_mW_cm2"])
    assert shown == pytest.approx(worst["irradiance_mW_cm2"], rel=1e-5)


def test_warnings_are_told_once_and_kept(tmp_path):
    data = small_scene() | {"target": {"dose": "0.5 J/cm2"}}
    data["chamber"]["lining"] = "white paint"
    data["object"][0]["name"] = "=cmd()"
    write_scene(tmp_path, data)
    said = raysim_said("dose", "scene.toml", "--no-pictures", "--photons", "1", folder=tmp_path)
    assert said.status == 3  # longer than a shift
    lines = said.err.splitlines()
    assert len(lines) == 2
    assert all(line.startswith("warning: scene.toml: ") for line in lines)
    results = tmp_path / "results" / "scene"
    written = json.loads((results / "result.json").read_text("utf-8"))
    assert [f"warning: {line}" for line in written["warnings"]] == lines
    assert written["precision_asked"] is None
    assert written["backward_paths"] == 0
    # A spreadsheet must not run what an object is called.
    assert {row["object"] for row in rows_of(results)} == {"'=cmd()"}


@pytest.fixture(scope="module")
def dark(tmp_path_factory):
    """A run with a second judged sheet, one triangle, shut in a closed tin."""
    folder = tmp_path_factory.mktemp("dark")
    data = with_object(name="tin", at=[60, 120, 40], surface="bare plywood")
    keys = {"name": "shut in", "mesh": "sheet.ply", "at": [65, 130, 50], "edge": 100}
    data["object"].append(data["object"][0] | keys)
    sheet = trimesh.Trimesh(plate().vertices, [[0, 1, 2]], process=False)
    write_scene(folder, data, thing=box([60.0, 60.0, 60.0]), sheet=sheet)
    words = ("dose", "scene.toml", "--no-pictures", *QUICK)
    return raysim_said(*words, folder=folder), folder / "results" / "scene"


def test_a_face_without_light_has_no_time_and_status_3(dark):
    said, results = dark
    assert said.status == 3
    record = json.loads((results / "result.json").read_text("utf-8"))
    assert list(validator().iter_errors(record)) == []
    assert record["verdict"]["timer_s"] is None
    for case in record["cases"].values():
        assert case["exposure_time_s"] is None
        assert case["worst"]["object"] == "shut in"
        assert case["worst"]["irradiance_mW_cm2"] == 0.0
        assert case["worst"]["lower_bound_mW_cm2"] == 0.0
        assert case["precision"] == 1.0
    plate = next(
        entry for entry in record["cases"]["cautious"]["per_object"] if entry["object"] == "plate"
    )
    assert plate["worst_mW_cm2"] > 0.0


def test_the_dark_spot_is_named_and_no_time_is_shown(dark):
    said, results = dark
    record = json.loads((results / "result.json").read_text("utf-8"))
    worst = record["cases"]["cautious"]["worst"]
    x, y, z = (f"{value:.0f}" for value in worst["centroid_mm"])
    assert "DO NOT USE. There is no timer setting. No time can be vouched for" in said.words
    assert "shut in" in said.words
    assert f"(at x {x}, y {y}, z {z} mm)" in said.words
    assert "Set the timer to" not in said.out
    assert "To bring light there" in said.words
    assert shows_cautions(said.out)
    assert all(row["dose_at_timer_mJ_cm2"] == "" for row in rows_of(results))
    html = (results / "report.html").read_text("utf-8")
    assert "Set the timer to" not in html
    for text in (html, said.out):
        assert not re.search(r"\b(nan|none) ?(±|mW|mJ|J/cm|s\b|min\b|%)", text, re.IGNORECASE)
    assert "NaN" not in (results / "dose_map.vtp").read_text("utf-8")


def test_a_dark_face_in_the_dose_map_is_zero_not_blank(dark):
    mesh = pyvista.read(dark[1] / "dose_map.vtp")
    names = list(mesh.field_data["body_names"])
    faces = mesh.cell_data["body"] == names.index("shut in")
    for side in ("outside", "inside"):
        assert (mesh.cell_data[f"irradiance_{side}_mW_cm2"][faces] == 0.0).all()
        assert f"dose_at_timer_{side}_mJ_cm2" not in mesh.cell_data


def test_a_sheet_flat_on_another_gets_no_time_from_photons(tmp_path):
    data = small_scene()
    data["object"].append(data["object"][0] | {"name": "plate 2", "at": [130, 125.01, 150]})
    write_scene(tmp_path, data)
    words = ("dose", "scene.toml", "--json", "--no-pictures", "--photons", "1")
    said = raysim_said(*words, folder=tmp_path)
    record = json.loads(said.out)
    worst = record["cases"]["cautious"]["worst"]
    assert said.status == 3
    assert record["verdict"]["timer_s"] is None
    assert (worst["object"], worst["side"]) in {("plate", "inside"), ("plate 2", "outside")}
    assert any("touch plate" in line for line in record["warnings"])
