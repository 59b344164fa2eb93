"""What is compared, and what is left of a study that was stopped."""

import json
from dataclasses import replace

import numpy as np
import pytest
from hung import NO_ROOM, between_tubes, ranked
from running import shows_cautions

from raysim.base.errors import RaysimError
from raysim.output.studies import hooks as written
from raysim.output.words.hooks import answer, doubts, more_lines
from raysim.output.words.hooks_tables import drill_table, layouts_table, numbers_table
from raysim.scene.file.written import Meter
from raysim.scene.sides import OF_AXES
from raysim.studies.hooks import Clearances, light, study
from raysim.studies.hooks.clearances import LAMP, Room
from raysim.studies.hooks.contestant import Contestant, Fate
from raysim.studies.hooks.light import Light
from raysim.studies.hooks.load import Hang, find_load
from raysim.studies.hooks.points import Grid, grid_points
from raysim.studies.hooks.rows import rows
from raysim.studies.hooks.run import usual_numbers
from raysim.transport.options import RunOptions
from raysim.transport.paths import PATH_BATCHES

NEAR, FAR = (0.2, 0.2, 0.25), (0.2, 0.24, 0.25)


def test_what_the_bounds_decide_is_decided(tmp_path):
    """Hundreds of faces of one sheet could be its worst: no face by face comparison ends well."""
    scene = between_tubes(tmp_path, edge=9, lining={"reflectance": 0.8, "reflectance_low": 0.8})
    found = ranked(scene, [NEAR, (0.2, 0.28, 0.25)], precision=0.08).best
    near, far = (next(x for x in found.layouts if x.layout[0].at[1] == y) for y in (0.2, 0.28))
    assert near.estimate - far.estimate > 4.0 * np.hypot(near.error, far.error)
    assert near.beats(far)


def test_few_hook_positions_are_not_scouted_first(tmp_path, monkeypatch):
    monkeypatch.setattr(light.Light, "scout", None)
    found = ranked(between_tubes(tmp_path), [NEAR, FAR], precision=0.2)
    assert {point.hang.at for point in found.points} >= {NEAR, FAR}


def test_the_load_as_it_hangs_is_compared_though_it_is_no_candidate(tmp_path):
    """It hangs at y = 160, and the only position asked for is darker."""
    found = ranked(between_tubes(tmp_path), [(0.2, 0.12, 0.25)], precision=0.1)
    assert found.best.best.layout == found.load.now
    assert found.best.now.layout == found.load.now
    stay = "Leave it where it hangs: no other place was shown to be better."
    assert answer(found) == stay
    assert layouts_table(found).rows[0][0] == "layout 1 (as now)"
    assert "meter readings" not in " ".join(doubts(found))
    scene = found.load.scene
    assert drill_table(found).headings[1:3] == ("nearest wall, mm", "from the left wall, mm")
    chamber = scene.written.chamber.model_copy(update={"inside": None})  # its origin is anywhere
    bodies = tuple(replace(body, wall="") for body in scene.triangles.bodies)
    pose = replace(scene.poses[0], triangles=replace(scene.triangles, bodies=bodies))
    written = scene.written.model_copy(update={"chamber": chamber})
    vessel = replace(scene, written=written, poses=(pose, *scene.poses[1:]))
    told = drill_table(replace(found, load=replace(found.load, scene=vessel)))
    assert told.headings == ("", *(f"{along}, mm" for along in OF_AXES.measured), "turned, degrees")
    assert told.rows == (("hook 1", "200", "160", "250", "0"),)
    read = scene.written.model_copy(update={"meter": [Meter.model_construct(reading=12.0)]})
    load = replace(found.load, scene=replace(scene, written=read))
    assert "without the meter readings" in " ".join(doubts(replace(found, load=load)))
    model = load.scene.written.object[0]
    other = model.model_copy(update={"name": "flat fold", "mesh": "fold.obj", "judged": True})
    mixed = read.model_copy(update={"object": [*read.object, other]})
    load = replace(load, scene=replace(scene, written=mixed))
    mixed = replace(found, load=load)
    assert '"flat fold" has another' in doubts(mixed)[0]  # the one on the page
    moved = replace(mixed, load=replace(load, now=()))
    assert f'Hang 1 respirator shaped like "{model.name}"' in answer(moved)


def test_the_load_as_it_hangs_does_not_win_if_it_hangs_too_near(tmp_path):
    """Between tubes at y = 50 and 350, 100 mm from each is asked; it hangs 70 mm from one."""
    scene = between_tubes(tmp_path, (6.0, 0.5), at=[200, 260, 250])
    points = [(x, 0.2, 0.25) for x in (0.14, 0.2)]
    found = ranked(scene, points, clearances=Clearances(0.0, 0.1, 0.0), precision=0.05)
    now = found.best.now
    assert now.in_the_way == f"hook 1 {LAMP}"
    assert now.layout not in [one.layout for one in found.best.layouts]
    assert now.lower > found.best.best.upper  # the light alone would say otherwise
    assert "nearer than asked" in more_lines(found)[1]


def stop_at(what, done):
    """Options with a progress that is Ctrl-C once so much of something is done."""

    def progress(told, so_far, whole):
        if what in told and so_far >= done:
            raise KeyboardInterrupt

    return RunOptions(1, threads=2, progress=progress)


@pytest.mark.parametrize(
    ("what", "done", "number"),
    [("1 respirator: trying layouts", 2, 1), ("2 respirators: trying layouts", 3, 2)],
)
def test_what_is_known_when_stopped_is_kept(tmp_path, what, done, number):
    points = [Hang((x, y, 0.25)) for x in (0.14, 0.26) for y in (0.16, 0.2, 0.24)]
    scene = between_tubes(tmp_path, lining={"reflectance": 0.5, "reflectance_low": 0.5})
    options = stop_at(what, done)
    found = study(
        scene, numbers=[1, 2], points=points, clearances=NO_ROOM, precision=0.2, options=options
    )
    assert found.interrupted
    assert found.numbers[-1].number == number
    assert found.numbers[-1].tried == done
    said = " ".join(more_lines(found))
    assert "This run was stopped before its end" in said
    for one, row in zip(found.numbers, numbers_table(found).rows, strict=True):
        assert row[1].startswith("about ") is not one.best.has_bound
        assert bool(row[4]) is one.best.has_bound  # no bound is not a bound of 0
    written.write(found, tmp_path / "out")
    record = json.loads((tmp_path / "out" / "result.json").read_text("utf-8"))
    assert record["interrupted"]
    page = (tmp_path / "out" / "report.html").read_text("utf-8")
    assert "stopped before its end" in page
    assert shows_cautions(page)
    assert "stopped before its end" in (tmp_path / "out" / "best.toml").read_text("utf-8")


@pytest.mark.parametrize(
    ("what", "done", "points"),
    [("2 respirators: trying layouts", 1, 0), ("1 respirator: trying layouts", 2, 2)],
)
def test_stopped_early_tells_of_the_load_as_it_hangs(tmp_path, what, done, points):
    sheet = {"mesh": "sheet.ply", "surface": {"reflectance": 0.0}, "judged": True, "edge": 22}
    second = {"name": "respirator 2", "at": [280, 160, 250]} | sheet
    found = study(
        between_tubes(tmp_path, more=[second]),
        points=Grid(spacing=0.06),
        clearances=NO_ROOM,
        options=stop_at(what, done),
    )
    assert found.best.number == 2
    assert found.best.now is not None
    assert len(found.points) == points
    assert "about" in more_lines(found)[0]
    written.write(found, tmp_path / "out")


def test_stopped_before_anything_is_known_is_passed_on(tmp_path):
    points = [Hang((x, 0.2, 0.25)) for x in (0.1, 0.14, 0.2, 0.26)]
    with pytest.raises(KeyboardInterrupt):
        study(
            between_tubes(tmp_path),
            points=points,
            clearances=NO_ROOM,
            options=stop_at("finding its dark spots", 0),
        )


def test_even_rows_are_even_and_keep_clear(tmp_path):
    load = find_load(between_tubes(tmp_path))
    room = Room(load, Clearances(0.015, 0.010, 0.015))
    hangs, _ = room.sifted(grid_points(load, Grid(heights=(0.18, 0.3), spacing=0.03)))
    found = rows(4, hangs, room, np.array([0.2, 0.2]))
    assert len(found) > 6
    heights = {tuple(sorted(hang.at[2] for hang in layout)) for layout in found}
    assert (0.18, 0.18, 0.3, 0.3) in heights
    for layout in found:
        assert not any(room.trouble(hang) for hang in layout)
        at = {tuple(np.round(np.subtract(hang.at, (0.2, 0.2, 0.0)), 6) + 0.0) for hang in layout}
        assert {(-x + 0.0, y, z) for x, y, z in at} == at or {
            (x, -y + 0.0, z) for x, y, z in at
        } == at


def test_an_even_row_off_the_grid_may_win(tmp_path):
    """On a grid of 60 mm two sheets hang 60 or 120 mm apart: too near, or less bright."""
    scene = between_tubes(tmp_path, lining={"reflectance": 0.5, "reflectance_low": 0.5})
    found = study(
        scene,
        numbers=[2],
        points=Grid(spacing=0.06, across=(0.08, 0.32), deep=(0.2, 0.2)),
        clearances=NO_ROOM,
        precision=0.1,
        options=RunOptions(1, threads=2),
    )
    tried = {hang.at[0] for one in found.best.layouts for hang in one.layout}
    assert any(abs(x - 0.2) % 0.06 > 1e-6 for x in tried)


def test_numbers_tried_rise_in_steps():
    assert usual_numbers(4) == [1, 2, 3, 4]
    assert usual_numbers(16) == [1, 2, 3, 4, 5, 6, 8, 10, 13, 16]


def test_a_number_that_does_not_fit_is_refused(tmp_path):
    with pytest.raises(RaysimError, match="no layout of 9 respirators keeps clear"):
        ranked(between_tubes(tmp_path), [NEAR, FAR], numbers=(9,), precision=0.5)


def test_a_fourth_dark_face_is_looked_at_too(tmp_path):
    here = Light(find_load(between_tubes(tmp_path)), 1, RunOptions(threads=1))
    week = here.requirement.week_irradiance
    looked = []

    def batches_of(one, chosen, paths, seed, of=None):
        looked.extend(chosen)
        light = np.array([1.5, 1.5, 1.5, 0.5])[np.asarray(chosen)] * week
        return light[:, None] * np.resize([1.01, 0.99], PATH_BATCHES)

    here.batches_of = batches_of
    one = contestant_with(here, 4)
    here.look_for_too_dark(one, 1, 1e-4)
    assert looked == [0, 1, 2, 3]
    assert one.fate is Fate.TOO_DARK
    assert one.worst.irradiance == pytest.approx(0.5 * week)


def test_too_dark_is_said_by_the_upper_bound_alone(tmp_path):
    """Three and a half errors below are enough for one layout in 300, not for one in 100,000."""
    here = Light(find_load(between_tubes(tmp_path)), 1, RunOptions(threads=1))
    week = here.requirement.week_irradiance
    spread = 8.0 * np.sqrt(63.0 / 64.0) * 0.1 / 3.5  # of batches: the mean has 0.1 / 3.5
    here.batches_of = lambda one, chosen, *_: (
        np.full((len(chosen), 1), week) * (0.9 + spread * np.resize([1.0, -1.0], PATH_BATCHES))
    )
    for error, fate in ((3e-3, Fate.TOO_DARK), (1e-5, Fate.RACING)):
        one = contestant_with(here, 1)
        here.look_for_too_dark(one, 1, error)
        assert one.fate is fate
        assert (one.upper < week) == (fate is Fate.TOO_DARK)


def contestant_with(here, faces):
    """A layout whose dark faces seem to get nearly nothing."""
    nothing = np.zeros(faces)
    one = Contestant((Hang(NEAR),), None, None, np.arange(faces), nothing + 1e-12, nothing)
    here.set_up(one)
    return one


def test_the_longest_step_tells_how_far_it_is(tmp_path):
    """A look at every face took minutes, and its bar stood at 0 % to the end."""
    told = []
    options = RunOptions(1, threads=2, progress=lambda *how: told.append(how))
    study(between_tubes(tmp_path), numbers=[1], points=[Hang((0.2, 0.15, 0.2))], options=options)
    shares = [done / whole for what, done, whole in told if "every face of the best" in what]
    assert len(shares) > 2
    assert any(0.0 < share < 1.0 for share in shares)
