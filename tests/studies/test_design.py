"""Designs from a wish: boxes that hold their load, costs of the bill, sums that hold, one answer."""

import json
import math
import pickle
import tomllib
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from dataclasses import replace
from importlib import resources
from itertools import islice
from multiprocessing import get_context
from pathlib import Path

import numpy as np
import pytest
import trimesh
from running import raysim_said, with_few_traces
from schemas import complaints

import raysim
import raysim.output.pictures.design_chart
import raysim.output.studies.design
from raysim.base.errors import Level, RaysimError
from raysim.library.lamps import lamp_types
from raysim.scene.check.check import check_scene
from raysim.scene.check.contact import contact_faults
from raysim.starter.shapes import SHAPES
from raysim.studies.design import boxes, read_wish, search, study
from raysim.studies.design.places import PATTERNS, with_lamps
from raysim.studies.design.proposals import WALLS, cost_of, proposals
from raysim.studies.design.scenes import scene_files, workplace
from raysim.studies.design.shapes import hung_shapes
from raysim.studies.design.sums import sums_of
from raysim.workshop.grid import INCH, MM
from raysim.workshop.plan import plan_of
from raysim.workshop.prices import priced

EXAMPLE = resources.files("raysim.starter").joinpath("wish.toml").read_text("utf-8")
OPTIONS = raysim.RunOptions(seed=3, threads=2)


def wish_file(folder, *changes, text=EXAMPLE):
    """The example wish with pieces of its text replaced, as a file."""
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new)
    path = folder / "wish.toml"
    path.write_text(text, "utf-8")
    return path


@pytest.fixture(scope="module")
def example(tmp_path_factory):
    """Workplace of the example wish, and all its proposals."""
    folder = tmp_path_factory.mktemp("example")
    path = wish_file(folder)
    wish = read_wish(path)
    hung = hung_shapes(wish, path)
    return workplace(wish, hung, path, folder), list(proposals(wish, hung))


# ------------------------------------------------------------------------------- what is wished


@pytest.mark.parametrize(
    ("changes", "key", "said"),
    [
        ([('"38 EUR"', '"38 USD"')], "wish", "prices in EUR and USD cannot be added"),
        ([('"38 EUR"', "38")], "sheet 1.price", "no price with its currency"),
        ([('kind = "T8 15 W"', 'kind = "T8 15"')], "lamp 1", 'no lamp is called "T8 15"'),
        ([("cycles = 3", "cycles = 30")], "wish", "asks for 30 cycles, but no respirator may go"),
        ([('"420 EUR"', '"60 EUR"')], "wish", "one lamp and all under [[other]] cost 90 EUR"),
        ([("[800, 600, 1000]", "[24, 600, 1000]")], "wish", "twice the thickness of a sheet"),
        ([("[800, 600, 1000]", "[200, 200, 200]")], "limits.outside", "no box of this size holds"),
        ([('"flat fold"]', '"bucket"]')], "load.shapes", 'no shape is called "bucket"'),
        ([('"flat fold"]', '"ours.stl"]')], "load.shapes", "ours.stl is not there"),
        ([('name = "white paint"', 'name = "whit pant"')], "lining 4", "no surface is called"),
        ([('#uvc = "4.9 W"', 'uvc = "15 W"')], "lamp 1", "electrical watts are not UVC watts"),
        ([('longest_cycle = "60 min"', "longest_cycle = 60")], "limits.longest_cycle", "its unit"),
        ([("number = 6", "number = 0")], "load.number", "greater than or equal to 1"),
        ([("number = 6", "numbr = 6")], "load.numbr", "no such key"),
    ],
)
def test_a_bad_wish_is_told_in_one_line(tmp_path, changes, key, said):
    path = wish_file(tmp_path, *changes)
    with pytest.raises(RaysimError) as error:
        study(path, options=OPTIONS)
    lines = str(error.value).splitlines()
    assert any(line.startswith(f"{path}: {key}") and said in line for line in lines), lines
    assert all(". Mend: " in line for line in lines)


def test_a_wish_without_lamps_is_told(tmp_path):
    lines = EXAMPLE.splitlines()
    start, end = lines.index("[[lamp]]"), lines.index("[[lining]]")
    path = wish_file(tmp_path, text="\n".join(lines[:start] + lines[end:]))
    with pytest.raises(RaysimError, match=r"lamp: this key is missing. Mend: add a table \[\[lamp"):
        read_wish(path)


def test_every_key_that_is_switched_off_works(tmp_path):
    text = "\n".join(
        line[1:] if line.startswith("#") and line[1:2].strip() else line
        for line in EXAMPLE.splitlines()
    )
    wish = read_wish(wish_file(tmp_path, text=text))
    assert wish.lamp[0].most == 4
    assert wish.wear.donnings == 5
    assert read_wish(wish_file(tmp_path)).lamp[0].watts == lamp_types()["T8 15 W"].uvc_W_low


# ------------------------------------------------------------------------------ what is proposed


@pytest.mark.parametrize("number", [1, 2, 5, 6, 11])
def test_every_arrangement_holds_the_load_and_none_has_rows_to_spare(number):
    found = list(boxes._arrangements(number))
    assert len(set(found)) == len(found)
    for across, deep, levels in found:
        assert across * deep * levels >= number
        assert across * deep * (levels - 1) < number


def test_boxes_have_hooks_for_all_and_walls_clear_of_them(example):
    work, pool = example
    low = np.min([one.low for one in work.hung], axis=0)
    high = np.max([one.high for one in work.hung], axis=0)
    assert len({p.box for p in pool}) > 50
    for box in {p.box for p in pool}:
        assert sum(row.count for row in box.rows) == 6
        for row in box.rows:
            last = np.array(row.first) + [(row.count - 1) * box.spacing, 0.0, 0.0]
            assert (np.array(row.first) + low > 0.03).all()
            assert (last + high < np.array(box.inside) - 0.02).all()


def test_proposals_can_be_built(example):
    """A sample over all patterns of lamps: nothing cuts, touches or lies outside."""
    work, pool = example
    ways = {}
    for one in pool:
        ways.setdefault((one.lamps.axis, len(one.lamps.arcs), one.box.margins), one)
    assert len(ways) > 25
    for one in islice(ways.values(), 0, None, 4):
        scene = work.scene(one, "sample.toml")
        assert [fault for fault in contact_faults(scene) if fault.level is Level.ERROR] == []
        assert sum(entry.judged for entry in scene.written.object) == 6


def test_a_scene_of_a_proposal_is_beyond_doubt(example):
    work, pool = example
    scene = work.scene(pool[len(pool) // 2], "doubt.toml")
    assert check_scene(scene) == []
    assert {entry.mesh for entry in scene.written.object if entry.judged} == {
        "cup.obj",
        "flat_fold_open.obj",
    }


@pytest.mark.parametrize(
    "place", [999, *(pytest.param(k, marks=pytest.mark.slow) for k in (0, -1))]
)
def test_the_cost_is_that_of_the_bill_of_the_guide(example, tmp_path, place):
    work, pool = example
    one, wish = pool[place], work.wish
    linings = (pool[0].lining, *(wish.lining[1].surface.name,) * 5)
    own = scene_files(work, one)[0]
    scene = work.scene(one, f"cost_{place % 7}.toml")
    stock = wish.sheet[one.sheet]
    plan = plan_of(scene, MM, stock=(MM.steps(stock.size[0]), MM.steps(stock.size[1])))
    prices = {}
    for line in plan.bill.lines:
        if line.name.startswith("sheet, "):
            prices[line.name] = wish.money(stock.price)
        if line.name.startswith("lining: "):
            prices[line.name] = next(
                wish.money(o.price) for o in wish.lining if o.surface.name in line.name
            )
        if line.name.startswith("lamp, "):
            prices[line.name] = wish.money(wish.lamp[one.offer].price)
    rows = [f"{json.dumps(name)} = {price}" for name, price in prices.items()]
    file = tmp_path / "prices.toml"
    file.write_text('currency = "EUR"\n[price]\n' + "\n".join(rows), "utf-8")
    bill = priced(plan.bill.lines, file)
    assert len(prices) == 3
    assert bill.cost + 48.0 == pytest.approx(one.cost)
    assert tomllib.loads(own)["chamber"]["inside"] == [round(1000 * s, 4) for s in one.box.inside]
    mixed = cost_of(wish, one.box, one.lamps, offer=one.offer, sheet=one.sheet, linings=linings)
    assert mixed != one.cost


INCHES = (
    ('units = "mm"', 'units = "in"'),
    ("[800, 600, 1000]", "[32, 24, 40]"),
    ("[2500, 1250]\nthickness = 12", "[96, 48]\nthickness = 0.5"),
    ("[1250, 800]\nthickness = 12", "[48, 32]\nthickness = 0.5"),
)


def in_steps(values, step):
    """Whether all are whole steps; numbers of a scene, not quantities."""
    return all(not isinstance(value, str) and value % step == 0.0 for value in values)


def test_a_wish_in_inches_gives_scenes_in_inches(example, tmp_path):
    path = wish_file(tmp_path, *INCHES)
    wish = read_wish(path)
    hung = hung_shapes(wish, path)
    work, pool = workplace(wish, hung, path, tmp_path), list(proposals(wish, hung))
    (like, _), known = example, {}
    for one in pool:
        known.setdefault((one.lamps.axis, one.lamps.kind.name), one)
    assert len(known) == 9
    for one in known.values():
        data = tomllib.loads(scene_files(work, one)[0])
        assert data["units"] == "in"
        assert in_steps(data["chamber"]["inside"], 0.25)
        assert data["chamber"]["sheet"] == 0.5
        assert in_steps([value for lamp in data["lamp"] for value in lamp["from"]], 1 / 16)
        assert in_steps([value for lamp in data["lamp"] for value in lamp["to"]], 1 / 16)
        assert in_steps([value for row in data["row"] for value in row["from"]], 1 / 16)
        assert in_steps([row["spacing"] for row in data["row"] if row["count"] > 1], 0.25)
        assert in_steps([value for point in data["gap"][0]["points"] for value in point], 1 / 16)
        scene = work.scene(one, "inches.toml")
        assert check_scene(scene) == []
        for lamp, (start, end) in zip(scene.written.lamp, one.lamps.arcs, strict=True):
            assert math.dist(lamp.start, start) < 1e-7
            assert math.dist(lamp.end, end) < 1e-7
            assert math.dist(start, end) == pytest.approx(0.001 * one.lamps.kind.arc_mm, abs=1.6e-3)
    # The same respirators and hooks hang in both, in the same size.
    metric = like.scene(example[1][0], "metric.toml")
    sizes = [sizes_of_bodies(built) for built in (scene, metric)]
    assert sizes[0] == pytest.approx(sizes[1], rel=1e-5)
    told = boxes.size_words((0.8128, 0.6128, 1.0), INCH)
    assert told == "32 x 24\u00a01/8 x 39\u00a03/8 in"  # no line ends within a fraction


def sizes_of_bodies(scene):
    """Sizes (m) of all objects but rails, the smallest first."""
    found = []
    triangles = scene.triangles
    for number, body in enumerate(triangles.bodies):
        own = triangles.corners[triangles.face_body == number]
        if body.kind == "object" and "rail" not in body.name:
            found.append(np.ptp(own.reshape(-1, 3), axis=0).max())
    return sorted(found)


def test_lamps_of_a_pattern_lie_inside_and_are_as_long_as_their_arc(example):
    work, pool = example
    kind = lamp_types()["T8 15 W"]
    seen = 0
    for box in {p.box for p in pool}:
        for room, lamps in with_lamps(box, kind, 4):
            seen += 1
            assert len(lamps.arcs) <= 4
            for start, end in lamps.arcs:
                assert math.dist(start, end) == pytest.approx(0.36, abs=1e-3)
                assert (np.array([start, end]) > 0.0).all()
                assert (np.array([start, end]) < np.array(room.inside)).all()
    assert seen > 100
    assert set(PATTERNS) == {"upright", "across", "deep"}
    assert work.wish.load.number == 6


def test_all_shapes_can_be_wished_for(tmp_path):
    names = ", ".join(f'"{name}"' for name in SHAPES)
    path = wish_file(tmp_path, ('["cup", "flat fold"]', f"[{names}]"), ("number = 6", "number = 8"))
    wish = read_wish(path)
    hung = hung_shapes(wish, path)
    work = workplace(wish, hung, path, tmp_path)
    one = next(p for p in proposals(wish, hung) if max(row.count for row in p.box.rows) == 2)
    scene = work.scene(one, "shapes.toml")
    meshes = [entry.mesh for entry in scene.written.object if entry.judged]
    assert sorted(meshes) == sorted(shape.file for shape in SHAPES.values())
    assert [f for f in contact_faults(scene) if f.level is Level.ERROR] == []


# ------------------------------------------------------------------------------- a whole search


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    """A wish for two plates of one's own, which are quickly traced, and the folder of its file."""
    folder = tmp_path_factory.mktemp("small")
    plate = trimesh.Trimesh(
        [[-20, 0, -60], [20, 0, -60], [20, 0, -20], [-20, 0, -20]], [[0, 1, 2], [0, 2, 3]]
    )
    plate.export(folder / "plate.stl")
    return wish_file(
        folder,
        ('["cup", "flat fold"]', '["plate.stl"]'),
        ("number = 6", "number = 2"),
        ("[800, 600, 1000]", "[500, 450, 500]"),
    )


@pytest.fixture
def few(monkeypatch):
    with_few_traces(monkeypatch, 1, 2, 3)


@pytest.fixture(scope="module")
def found(small):
    """A study of one full trace, without the study of lamps."""
    with pytest.MonkeyPatch.context() as patch:
        with_few_traces(patch, 0, 1, 1)
        patch.setattr(search, "chosen_lamps", lambda *_: [])
        return study(
            small, options=OPTIONS, judge=lambda scene, result: raysim.with_verdict(result)
        )


def test_it_answers_with_designs_that_keep_the_wish(found):
    limits = found.wish.limits
    assert found.cheapest is not None
    for one in (found.cheapest, found.quickest, found.longest_lived):
        assert one.broken == ()
        assert one.cost <= found.wish.money(limits.budget)
        assert one.time <= limits.longest_cycle
        assert one.cycles >= limits.cycles
        assert one.excess <= 1.0
    assert found.quickest.time == min(one.time for one in found.meeting)
    assert found.cheapest.cost == min(one.cost for one in found.meeting)
    assert found.longest_lived.wear == min(one.wear for one in found.meeting)
    costs = [one.cost for one in found.front]
    times = [one.time for one in found.front]
    assert costs == sorted(costs)
    assert times == sorted(times, reverse=True)


class Copying(ThreadPoolExecutor):
    """Workers that get copies of what they are sent, as those of other processes do."""

    def submit(self, fn, /, *args, **kwargs):
        fn, args, kwargs = pickle.loads(pickle.dumps((fn, args, kwargs)))
        return super().submit(fn, *args, **kwargs)


def processes(count):
    """Workers as on a machine of its own."""
    return ProcessPoolExecutor(count, get_context("spawn"))


@pytest.mark.parametrize("workers", [Copying, pytest.param(processes, marks=pytest.mark.slow)])
def test_workers_change_nothing(found, small, monkeypatch, workers):
    with_few_traces(monkeypatch, 0, 1, 1)
    monkeypatch.setattr(search, "chosen_lamps", lambda *_: [])
    with workers(2) as pool:
        again = study(small, options=raysim.RunOptions(seed=3, threads=2, executor=pool))
    assert [t.worst for t in again.trials] == [t.worst for t in found.trials]
    assert [one.time for one in again.designs] == [one.time for one in found.designs]
    assert [one.scene for one in again.designs] == [one.scene for one in found.designs]


def test_a_copy_of_a_proposal_gives_the_same_scene(example):
    """Workers send copies: the unit of a scene must not hang on which object its grid is."""
    work, pool = example
    for one in (pool[0], pool[-1]):
        assert scene_files(work, pickle.loads(pickle.dumps(one))) == scene_files(work, one)


def test_no_trace_beats_the_bound_of_the_sums(found, small):
    sums = sums_of(found.wish, hung_shapes(found.wish, small))
    for one in found.designs:
        assert one.result.cases["cautious"].worst.irradiance < sums.most(one.proposal)
    for trial in found.trials:
        assert trial.bound < sums.most(trial.proposal)


@pytest.mark.slow
def test_threads_change_nothing_and_chosen_lamps_are_among_the_trials(small, few):
    found = study(small, options=OPTIONS)
    again = study(small, options=raysim.RunOptions(seed=3, threads=1))
    assert any(trial.proposal.lamps.axis == "chosen" for trial in found.trials)
    assert found.quickest.time <= found.cheapest.time
    assert [t.worst for t in again.trials] == [t.worst for t in found.trials]
    assert [one.time for one in again.designs] == [one.time for one in found.designs]
    assert [one.scene for one in again.designs] == [one.scene for one in found.designs]


def test_broken_off_it_tells_what_is_known(small, few):
    """Ctrl-C after one short trace, and before any."""

    def stopped_from(step):
        def progress(what, done, whole):
            if done >= step:
                raise KeyboardInterrupt

        return replace(OPTIONS, progress=progress)

    found = study(small, options=stopped_from(1.0))
    assert found.interrupted
    assert found.trials
    assert found.designs == found.relaxations == ()
    answer = raysim.output.words.design.answer(found)
    assert answer.startswith("Broken off before any design was shown to meet the wish")
    with pytest.raises(KeyboardInterrupt):
        study(small, options=stopped_from(0.0))


def test_all_is_written_and_the_scenes_are_those_that_were_traced(found, tmp_path):
    folder = tmp_path / "out"
    raysim.output.studies.design.write(found, folder, command="raysim design wish.toml")
    record = json.loads((folder / "result.json").read_text("utf-8"))
    assert complaints("design", record) == []
    assert record["roles"]["cheapest"] == found.cheapest.name
    for role in ("cheapest", "quickest", "longest_lived"):
        scene = raysim.load_scene(folder / "designs" / f"{role}.toml")
        assert scene.sha256 == getattr(found, role).result.sha256
        assert check_scene(scene) == []
    page = (folder / "report.html").read_text("utf-8")
    assert raysim.CAUTION_LINE.split(".")[0] in page
    assert "no timer setting" in page
    for design in found.designs:
        assert design.name in page
    assert [d["file"] for d in record["designs"] if d["name"] == found.cheapest.name]
    for entry in record["designs"]:
        assert (folder / entry["file"]).is_file()


def test_what_looks_bright_and_is_dark_is_told(found):
    told = " ".join(raysim.output.words.design.more_lines(found))
    assert "White paint sends back about 5% of 254 nm" in told
    assert "Household mirror sends back about 5% of 254 nm" in told
    tried = {trial.proposal.lining: trial.worst for trial in found.trials}
    assert {"white paint", "household mirror"} <= set(tried)
    brightest = max(found.trials, key=lambda trial: trial.worst).proposal
    assert brightest.geometry == found.cheapest.proposal.geometry  # the only one tried
    assert brightest.lining not in ("white paint", "household mirror")
    assert told.count(f" min with {brightest.lining}") == 2


def test_what_is_two_of_the_answers_is_told_once(found):
    one = found.cheapest
    words = raysim.output.words.design
    assert found.designs == (one,)
    assert words.held_words(found, one) == "Cheapest, quickest and longest-lived"
    (line,) = [line for line in words.more_lines(found) if "verdict" in line]
    assert line.startswith(f"Cheapest, quickest and longest-lived ({one.name}): the verdict is ")
    assert words.held_words(replace(found, designs=()), one) == ""


def test_what_takes_far_longer_than_was_wished_is_in_the_picture_all_the_same(found, tmp_path):
    wish = found.wish.model_copy(
        update={"limits": found.wish.limits.model_copy(update={"longest_cycle": 1.0})}
    )
    slow = replace(found, wish=wish, designs=())
    raysim.output.pictures.design_chart.write_front(slow, tmp_path / "front.png")
    assert (tmp_path / "front.png").stat().st_size > 10_000


@pytest.mark.slow
def test_a_wish_that_cannot_be_met_is_told_what_binds(small, few):
    folder = small.parent
    text = small.read_text("utf-8").replace('"60 min"', '"6 min"').replace('"420 EUR"', '"125 EUR"')
    path = folder / "unmet.toml"
    path.write_text(text, "utf-8")
    unmet = study(path, options=OPTIONS)
    assert unmet.cheapest is None
    assert unmet.meeting == ()
    assert all(one.broken for one in unmet.designs)
    answer = raysim.output.words.design.answer(unmet)
    assert answer.startswith("No design of those tried meets the wish")
    assert unmet.relaxations
    assert "What binds is the" in answer
    for one in unmet.relaxations:
        assert one.design.broken == one.limits
        assert one.factor > 1.0


# ---------------------------------------------------------------------------------- command line


def test_start_writes_a_wish_and_design_says_what_is_wrong_in_one(tmp_path):
    said = raysim_said("start", "mine", "--wish", folder=tmp_path)
    assert said.status == 0
    assert "raysim design mine/wish.toml" in said.out
    path = tmp_path / "mine" / "wish.toml"
    assert read_wish(path).load.number == 6
    assert [file.name for file in path.parent.iterdir()] == ["wish.toml"]
    wish_file(path.parent, ("number = 6", "number = 600"))
    said = raysim_said("design", "mine/wish.toml", folder=tmp_path)
    assert said.status == 2
    (line,) = said.err.strip().splitlines()
    assert line.startswith("mine/wish.toml: load.number: must be less than or equal to 60")
    assert not (tmp_path / "results").exists() or not any((tmp_path / "results").rglob("*.json"))


def test_the_walls_are_those_of_the_scene():
    from raysim.scene.place import BOX_WALLS

    assert set(WALLS) == set(BOX_WALLS)
    assert Path(raysim.__file__).parent.joinpath("starter", "wish.toml").is_file()
