"""Tests of the data of the map: what it holds is the result, and no name can get out of it."""

import base64
import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import synthetic

from raysim.base.cases import CAUTIOUS, EXPECTED
from raysim.dose.simulate import load_scene
from raysim.output.pages.map_data import band_limits, geometry_record, map_record
from raysim.output.pages.map_page import json_in_script, map_block, script, sides_table
from raysim.output.pages.report import write_report
from raysim.output.pictures.scale import dose_scale

TRICKS = (
    "</script><script>alert(1)</script>", "<!--<script>", "]]>", "a&lt;b", "\u2028\u2029", "\\u003c",
)  # fmt: skip

DEMO = Path(__file__).parents[2] / "scenes/clinic_locker.toml"


def record(result, case=CAUTIOUS):
    return map_record(result, dose_scale(result, case), case)


def array(text: str, kind: str) -> np.ndarray:
    return np.frombuffer(base64.b64decode(text), kind)


@pytest.fixture(scope="module")
def result():
    return synthetic.result()


def lies_where_it_did(data, triangles):
    """Whether every triangle of a record has its place, to the step of the grid, and its body."""
    corners, seen = 1000.0 * triangles.corners, np.zeros(len(triangles.corners), int)
    low, step = np.array(data["grid"]["low"]), data["grid"]["step"]
    for part in data["parts"]:
        points = low + step * array(part["points"], "<u2").reshape(-1, 3)
        index = array(part["corners"], "<u4" if part["wide"] else "<u2").reshape(-1, 3)
        faces = part["first"] + np.arange(len(index))
        seen[faces] += 1
        assert np.abs(points[index] - corners[faces]).max() <= 0.51 * step
        assert np.all(triangles.face_body[faces] == part["body"])
    return bool(np.all(seen == 1))


def test_every_triangle_lies_where_it_did(result):
    data = record(result)
    assert lies_where_it_did(data, result.triangles)
    assert data["grid"]["step"] < 0.01  # mm


def test_walls_of_equal_areas_keep_their_own_corners():
    """Left and right walls, and ceiling and floor, are split alike and counted another way."""
    triangles, kept = load_scene(DEMO).triangles, {}
    for _ in range(2):  # the second time from what was kept
        assert lies_where_it_did(geometry_record(triangles, kept), triangles)


def test_values_are_those_of_the_result(result):
    values, case = record(result)["values"], result.cases[CAUTIOUS]
    judged = np.unpackbits(array(values["judged"], "u1"), bitorder="little")
    judged = judged[: 2 * len(case.irradiance)].astype(bool).reshape(-1, 2)
    assert np.array_equal(judged, result.triangles.judged)
    codes = array(values["irradiance"], "<u2").astype(float)
    light = values["low"] * np.exp(values["span"] * (codes - 1.0) / values["levels"])
    assert light == pytest.approx(case.irradiance[judged] / 10.0, rel=1e-4)
    errors = (array(values["errors"], "u1") / values["errorLevels"]) ** 2
    assert errors == pytest.approx(0.01, rel=0.05)


def test_the_case_that_is_asked_for_is_shown(result):
    assert record(result)["worst"]["words"] != record(result, EXPECTED)["worst"]["words"]
    assert record(result, EXPECTED)["case"] == EXPECTED


def test_a_spot_without_light_is_code_zero_and_there_is_no_dose():
    dark = synthetic.result(dark=True)
    data = record(dark)
    codes = array(data["values"]["irradiance"], "<u2")
    assert (codes == 0).sum() == (dark.cases[CAUTIOUS].irradiance[dark.triangles.judged] == 0).sum()
    assert data["dosePerIrradiance"] is None
    assert data["timer"] is None


def test_worst_spots_are_named(result):
    data, case = record(result), result.cases[CAUTIOUS]
    assert data["worst"]["face"] == case.worst.face
    assert [spot["object"] for spot in data["spots"]] == ["respirator 1", "respirator 2"]
    assert data["worst"]["at"] == pytest.approx(1000.0 * case.worst.centroid, abs=0.006)


@pytest.mark.parametrize("trick", TRICKS)
def test_no_name_gets_out_of_the_data(trick, tmp_path):
    result = synthetic.result(names=(trick, "b"), title=trick)
    text = json_in_script(record(result))
    assert not set("<>&\u2028\u2029") & set(text)
    assert [b["name"] for b in json.loads(text)["bodies"] if b["judged"]][0] == trick
    write_report(result, [], tmp_path / "report.html")
    html = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert html.count("<script") == html.count("</script>") == 2
    assert "alert(1)</script>" not in html


@pytest.mark.parametrize(("low", "high"), [(1.0, 5.0), (0.011, 0.9), (1e-3, 9.0), (700.0, 7001.0)])
def test_bands_are_few_and_round(result, low, high):
    scale = dose_scale(result, CAUTIOUS)
    scale = replace(scale, low=low, high=high, logarithmic=high > 20.0 * low)
    limits = band_limits(scale)
    assert 2 <= len(limits) <= 9
    assert low < limits[0] < limits[-1] < high
    assert all(float(f"{limit:.1e}") == pytest.approx(limit) for limit in limits)


def test_a_scene_too_large_for_a_page_has_its_table_only(result, monkeypatch, tmp_path):
    monkeypatch.setattr("raysim.output.pages.map_page.MOST_FACES", 10)
    block = map_block(result, CAUTIOUS)
    assert not block.finds_room
    assert block.data == "null"
    write_report(result, [], tmp_path / "report.html")
    html = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert "<script" not in html
    assert "raysim view" in html
    assert "The map in numbers" in html


def test_the_table_says_what_the_map_shows(result):
    rows = sides_table(result, CAUTIOUS).rows
    assert [row[0] for row in rows] == [
        f"respirator {k}, {s}" for k in (1, 2) for s in ("outside", "inside")
    ]
    worst = result.cases[CAUTIOUS].worst
    row = next(r for r in rows if r[0] == f"{worst.object}, {worst.side}")
    x, y, z = (f"{1000.0 * value:.0f}" for value in worst.centroid)
    assert row[1] == f"{worst.part} at {x}, {y}, {z}"
    assert float(row[3]) == pytest.approx(worst.irradiance / 10.0, rel=5e-3)


def test_one_noisy_face_makes_no_side_bright(result):
    """The table gave the luckiest face of each side as its brightest: 3.54 where the best is 2.37."""
    case = result.cases[CAUTIOUS]
    noisy = case.irradiance.copy()
    face = int(np.flatnonzero(result.triangles.judged[:, 0])[0])
    noisy[face, 0] = 9.0 * case.irradiance.max()
    cases = result.cases | {CAUTIOUS: replace(case, irradiance=noisy)}
    before, after = (
        float(sides_table(one, CAUTIOUS).rows[0][5])
        for one in (result, replace(result, cases=cases))
    )
    assert after == pytest.approx(before, rel=0.05)


def test_the_demo_fits_the_page(result):
    """Made-up light on the triangles of the demo: the map takes less than 1 of the 6 MiB."""
    scene = load_scene(Path(__file__).parents[2] / "scenes" / "clinic_locker.toml").triangles
    light = np.random.default_rng(1).uniform(1.0, 60.0, scene.judged.shape)
    cases = {case: synthetic.case_result(scene, case, light) for case in result.cases}
    block = map_block(replace(result, triangles=scene, cases=cases), CAUTIOUS)
    assert block.finds_room
    assert len(block.data) + len(block.script) < 2**20


def test_the_script_asks_for_nothing_and_writes_no_html():
    assert "</" not in script()
    assert not re.search(
        r"innerHTML|outerHTML|insertAdjacent|document\.write|eval\(|fetch\(", script()
    )
