"""Hooks with known answers: the middle of a symmetric box, closed forms, a dark half."""

import numpy as np
import pytest
from agreement import agrees
from hung import BLACK, between_tubes, ranked, worst_in_closed_form
from small_scenes import box

import raysim
from raysim.dose.exposure import LONGEST_TIME
from raysim.output.pictures import hooks_chart
from raysim.output.words.hooks import FATE_WORDS, answer, more_lines
from raysim.scene.build import build_scene
from raysim.studies.hooks.light import Fate, Light
from raysim.studies.hooks.load import Hang, build_stage, find_load

LINE = [(0.2, y, 0.25) for y in (0.12, 0.14, 0.16, 0.18, 0.20, 0.22, 0.24, 0.26, 0.28)]


def truths(scene, points, watts):
    """Worst face of one sheet on each point, in closed form."""
    stage = build_stage(find_load(scene), 1)
    return [worst_in_closed_form(stage.placed((Hang(point),)), watts) for point in points]


def test_the_middle_is_best_between_two_like_tubes(tmp_path):
    scene = between_tubes(tmp_path)
    points = [(x, y, 0.25) for x in (0.14, 0.2, 0.26) for y in (0.14, 0.17, 0.2, 0.23, 0.26)]
    study = ranked(scene, points)
    best = study.best.best
    assert best.layout == (Hang((0.2, 0.2, 0.25)),)
    (truth,) = truths(scene, [(0.2, 0.2, 0.25)], (2.0, 2.0))
    assert agrees(best.estimate, best.error, truth, catches=0.12)
    assert best.lower < truth < best.upper
    assert study.best.worse >= 10  # the rest is shown to be worse, not only left
    by_place = {point.hang.at: point for point in study.points}
    assert by_place[(0.2, 0.14, 0.25)].fate is Fate.WORSE


def test_unlike_tubes_shift_the_best_hook_as_the_closed_form_says(tmp_path):
    watts = (3.0, 1.0)
    scene = between_tubes(tmp_path, watts)
    study = ranked(scene, LINE)
    truth = truths(scene, LINE, watts)
    best = LINE[int(np.argmax(truth))]
    assert best[1] > 0.21  # away from the stronger one
    assert study.best.best.layout[0].at == best
    for point, value in zip(study.points, truth, strict=True):
        assert point.hang.at in LINE
        needed = 1.2 * 1e4 / value  # s at full output; warm-up adds what it takes
        assert point.time == pytest.approx(needed + 30.0, rel=0.12), point
    first, *others = study.best.layouts
    assert all(
        first.beats(layout) or truth[LINE.index(layout.layout[0].at)] > 0.9 * max(truth)
        for layout in others
    )


def test_mirrored_hooks_cannot_be_told_apart(tmp_path):
    study = ranked(between_tubes(tmp_path), [(0.2, 0.16, 0.25), (0.2, 0.24, 0.25)])
    first, second = study.best.layouts
    assert not first.beats(second)
    assert study.best.worse == 0
    assert study.best.could_gain > 0.0
    # Nobody drills for noise: as it hangs comes first, whichever looks brighter in this run.
    points = [(0.2, 0.16, 0.25), (0.2, 0.24, 0.25)]
    for seed in range(2, 6):
        again = ranked(between_tubes(tmp_path), points, seed=seed)
        assert again.best.best.layout == again.load.now


def test_a_screen_makes_one_half_dark(tmp_path):
    """All hooks behind a screen across the box, far from the lamps' half, are shown to be worse."""
    screen = {"name": "screen", "mesh": "screen.ply", "surface": BLACK, "at": [0, 0, 0]}
    scene = between_tubes(
        tmp_path,
        lining={"reflectance": 0.6},
        more=[screen],
        meshes={"screen": box([2, 380, 380], [250, 10, 10])},
    )
    lamps = [lamp.model_copy(update={"end": (0.23, *lamp.end[1:])}) for lamp in scene.written.lamp]
    scene = build_scene(scene.path, scene.written.model_copy(update={"lamp": lamps}))
    points = [(x, y, 0.25) for x in (0.1, 0.16, 0.3, 0.36) for y in (0.16, 0.2, 0.24)]
    study = ranked(scene, points)
    assert study.best.best.layout[0].at[0] < 0.2
    assert all(point.fate is Fate.WORSE for point in study.points if point.hang.at[0] > 0.25)
    dark = [point.time for point in study.points if point.hang.at[0] > 0.25]
    lit = [point.time for point in study.points if point.hang.at[0] < 0.25]
    assert min(dark) > 3.0 * max(lit)


def test_a_sheet_edge_on_to_the_tubes_is_the_worse_turn(tmp_path):
    at = (0.2, 0.2, 0.25)
    study = ranked(between_tubes(tmp_path), [Hang(at, 0.0), Hang(at, 90.0)])
    assert study.best.best.layout == (Hang(at, 0.0),)
    by_layout = {one.layout: one for one in study.best.layouts}
    assert set(by_layout) == {(Hang(at, 0.0),), (Hang(at, 90.0),), study.load.now}
    assert study.best.best.beats(by_layout[Hang(at, 90.0),])


def test_two_sheets_hang_side_by_side_and_not_behind_each_other(tmp_path):
    """In a black box a sheet behind another one has a dark side: no finite time."""
    points = [(x, y, 0.25) for x in (0.14, 0.26) for y in (0.16, 0.2, 0.24)]
    study = ranked(between_tubes(tmp_path), points, numbers=(2,))
    places = sorted(hang.at for hang in study.best.best.layout)
    assert places == [(0.14, 0.2, 0.25), (0.26, 0.2, 0.25)]
    scene = between_tubes(tmp_path)
    truth = worst_in_closed_form(
        build_stage(find_load(scene), 2).placed(study.best.best.layout), (2, 2)
    )
    best = study.best.best
    assert agrees(best.estimate, best.error, truth, catches=0.12)


def too_dark_below(scene, irradiance):
    """The scene with a target that less than some irradiance (W/m2) cannot reach in a week."""
    target = scene.written.target
    dose = irradiance * LONGEST_TIME / target.safety_factor
    written = scene.written.model_copy(
        update={"target": target.model_copy(update={"given_dose": dose})}
    )
    return build_scene(scene.path, written)


def test_where_everything_would_take_more_than_a_week_there_is_no_winner(tmp_path):
    scene = between_tubes(tmp_path)
    truth = truths(scene, LINE, (2.0, 2.0))
    study = ranked(too_dark_below(scene, 1.3 * max(truth)), LINE, numbers=(1, 2))
    assert study.best.all_dark
    assert [one.number for one in study.numbers] == [1]  # more of them bring no more light
    assert study.beyond is None
    assert not any(np.isfinite(point.time) for point in study.points)
    assert all(point.fate is Fate.TOO_DARK for point in study.points)
    assert "more than a week" in answer(study)
    assert "Hang" not in answer(study)
    assert "So little light" in more_lines(study)[0]


def test_every_fate_has_words_of_its_own():
    assert set(FATE_WORDS) == set(Fate)
    assert len(set(FATE_WORDS.values())) == len(Fate)


def map_words(study, folder, monkeypatch):
    """Words of the legend of the map of hook positions, and all others over and beside it."""
    drawn = []
    monkeypatch.setattr(hooks_chart, "save_figure", lambda figure, *_: drawn.append(figure))
    hooks_chart.write_hooks_map(study, folder / "map.png")
    (figure,) = drawn
    (legend,) = figure.legends
    others = [*figure.texts, *(text for axes in figure.axes for text in axes.texts)]
    return [t.get_text() for t in legend.get_texts()], [t.get_text() for t in others]


def test_what_would_take_more_than_a_week_is_out_of_the_race(tmp_path, monkeypatch):
    scene = between_tubes(tmp_path)
    truth = np.array(truths(scene, LINE, (2.0, 2.0)))
    floor = np.sqrt(np.sort(truth)[-1] * np.sort(truth)[-4])
    study = ranked(too_dark_below(scene, floor), LINE)
    dark = np.array([point.fate is Fate.TOO_DARK for point in study.points])
    at = [LINE.index(point.hang.at) for point in study.points]
    assert 0 < dark.sum() < len(dark)
    assert (truth[at][dark] < floor).all()
    assert (dark | (truth[at] > 0.95 * floor)).all()
    best = study.best
    assert best.best.layout[0].at == LINE[int(np.argmax(truth))]
    assert best.dark == dark.sum()
    assert np.isfinite(best.best.time)
    legend, words = map_words(study, tmp_path, monkeypatch)
    assert "would take more than a week" in legend
    assert "shown to be worse than the best" not in legend  # of marks that are not there
    assert legend[0] == "among the best for one alone"
    assert legend[-2:] == ["lamp", "left white: no room, or not tried"]
    assert any("Minutes until its darkest spot has its dose" in text for text in words)


def test_the_winner_gets_the_same_in_a_run_of_its_own(tmp_path):
    from raysim.output.files.scene_file import layout_toml

    scene = between_tubes(tmp_path, lining={"reflectance": 0.3}, surface="respirator fabric")
    points = [(x, y, 0.25) for x in (0.14, 0.26) for y in (0.17, 0.2)]
    study = ranked(scene, points, numbers=(2,), precision=0.02)
    folder = tmp_path / "elsewhere" / "out"
    folder.mkdir(parents=True)
    file = folder / "best.toml"
    file.write_text(layout_toml(study.load, study.best.best.layout, folder, ("a", "b")))
    again = raysim.simulate(raysim.load_scene(file), photons=100_000, precision=0.02, seed=5)
    worst, best = again.cases["cautious"].worst, study.best.best
    error = np.hypot(worst.standard_error, best.error)
    assert agrees(worst.irradiance, error, best.estimate, catches=0.08)
    assert again.timer == pytest.approx(best.time, rel=0.05)


def test_suspects_are_the_same_spots_on_every_respirator(tmp_path):
    light = Light(find_load(between_tubes(tmp_path)), 3, raysim.RunOptions(threads=2))
    places = np.array([[0, 0], [5, 1]])
    light.suspect(places)
    found = [(light.sites.faces[u], light.sites.sides[u]) for u in light.suspects]
    wanted = [(group[face], side) for group in light.stage.groups for face, side in places]
    assert sorted(found) == sorted(wanted)
    (first, second, _) = light.stage.groups
    normals = light.stage.triangles.normals
    assert np.allclose(normals[first], normals[second])
