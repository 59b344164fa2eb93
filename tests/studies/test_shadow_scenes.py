"""The demo scenes of shadows: each finds the spot, names what hides it, and says so in words."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from agreement import all_agree
from small_scenes import faults_of
from test_shadows import BLACK, LINE, POINT, behind_a_screen

import raysim
from raysim.base.cases import CAUTIOUS
from raysim.estimate.bounds import batch_mean
from raysim.output.words.shadows import help_words, more_lines
from raysim.studies.shadows.extra_lamp import lamp_places
from raysim.studies.shadows.folds import fold_words, folds
from raysim.studies.shadows.patches import dark_patches
from raysim.studies.shadows.remedies import patch_batches, what_helps
from raysim.studies.shadows.run import shadows_of
from raysim.studies.shadows.view import View
from raysim.transport.options import RunOptions

SCENES = Path(__file__).parents[2] / "scenes"
PHOTONS = 260_000
TWO_THREADS = RunOptions(threads=2)


def quiet(*_):
    """Progress of nobody watching."""


def looked_at(name, share=0.4):
    """Dark patches of a demo scene, without remedies."""
    scene = raysim.load_scene(SCENES / f"{name}.toml")
    result = raysim.simulate(scene, photons=PHOTONS)
    return shadows_of(scene, result, TWO_THREADS, share=share, smallest=5e-5, patches=0)


def test_a_fold_left_shut_is_dark_inside(tmp_path):
    study = looked_at("folded_shut")
    first = study.shadows[1]
    assert first.place.startswith("folded shut")
    assert "inside" in first.place
    assert "fold" in first.place.split(", ")[-1]
    assert any(name.startswith("folded shut, shell") for name in first.hiding)
    assert "the respirator's own shell" in more_lines(study)[0]
    assert first.irradiance < 0.2 * study.median


def test_a_strap_that_fell_in_darkens_the_chin_inside():
    study = looked_at("strap_fallen_in")
    behind = [s for s in study.shadows if s.place.startswith("strap fallen in, shell, inside")]
    assert behind
    assert all("bottom" in shadow.place for shadow in behind)
    assert max(s.hiding.get("strap fallen in, straps", 0.0) for s in behind) > 0.1
    assert not any(s.place.startswith("strap free, shell, inside") for s in study.shadows[1:3])


def test_a_respirator_at_the_door_is_dark_where_it_touches():
    study = looked_at("touching_wall")
    first = study.shadows[1]
    assert first.place.startswith("at the door, shell, outside, door side")
    assert first.in_front is not None
    assert first.in_front.name == "chamber: front"
    assert first.in_front.distance < 0.001
    assert "the front wall" in more_lines(replace(study, shadows=study.shadows[1:]))[0]
    assert any("touch chamber: front" in f.what for f in faults_of(SCENES / "touching_wall.toml"))


def test_two_that_touch_hide_each_other():
    study = looked_at("two_touching")
    pair = study.shadows[1:3]
    assert {shadow.place.split(", ")[0] for shadow in pair} == {"first", "second"}
    for shadow in pair:
        other = "second" if shadow.place.startswith("first") else "first"
        assert shadow.hiding[f"{other}, shell"] > 0.3
        assert shadow.in_front is not None
        assert shadow.in_front.name == f"{other}, shell"
    assert any("of its outside touch second" in f.what or "of its outside touch first" in f.what
               for f in faults_of(SCENES / "two_touching.toml"))  # fmt: skip


def test_folds_are_found_where_the_mesh_has_them():
    scene = raysim.load_scene(SCENES / "folded_shut.toml")
    triangles = scene.triangles
    names = [body.name for body in triangles.bodies]
    body = names.index("folded shut")
    found = {fold.name: fold.points for fold in folds(triangles, body)}
    assert set(found) == {"chin fold", "nose fold"}
    # The creases of the shut fold run at the ends of the centre panel, 56 mm apart in the middle.
    middle = {
        name: points[np.abs(points[:, 0] - 0.15) < 0.02, 2].mean() for name, points in found.items()
    }
    assert middle["nose fold"] - middle["chin fold"] == pytest.approx(0.056, abs=0.006)
    below = found["chin fold"].mean(axis=0) - [0.0, 0.0, 0.04]
    assert fold_words(triangles, body, below).endswith("mm from the chin fold")
    on_it = found["nose fold"][0]
    assert fold_words(triangles, body, on_it) == "at the nose fold"
    locker = raysim.load_scene(SCENES / "clinic_locker.toml").triangles
    assert [fold.name for fold in folds(locker, names_of(locker).index("respirator 1"))] == ["rim"]


def names_of(triangles):
    """Names of the bodies."""
    return [body.name for body in triangles.bodies]


def test_a_flat_plate_has_no_folds(tmp_path):
    scene = behind_a_screen(tmp_path, None, POINT)
    body = names_of(scene.triangles).index("plate")
    assert folds(scene.triangles, body) == ()
    assert fold_words(scene.triangles, body, np.zeros(3)) == ""


@pytest.fixture(scope="module")
def back(tmp_path_factory):
    """A black box with one lamp before a plate, and the plate's dark back as a patch."""
    scene = behind_a_screen(
        tmp_path_factory.mktemp("back"), None, LINE, lining=BLACK, edge=30, surface=BLACK
    )
    field = np.where(scene.triangles.judged, 1.0, np.inf)
    patch = next(p for p in dark_patches(scene.triangles, field, 2.0, 0.0) if p.side == 1)
    return scene, patch


def test_a_lamp_more_stands_where_the_patch_sees_it(back):
    scene, patch = back
    places = lamp_places(scene, patch)
    best = places[0]
    assert best.light > 0.0
    assert "rear wall" in best.words or "front and rear" in best.words
    assert not any(p.light for p in places if "front wall" in p.words)
    written = scene.written.model_copy(update={"lamp": [*scene.written.lamp, best.lamp]})
    changed = raysim.scene.build.build_scene(scene.path, written)
    batches = patch_batches(changed, [patch], TWO_THREADS)
    mean, error = batch_mean(batches)
    factor = raysim.simulate(scene, photons=1).cases[CAUTIOUS].lamp_factor
    # Sight lines to a thin tube against tracing of the real one: within some per cent.
    watts = scene.triangles.lamps[0].uvc_W
    assert all_agree(mean, error + 0.03 * mean, [best.light * watts * factor], catches=0.5)


def test_a_lamp_more_is_traced_as_a_remedy(back):
    scene, patch = back
    tried = what_helps(scene, patch, RunOptions(1, 2, quiet))
    lamps = [remedy for remedy in tried.remedies if remedy.what.startswith("a lamp like")]
    assert 1 <= len(lamps) <= 2
    assert lamps[0].gain == np.inf  # light where there was none
    assert lamps[0].irradiance > 5.0 * lamps[0].error


def test_what_helps_is_told_for_each_patch_that_was_asked_for(tmp_path):
    scene = behind_a_screen(tmp_path, ([30, 30], [200, 200, 200]), POINT, lining="foil", edge=20)
    result = raysim.simulate(scene, photons=300_000)
    study = shadows_of(scene, result, TWO_THREADS, share=1.0, smallest=1e-5, patches=2)
    assert len(study.tried) == 2
    assert "Patch 2 (" in " ".join(help_words(study))


def test_nothing_is_close_before_a_free_plate(back):
    scene, patch = back
    assert View(scene.triangles, patch).in_front() is None
