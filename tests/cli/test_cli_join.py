"""`raysim dose --part` on several machines, then `raysim join`: the bits of one run on one machine."""

import json
import shutil
import signal
import sys
from pathlib import Path

import numpy as np
import pytest
from running import SMALL_BATCH, contents, raysim_said, shows_cautions
from small_scenes import small_scene, write_scene

import raysim.dose.checkpoint
from raysim.dose.checkpoint_file import read_checkpoint, write_checkpoint
from raysim.dose.part import PART_FILE, Part
from raysim.transport.photons import PhotonRun

SOME = 17 * SMALL_BATCH + 1  # photons, of which three parts have 5 or 6 batches each
ASKED = ("--photons", SOME, "--precision", "0.2", "--seed", "3", "--without", "right")
DATA = ("faces.csv", "dose_map.vtp")


def traced(folder: Path, part: str, *words, scene: str = "scene.toml", out: str = ""):
    """Trace a part into PART of `folder`, such as 2_3."""
    name = out or part.replace("/", "_")
    said = raysim_said("dose", scene, "--part", part, "--out", name, *words, folder=folder)
    assert said.status == 0, said.err
    return said


def join(folder: Path, *words, out: str = "joined"):
    """Join parts into a result in `folder`."""
    return raysim_said("join", *words, "--no-pictures", "--out", out, folder=folder)


def timeless(folder: Path) -> dict:
    """Record result.json without times, and the other files that hold numbers."""
    record = json.loads((folder / "result.json").read_text("utf-8"))
    assert record.pop("seconds") > 0.0
    assert record.pop("made_at")
    return {"result": record} | {n: (folder / n).read_bytes() for n in DATA}


def two_poses() -> dict:
    """The small scene, in which the plate hangs in two ways."""
    data = small_scene()
    turned = [{"name": "plate", "turn": [0, 0, 25]}]
    data["pose"] = [
        {"name": "front", "share": 0.4},
        {"name": "turned", "share": 0.6, "object": turned},
    ]
    return data


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    """A scene, the same one elsewhere, its run on one machine, and three parts."""
    folder = tmp_path_factory.mktemp("parts")
    write_scene(folder)
    (folder / "elsewhere").mkdir()
    shutil.copy(write_scene(folder / "elsewhere"), folder / "elsewhere" / "my scene.toml")
    words = ("dose", "scene.toml", *ASKED, "--no-pictures", "--out", "whole")
    assert raysim_said(*words, folder=folder).status == 0
    for part, threads in (("1/3", "1"), ("2/3", "3")):
        traced(folder, part, *ASKED, "--threads", threads)
    traced(folder, "3/3", *ASKED, scene="elsewhere/my scene.toml")
    return folder


@pytest.fixture
def copy(place, tmp_path):
    """A copy of the scene and its parts that a test may spoil."""
    of_tests = shutil.ignore_patterns("joined", "results")
    return shutil.copytree(place, tmp_path / "copy", ignore=of_tests)


def test_parts_have_each_batch_once():
    for whole, of in ((16, 16), (18, 3), (17, 5), (299, 7)):
        parts = [Part(k + 1, of).batches(whole) for k in range(of)]
        assert [batch for part in parts for batch in part] == list(range(whole))
        assert max(map(len, parts)) - min(map(len, parts)) <= 1


# ---------------------------------------------------------------- the same bits


def test_joined_parts_are_the_run_on_one_machine(place):
    said = join(place, "3_3", "1_3", "2_3")  # in any order
    assert said.status == 0, said.err
    assert shows_cautions(said.out)
    assert timeless(place / "joined") == timeless(place / "whole")
    assert set(contents(place / "joined")) == set(contents(place / "whole"))
    assert timeless(place / "joined")["result"]["backward_paths"] > 0
    parts = [read_checkpoint(place / f"{k}_3" / PART_FILE)[0]["seconds"] for k in (1, 2, 3)]
    assert json.loads((place / "joined/result.json").read_text("utf-8"))["seconds"] > sum(parts)


def test_so_are_those_of_a_cycle_of_two_poses_by_photons_alone(tmp_path):
    write_scene(tmp_path, two_poses())
    asked = ("--photons", SOME)
    parts = [f"{k}/4" for k in (1, 2, 3, 4)]
    for part in parts:
        traced(tmp_path, part, *asked)
    said = join(tmp_path, *(f"{k}_4" for k in (2, 1, 4, 3)))
    words = ("dose", "scene.toml", *asked, "--no-pictures", "--out", "whole")
    assert raysim_said(*words, folder=tmp_path).status == said.status
    found = timeless(tmp_path / "joined")
    assert found == timeless(tmp_path / "whole")
    assert len(found["result"]["poses"]) == 2


def test_every_part_is_traced_by_nobody_else(place):
    _, parts = zip(*(read_checkpoint(place / f"{k}_3" / PART_FILE) for k in (1, 2, 3)), strict=True)
    assert [int(part["photons 0.batches"]) for part in parts] == [6, 6, 6]
    totals = [part["photons 0.total"] for part in parts]
    assert all((one != other).any() for one, other in zip(totals, totals[1:], strict=False))


# ---------------------------------------------------------------- what a part says


def test_a_part_says_one_line_and_shows_no_time(place, tmp_path):
    shutil.copy(place / "scene.toml", tmp_path)
    shutil.copy(place / "plate.ply", tmp_path)
    said = raysim_said("dose", "scene.toml", "--photons", SOME, "--part", "02/3", folder=tmp_path)
    assert said.status == 0
    path = Path("results") / "scene_part_2_of_3" / PART_FILE
    (line,) = said.out.splitlines()
    assert line.startswith("Part 2/3 of the photons of scene.toml is traced (24,576 of 73,728)")
    assert str(path) in line
    assert line.endswith("raysim join FOLDER...")
    assert list(contents(tmp_path / "results")) == [f"scene_part_2_of_3/{PART_FILE}"]
    words = ("dose", "scene.toml", "--part", "2/3", "--photons", SOME)
    again = raysim_said(*words, folder=tmp_path)
    assert again.status == 2
    assert "results stand there already" in again.err
    assert raysim_said(*words, "--force", "--quiet", folder=tmp_path).words == ""


@pytest.mark.parametrize("option", [("--json",), ("--case", "expected"), ("--no-pictures",)])
def test_options_of_results_belong_to_join(place, option):
    before = contents(place / "1_3")
    words = ("dose", "scene.toml", "--part", "1/3", *ASKED, "--out", "1_3", "--force", *option)
    said = raysim_said(*words, folder=place)
    assert (said.status, said.out) == (2, "")
    assert said.err.count("\n") == 1
    assert "give it to raysim join" in said.err
    assert contents(place / "1_3") == before


@pytest.mark.parametrize("part", ["0/3", "4/3", "1", "a/b", "1/0", "-1/3", "1/3/3"])
def test_what_is_no_part_is_refused(place, part):
    said = raysim_said("dose", "scene.toml", "--part", part, folder=place)
    assert said.status == 2
    assert f'"{part}" is not a part; write 3/16' in said.err


def test_more_parts_than_batches_are_refused(place):
    said = raysim_said("dose", "scene.toml", "--photons", 1, "--part", "2/17", folder=place)
    assert said.status == 2
    assert "only 16 batches of photons" in said.err
    assert "at most 16 parts" in said.err
    assert said.err.count("\n") == 1
    assert not (place / "results").exists() or contents(place / "results") == {}


# ---------------------------------------------------------------- what does not fit


def refusal(folder: Path, *words) -> str:
    """Why parts cannot be joined: one line, status 2, and what stands there stays as it is."""
    before = contents(folder)
    said = join(folder, *words, "--force", out="whole")
    assert (said.status, said.out) == (2, ""), said.err
    assert said.err.count("\n") == 1
    assert "Mend: " in said.err
    after = contents(folder)
    assert {n: b for n, b in after.items() if not n.startswith("whole/.")} == before
    return said.err


def test_a_doubled_part_is_named(copy):
    shutil.copytree(copy / "2_3", copy / "again")
    text = refusal(copy, "1_3", "2_3", "3_3", "again")
    assert f"part 2/3 is there twice: {Path('2_3') / PART_FILE} and" in text


def test_missing_parts_are_named(copy):
    assert "part missing: 2/3." in refusal(copy, "3_3", "1_3")
    assert "parts missing: 2/3, 3/3." in refusal(copy, "1_3")


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--seed", "4"), "seed was 3 and is 4 here"),
        (("--photons", SOME + 1), f"photons was {SOME} and is {SOME + 1} here"),
        (("--precision", "0.1"), "precision was 0.2 and is 0.1 here"),
        (("--without", "left"), "without was ['right'] and is ['left'] here"),
    ],
)
def test_parts_of_other_options_are_named(copy, words, told):
    asked = ASKED[:-2] if "--without" in words else ASKED
    traced(copy, "2/3", *asked, *words, out="other")
    text = refusal(copy, "1_3", "other", "3_3")
    assert f"{Path('other') / PART_FILE} is of another run than {Path('1_3') / PART_FILE}" in text
    assert told in text
    assert "is another" not in text


def test_parts_of_another_number_are_named(copy):
    traced(copy, "2/4", *ASKED)
    assert "number of parts was 3 and is 4 here" in refusal(copy, "1_3", "2_4", "3_3")


def test_parts_of_another_scene_or_version_are_named(copy, monkeypatch):
    data = small_scene()
    data["title"] = "another title"
    (copy / "other").mkdir()
    write_scene(copy / "other", data)
    traced(copy, "2/3", *ASKED, scene="other/scene.toml", out="foreign")
    assert "the scene file is another" in refusal(copy, "1_3", "foreign", "3_3")
    # All fit together, and not to the scene that is here.
    text = refusal(copy, "1_3", "2_3", "3_3", "--scene", "other/scene.toml")
    assert "these parts cannot be joined here: the scene file has changed since" in text
    monkeypatch.setattr("raysim.dose.fingerprint.__version__", "99")
    traced(copy, "2/3", *ASKED, out="newer")
    assert "raysim itself is another" in refusal(copy, "1_3", "newer", "3_3")
    text = refusal(copy, "1_3", "2_3", "3_3")
    assert "cannot be joined here: raysim itself has changed since" in text


def test_a_scene_that_is_not_here_is_asked_for(copy):
    (copy / "scene.toml").rename(copy / "moved.toml")
    (copy / "elsewhere").rename(copy / "nowhere")
    parts = ("1_3", "2_3", "3_3")
    text = refusal(copy, *parts)
    assert "(scene.toml, elsewhere/my scene.toml). Mend: name it by --scene SCENE" in text
    assert join(copy, *parts, "--scene", "moved.toml").status in (0, 3)
    (copy / "nowhere").rename(copy / "elsewhere")  # where it lay for the last part
    assert join(copy, *parts, out="second").status in (0, 3)
    found = json.loads((copy / "second" / "result.json").read_text("utf-8"))
    assert found["scene"]["file"].endswith("my scene.toml")


# ---------------------------------------------------------------- broken files


def with_changes(path: Path, *, more=None, **changes) -> None:
    """The part with some tallies changed and a digest that fits again."""
    header, arrays = read_checkpoint(path)
    for name, array in changes.items():
        assert f"photons 0.{name}" in arrays
        arrays[f"photons 0.{name}"] = array
    kept = {name: array for name, array in arrays.items() if array is not None}
    write_checkpoint(path, header | (more or {}), kept)


def test_damaged_and_edited_parts_are_refused(copy):
    path = copy / "2_3" / PART_FILE
    whole = path.read_bytes()
    for size in (0, 100, len(whole) // 2, len(whole) - 1):
        path.write_bytes(whole[:size])
        assert "not a whole part of a run" in refusal(copy, "1_3", "2_3", "3_3")
    path.write_bytes(whole)
    with np.load(path) as archive:
        arrays = {name: archive[name].copy() for name in archive.files}
    arrays["photons 0.segments"] += 1
    np.savez(path, **arrays)
    text = refusal(copy, "1_3", "2_3", "3_3")
    assert f"{Path('2_3') / PART_FILE}: not a whole part of a run (it was changed since" in text
    np.savez(path, a=np.zeros(3))
    assert "not a whole part of a run" in refusal(copy, "2_3")
    path.write_text("dear clinic")
    assert "not a whole part of a run" in refusal(copy, "2_3")


@pytest.mark.parametrize(
    "changes",
    [
        {"batches": np.array(5)},
        {"batches": np.array(6.5)},
        {"batches": None},
        {"segments": None},
        {"total": np.zeros(3, np.int64)},
        {"squares": np.array(1.0)},
        {"bodies": np.zeros((2, 9), np.float64)},
        {"more": {"scene": 7}},
        {"more": {"scene": "a\nb"}},
        {"more": {"batches": True}},
        {"more": {"batches": 19}},
        {"more": {"batches": 2}},
        {"more": {"options": {"seed": 3, "part": "7/3"}}},
        {"more": {"options": {"seed": 3, "part": 2}}},
        {"more": {"inputs": 7}},
    ],
)
def test_parts_that_do_not_fit_their_own_words_are_refused(copy, changes):
    with_changes(copy / "2_3" / PART_FILE, **changes)
    refusal(copy, "1_3", "2_3", "3_3")


def test_tallies_that_lack_photons_are_refused(copy):
    _, arrays = read_checkpoint(copy / "2_3" / PART_FILE)
    fewer = arrays["photons 0.bodies"].copy()
    fewer[fewer > 0] -= 1
    with_changes(copy / "2_3" / PART_FILE, bodies=fewer)
    said = join(copy, "1_3", "2_3", "3_3")
    assert said.status == 2
    assert "these parts do not add up to a run: photons that were sent out" in said.err
    assert said.err.count("\n") == 1
    assert {name for name in contents(copy / "joined") if not name.startswith(".")} == set()


def test_what_is_no_part_is_named(copy):
    for name in ("whole", "elsewhere", "nowhere", "scene.toml"):
        assert name in refusal(copy, "1_3", name)
    assert "no part of a run lies there" in refusal(copy, "whole", "1_3")


def test_nothing_is_written_over_a_part(copy):
    before = contents(copy)
    said = join(copy, "1_3", "2_3", "3_3", "--force", out="2_3")
    assert said.status == 2
    assert "a part lies there" in said.err
    assert contents(copy) == before


# ---------------------------------------------------------------- broken off


@pytest.fixture
def off(copy, monkeypatch):
    """A copy in which part 2/3 was broken off by Ctrl-C, in the folder off."""
    monkeypatch.setattr(raysim.dose.checkpoint, "INTERVAL", 0.0)
    traces = PhotonRun.add_batches

    def once(run, count):
        if run.batches:
            signal.raise_signal(signal.SIGINT)
        traces(run, count)

    with monkeypatch.context() as patch:
        patch.setattr(PhotonRun, "add_batches", once)
        words = ("--part", "2/3", "--threads", "1", "--out", "off")
        said = raysim_said("dose", "scene.toml", *ASKED, *words, folder=copy)
    assert (said.status, said.out) == (130, "")
    assert "go on with: raysim dose scene.toml --out off --resume" in said.err
    return copy


def test_a_part_broken_off_is_resumed(off):
    text = refusal(off, "1_3", "off", "3_3")
    assert "part 2/3 is not finished. Mend: go on with it by raysim dose SCENE --out off" in text
    resume = ("dose", "scene.toml", "--out", "off", "--resume")
    said = raysim_said(*resume, "--part", "1/3", folder=off)
    assert said.status == 2
    assert "part was 2/3 and is now 1/3" in said.err
    assert raysim_said(*resume, folder=off).status == 0
    assert list(contents(off / "off")) == [PART_FILE]
    one, other = (read_checkpoint(off / name / PART_FILE) for name in ("off", "2_3"))
    assert {**one[0], "seconds": 0} == {**other[0], "seconds": 0}
    assert one[1].keys() == other[1].keys()
    assert all(np.array_equal(one[1][name], other[1][name]) for name in one[1])


def test_a_checkpoint_of_a_part_is_no_part(off):
    (off / "off" / "checkpoint.npz").rename(off / "off" / PART_FILE)
    assert "part 2/3 is not finished" in refusal(off, "1_3", "off", "3_3")


def test_a_join_broken_off_goes_on_as_a_dose_run(copy, monkeypatch):
    def broken_off(*words, **more):
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr("raysim.dose.simulate.refine", broken_off)
        said = join(copy, "1_3", "2_3", "3_3")
    assert said.status == 130
    assert "go on with: raysim dose scene.toml --out joined --resume" in said.err
    words = ("dose", "scene.toml", "--out", "joined", "--resume", "--no-pictures")
    raysim_said(*words, folder=copy)
    assert timeless(copy / "joined") == timeless(copy / "whole")
    assert not (copy / "joined" / "checkpoint.npz").exists()


@pytest.mark.skipif(sys.platform == "win32", reason="needs SIGKILL")
@pytest.mark.parametrize("stage", ["photons", "half a checkpoint", "checkpoint to be renamed"])
def test_a_part_that_is_killed_leaves_no_half_file(kennel, copy, stage):
    here = str(Path(__file__).parent)
    before = f"import sys; sys.path.append({here!r}); import killed; killed.prepare({stage!r}, 2)"
    words = ("dose", "scene.toml", *map(str, ASKED), "--part", "2/3", "--threads", "1")
    done = kennel.run(*words, "--out", "off", folder=copy, before=before, seconds=120)
    assert done.status == -signal.SIGKILL, (done.status, done.said)
    assert not (copy / "off" / PART_FILE).exists()
    text = refusal(copy, "1_3", "off", "3_3")
    assert "part 2/3 is not finished" in text
    assert raysim_said("dose", "scene.toml", "--out", "off", "--resume", folder=copy).status == 0
    assert list(contents(copy / "off")) == [PART_FILE]
    assert join(copy, "1_3", "off", "3_3").status in (0, 3)
    assert timeless(copy / "joined") == timeless(copy / "whole")
