"""Shadows with known answers: an occluder of known shadow, a plate turned round."""

import json
from dataclasses import replace

import numpy as np
import pytest
import trimesh
from agreement import agrees
from running import contents, raysim_said
from small_scenes import box, write_scene

import raysim
import raysim.dose.simulate
from raysim.base.cases import CAUTIOUS
from raysim.base.units import minutes_seconds
from raysim.dose.exposure import LONGEST_TIME
from raysim.estimate.face_sides import judged_sites
from raysim.output.files.shadows_record import shadows_record
from raysim.output.words.shadows import (
    answer,
    best_remedy,
    more_lines,
    patch_words,
    patches_table,
)
from raysim.scene.build import build_scene
from raysim.scene.file.written import Meter
from raysim.scene.triangles import SIDES, Untreated
from raysim.studies.shadows.patches import dark_patches
from raysim.studies.shadows.run import shadows_of
from raysim.studies.shadows.run import study as study_of
from raysim.studies.shadows.view import ITSELF_TURNED, View
from raysim.transport.options import RunOptions

TWO_THREADS = RunOptions(threads=2)

BLACK = {"reflectance": 0.0}


def upright(width, height):
    """Open sheet about its own origin, facing the door (mm)."""
    x, z = 0.5 * width, 0.5 * height
    corners = [[-x, 0, -z], [x, 0, -z], [x, 0, z], [-x, 0, z]]
    return trimesh.Trimesh(corners, [[0, 1, 2], [0, 2, 3]], process=False)


def behind_a_screen(folder, screen, lamp, lining=BLACK, **plate):
    """A judged plate at y = 300 mm, a thin screen at y = 200 and a lamp about y = 100."""
    judged = {
        "name": "plate",
        "mesh": "sheet.ply",
        "surface": BLACK,
        "at": [200, 300, 200],
        "judged": True,
        "edge": 4,
    } | plate
    things = [judged]
    if screen is not None:
        size, at = screen
        things.append({"name": "screen", "mesh": "screen.ply", "surface": BLACK, "at": at})
        meshes = {"screen": box([size[0], 0.2, size[1]], [-size[0] / 2, -0.1, -size[1] / 2])}
    else:
        meshes = {}
    data = {
        "title": "screen",
        "chamber": {"inside": [400, 400, 400], "lining": lining},
        "lamp": [{"name": "lamp", "reflectance": 0.0, "uvc": "1 W"} | lamp],
        "object": things,
    }
    return raysim.load_scene(write_scene(folder, data, sheet=upright(120, 120), **meshes))


POINT = {"from": [197, 100, 200], "to": [203, 100, 200], "diameter": 6}
LINE = {"from": [200, 100, 140], "to": [200, 100, 260], "diameter": 4}


def front(result, scene):
    """Irradiance with the plate's back, which sees no light at all, taken out."""
    field = result.cases[CAUTIOUS].irradiance.copy()
    field[:, 1] = np.inf
    return field


def test_a_shadow_has_the_size_that_geometry_says(tmp_path):
    scene = behind_a_screen(tmp_path, ([30, 30], [200, 200, 200]), POINT)
    result = raysim.simulate(scene, photons=1_500_000)
    field = front(result, scene)
    median = float(np.median(field[scene.triangles.judged[:, 0], 0]))
    first = dark_patches(scene.triangles, field, 0.5 * median, 25e-6)[0]
    # Umbra 60 - 6 mm, penumbra to 60 + 6 mm; half-light at 60 mm. Faces are up to 4 mm wide.
    assert (0.056) ** 2 < first.area < (0.064) ** 2
    assert np.allclose(first.centroid, [0.2, 0.3, 0.2], atol=0.001)
    (sight,) = View(scene.triangles, first).sights()
    assert sight.hidden["screen"] > 0.93
    assert sight.seen < 0.07


def test_nothing_hides_the_lamp_without_the_screen(tmp_path):
    scene = behind_a_screen(tmp_path, None, POINT)
    sites = judged_sites(scene.triangles)
    field = np.where(scene.triangles.judged, 1.0, np.inf)
    patches = dark_patches(scene.triangles, field, 2.0, 0.0)
    assert len(patches) == 2  # one on each side, of the whole plate
    assert sum(patch.area for patch in patches) == pytest.approx(sites.areas.sum())
    by_side = {patch.side: View(scene.triangles, patch).sights()[0] for patch in patches}
    assert by_side[0].seen == 1.0
    assert by_side[1].hidden == {ITSELF_TURNED: pytest.approx(1.0)}


def test_half_a_tube_is_hidden_by_a_screen_up_to_its_middle(tmp_path):
    """From a small plate at the height of the tube's middle the lower half is hidden."""
    scene = behind_a_screen(tmp_path, ([100, 100], [200, 200, 150]), LINE, scale=0.02)
    field = np.where(scene.triangles.judged, 1.0, np.inf)
    patch = next(p for p in dark_patches(scene.triangles, field, 2.0, 0.0) if p.side == 0)
    (sight,) = View(scene.triangles, patch).sights()
    assert sight.hidden["screen"] == pytest.approx(0.5, abs=0.03)
    assert sight.seen == pytest.approx(0.5, abs=0.03)


def test_patches_that_do_not_touch_stay_apart(tmp_path):
    scene = behind_a_screen(tmp_path, None, POINT)
    field = np.where(scene.triangles.judged, 1.0, np.inf)
    field[:, 1] = np.inf
    field[np.abs(scene.triangles.centroids[:, 0] - 0.2) < 0.01, 0] = 3.0
    patches = dark_patches(scene.triangles, field, 2.0, 0.0)
    assert len(patches) == 2
    sides = sorted(float(patch.centroid[0]) for patch in patches)
    assert sides[0] < 0.18
    assert sides[1] > 0.22


def test_turning_round_gives_the_back_what_the_front_had(tmp_path):
    """A plate about its own origin with a lamp before it: turned by 180 degrees, sides swap."""
    scene = behind_a_screen(tmp_path, None, LINE, lining={"reflectance": 0.5}, edge=30)
    result = raysim.simulate(scene, photons=1_000_000, precision=0.02)
    study = shadows_of(scene, result, TWO_THREADS, share=1.0, smallest=1e-4, patches=1)
    first = study.shadows[0]
    assert first.place.startswith("plate, inside")
    assert first.hiding[ITSELF_TURNED] == pytest.approx(1.0)
    field = result.cases[CAUTIOUS].irradiance
    areas = scene.triangles.areas[first.patch.faces]
    front_light, back_light = (areas @ field[first.patch.faces, s] / areas.sum() for s in (0, 1))
    turned = next(r for r in study.tried[0].remedies if "+180" in r.what)
    assert turned.clear
    assert turned.gain == pytest.approx(front_light / back_light, rel=0.12)
    assert abs(turned.gain - front_light / back_light) < 4.5 * (turned.gain_error + 0.01)
    lined = next(r for r in study.tried[0].remedies if "PTFE" in r.what)
    assert lined.clear
    assert lined.gain > 1.5


def test_a_patch_that_would_take_more_than_a_week_is_said_to_and_looked_at_closely(tmp_path):
    scene = behind_a_screen(tmp_path, None, LINE, lining={"reflectance": 0.5}, edge=30)
    result = raysim.simulate(scene, photons=300_000, seed=3)
    asked = {"share": 0.9, "smallest": 1e-5, "patches": 1}
    lit = shadows_of(scene, result, TWO_THREADS, **asked)
    assert not lit.shadows[0].dark
    best = best_remedy(lit.tried[0])
    floor = 0.5 * (lit.shadows[0].irradiance + best.irradiance)  # the best change lifts it above
    safety = scene.written.target.safety_factor
    target = {"given_dose": floor * LONGEST_TIME / safety, "safety_factor": safety}
    asked_more = scene.written.target.model_copy(update=target)
    written = scene.written.model_copy(update={"target": asked_more})
    scene = build_scene(scene.path, written)
    result = replace(result, target_dose=asked_more.dose)
    study = shadows_of(scene, result, TWO_THREADS, **asked)
    first = study.shadows[0]
    assert first.dark
    assert agrees(first.irradiance, first.error, lit.shadows[0].irradiance, catches=0.1)
    assert first.error < 0.5 * lit.shadows[0].error
    for remedy in study.tried[0].remedies:
        clear = abs(remedy.irradiance - floor) > 6.0 * remedy.error
        assert remedy.dark == (remedy.irradiance < floor) or not clear, remedy
    assert {remedy.dark for remedy in study.tried[0].remedies} == {True, False}
    assert "more than a week" in more_lines(study)[0]
    assert "all the same" not in answer(study)
    assert patches_table(study).rows[0][4] == "more than a week"


def test_where_nearly_all_is_too_dark_that_is_dark(tmp_path):
    """Below half of a median without light lies nothing: it was said that all can hang so."""
    scene = behind_a_screen(tmp_path, ([390, 390], [200, 200, 200]), POINT, edge=30)
    result = raysim.simulate(scene, photons=100_000)
    study = shadows_of(scene, result, TWO_THREADS, share=0.5, smallest=1e-4, patches=1)
    assert study.median < study.limit
    assert study.dark_area == pytest.approx(2 * 0.12**2)
    assert all(shadow.dark for shadow in study.shadows)
    assert "more than a week" in more_lines(study)[0]
    json.dumps(shadows_record(study, answer(study)), allow_nan=False)


def test_the_spot_that_sets_the_timer_is_always_the_first(tmp_path, monkeypatch):
    """It was "No dark patch was found", or a patch on another respirator than dose named."""
    monkeypatch.setattr(raysim.dose.simulate, "DEFAULT_PRECISION", 0.2)
    scene = behind_a_screen(tmp_path, None, LINE, lining="foil", edge=40)
    study = study_of(scene, share=0.01, patches=0, options=TWO_THREADS)
    dose = raysim.simulate(scene, seed=TWO_THREADS.seed)
    (first,) = study.shadows
    worst = dose.cases[CAUTIOUS].worst
    assert (first.patch.faces.tolist(), SIDES[first.patch.side]) == ([worst.face], worst.side)
    assert first.irradiance == first.worst.irradiance == worst.irradiance
    assert study.result.calculated == dose.calculated
    assert answer(study).startswith("The spot that sets the timer: plate")
    (line,) = more_lines(study)
    assert minutes_seconds(dose.calculated) in line
    assert "no patch is" in patch_words(study)[0]
    assert "sets the timer: plate" in patches_table(study).rows[0][1]


def test_the_box_tells_what_touches_and_that_readings_are_left_out(tmp_path):
    scene = behind_a_screen(tmp_path, None, LINE, lining="foil", edge=30)
    written = scene.written.model_copy(
        update={
            "meter": [Meter(name="m", at=(0.1, 0.1, 0.1), facing=(0, 0, 1), reading="1 uW/cm2")]
        }
    )
    study = study_of(scene, photons=1, patches=0, options=TWO_THREADS)
    spot = Untreated("plate", "", "inside", (1,), 2e-5, "screen")
    result = replace(study.result, untreated=(spot,), written=written)
    lines = more_lines(replace(study, result=result))
    assert len(lines) == 3
    assert "without the meter readings" in lines[1]
    assert lines[2].startswith("0.20 cm2 touch something")


def test_command_writes_all_and_says_what_to_do(tmp_path):
    behind_a_screen(tmp_path, ([30, 30], [200, 200, 200]), POINT, lining="foil", edge=10)
    words = ("shadows", "scene.toml", "--photons", "300000", "--share", "0.9", "--out", "out")
    said = raysim_said(*words, folder=tmp_path, painted=True)
    assert said.status == 0
    assert "the spot that sets the timer" in said.words
    assert "That spot is plate" in said.words
    assert "Crisis-capacity measure only" in said.words
    written = contents(tmp_path / "out")
    assert {"result.json", "report.html", "pictures/patch_1.png"} <= set(written)
    record = json.loads(written["result.json"])
    assert record["scene"]["file"] == "scene.toml"
    assert [patch["sets_the_timer"] for patch in record["patches"]][:2] == [True, False]
    assert record["patches"][1]["area_cm2"] > 0.25
    assert record["remedies"]
    assert raysim_said(*words, folder=tmp_path).status == 2
