"""A run that goes on from a checkpoint ends as if never stopped, and from no other's checkpoint."""

import dataclasses
import json
import os
import signal
import zipfile
from pathlib import Path

import numpy as np
import pytest
from running import batches_of
from small_scenes import small_scene, write_scene

import raysim.dose.checkpoint
import raysim.dose.simulate
from raysim.base.errors import RaysimError
from raysim.dose.checkpoint import Checkpoint, is_checkpoint
from raysim.dose.checkpoint_file import DIGEST, read_checkpoint, write_checkpoint
from raysim.dose.fingerprint import run_inputs
from raysim.dose.simulate import load_scene, simulate

RUN = {"photons": 1, "precision": 0.1, "seed": 5}
PHOTONS = "tracing photons"
DARKEST = "tracing back from the darkest spots"
BRIGHTEST = "tracing back from the brightest spots"


@pytest.fixture(scope="module", autouse=True)
def _at_every_step():
    """Write a checkpoint whenever one can be written; small batches, for speed."""
    with batches_of(2048), pytest.MonkeyPatch.context() as patch:
        patch.setattr(raysim.dose.checkpoint, "INTERVAL", 0.0)
        patch.setattr(raysim.dose.checkpoint, "LARGEST_SHARE", np.inf)
        patch.setattr(raysim.dose.simulate, "METER_PATHS", 16)
        yield


@pytest.fixture(scope="module")
def scene(tmp_path_factory, _at_every_step):
    """A small scene with a meter."""
    data = small_scene()
    data["meter"] = [{"name": "m", "at": [150, 20, 150], "facing": [0, 1, 0]}]
    return load_scene(write_scene(tmp_path_factory.mktemp("scene"), data))


@pytest.fixture(scope="module")
def whole(scene):
    """Result of a run that was never stopped."""
    return simulate(scene, threads=2, **RUN)


def breaks_at(what: str, call: int):
    """Progress that is Ctrl-C itself at the given call for `what`."""
    calls: list[str] = []

    def progress(now: str, done: float, of: float) -> None:
        calls.append(now)
        if now == what and calls.count(what) == call:
            signal.raise_signal(signal.SIGINT)

    return progress


def same(value, other) -> bool:
    """Whether two records hold the same to the last bit, seconds left out."""
    if dataclasses.is_dataclass(value):
        names = {field.name for field in dataclasses.fields(value)} - {"seconds"}
        return all(same(getattr(value, n), getattr(other, n)) for n in names)
    if isinstance(value, dict):
        return value.keys() == other.keys() and all(same(value[k], other[k]) for k in value)
    if isinstance(value, tuple):
        return len(value) == len(other) and all(map(same, value, other))
    if isinstance(value, np.ndarray):
        return np.array_equal(value, other)
    return value == other


def broken_off(scene, path, what=DARKEST, call=3, **run):
    """Result of a run that Ctrl-C broke off; the checkpoint lies at `path`."""
    asked = {"threads": 1} | RUN | run
    result = simulate(scene, checkpoint=Checkpoint(path), progress=breaks_at(what, call), **asked)
    assert result.interrupted
    return result


@pytest.mark.parametrize(
    ("what", "call"),
    [(PHOTONS, 1), (PHOTONS, 4), (DARKEST, 1), (DARKEST, 3), (BRIGHTEST, 1), (BRIGHTEST, 2)],
)
def test_a_run_broken_off_ends_as_if_never_stopped(scene, whole, tmp_path, what, call):
    path = tmp_path / "checkpoint.npz"
    broken_off(scene, path, what, call)
    checkpoint = Checkpoint.resumed(path)
    result = simulate(scene, threads=3, checkpoint=checkpoint, **RUN)
    assert not result.interrupted
    assert same(result, whole)
    assert result.seconds > checkpoint.seconds > 0.0


def test_a_run_may_be_broken_off_again_and_again(scene, whole, tmp_path):
    path = tmp_path / "checkpoint.npz"
    broken_off(scene, path, PHOTONS, 2)
    for call in (1, 1, 3, 2):
        checkpoint = Checkpoint.resumed(path)
        what = DARKEST if call > 1 else PHOTONS
        simulate(scene, threads=1, checkpoint=checkpoint, progress=breaks_at(what, call), **RUN)
    assert same(simulate(scene, checkpoint=Checkpoint.resumed(path), **RUN), whole)


def test_pieces_of_a_look_are_the_same_ones(scene, monkeypatch, tmp_path):
    monkeypatch.setattr("raysim.estimate.refine.PATHS_PER_STEP", 2_000)
    one = simulate(scene, **RUN)
    path = tmp_path / "checkpoint.npz"
    for call in (2, 9):
        broken_off(scene, path, DARKEST, call)
        _, arrays = read_checkpoint(path)
        assert arrays["refinement.pieces_done"] > 0
        assert same(simulate(scene, checkpoint=Checkpoint.resumed(path), **RUN), one)


def test_checkpoints_change_no_number(scene, whole, tmp_path):
    checkpoint = Checkpoint(tmp_path / "checkpoint.npz")
    assert same(simulate(scene, checkpoint=checkpoint, **RUN), whole)
    assert [path.name for path in tmp_path.iterdir()] == ["checkpoint.npz"]
    checkpoint.remove()
    assert list(tmp_path.iterdir()) == []


def test_checkpoints_are_written_now_and_then(scene, monkeypatch, tmp_path):
    written = []
    monkeypatch.setattr(
        raysim.dose.checkpoint, "write_checkpoint", lambda *words: written.append(words)
    )
    counts = []
    for interval in (0.0, 3600.0):
        monkeypatch.setattr(raysim.dose.checkpoint, "INTERVAL", interval)
        written.clear()
        simulate(scene, checkpoint=Checkpoint(tmp_path / "checkpoint.npz"), threads=1, **RUN)
        counts.append(len(written))
    assert counts[0] > 6
    assert counts[1] == 1  # at the first chance; none at the end of a run that is soon over


def test_what_is_broken_off_at_the_end_goes_on_from_the_checkpoint_before_it(
    scene, whole, monkeypatch, tmp_path
):
    path = tmp_path / "checkpoint.npz"
    monkeypatch.setattr(raysim.dose.checkpoint, "INTERVAL", 3600.0)
    broken_off(scene, path, BRIGHTEST, 1)
    _, arrays = read_checkpoint(path)
    assert not any(name.startswith("paths") for name in arrays)  # it is from the photons
    assert same(simulate(scene, checkpoint=Checkpoint.resumed(path), **RUN), whole)


# ---------------------------------------------------------------- another run's checkpoint


@pytest.fixture(scope="module")
def left(scene, tmp_path_factory):
    """Bytes of the checkpoint of a run that was broken off."""
    path = tmp_path_factory.mktemp("left") / "checkpoint.npz"
    broken_off(scene, path)
    return path.read_bytes()


def refusal(scene, path: Path, **run) -> str:
    """Why a run cannot go on: one line; the checkpoint stays as it is."""
    before = path.read_bytes()
    with pytest.raises(RaysimError) as refused:
        simulate(scene, checkpoint=Checkpoint.resumed(path), **(RUN | run))
    assert path.read_bytes() == before
    text = str(refused.value)
    assert text.isprintable()
    assert str(path) in text
    assert "Mend: " in text
    return text


@pytest.mark.parametrize(
    ("run", "words"),
    [
        ({"seed": 6}, "seed was 5 and is now 6"),
        ({"photons": 2}, "photons was 1 and is now 2"),
        ({"precision": None}, "precision was 0.1 and is now None"),
        ({"without": ("left",)}, "without was [] and is now ['left']"),
    ],
)
def test_other_options_are_told_of(scene, left, tmp_path, run, words):
    path = tmp_path / "checkpoint.npz"
    path.write_bytes(left)
    text = refusal(scene, path, **run)
    assert words in text
    assert "has changed" not in text


def test_changed_files_are_told_of_by_name(scene, left, tmp_path):
    path = tmp_path / "checkpoint.npz"
    path.write_bytes(left)
    folder = tmp_path / "other"
    folder.mkdir()
    data = small_scene()
    data["meter"] = [{"name": "m", "at": [150, 20, 150], "facing": [0, 1, 0]}]
    other = load_scene(write_scene(folder, data))
    assert run_inputs(other) == run_inputs(scene)  # the same scene in another folder
    data["title"] = "another title"
    assert "the scene file has changed" in refusal(load_scene(write_scene(folder, data)), path)
    mesh = folder / "plate.ply"
    data["title"] = "small box"
    scene_file = write_scene(folder, data)
    mesh.write_bytes(mesh.read_bytes().replace(b"comment", b"comment x", 1))
    text = refusal(load_scene(scene_file), path)
    assert 'mesh "plate.ply" has changed' in text
    assert "scene file" not in text


def test_a_changed_program_is_told_of(scene, left, tmp_path, monkeypatch):
    path = tmp_path / "checkpoint.npz"
    path.write_bytes(left)
    monkeypatch.setattr("raysim.dose.fingerprint.__version__", "99")
    assert "raysim itself has changed" in refusal(scene, path)


def test_another_place_of_an_object_is_another_scene(scene):
    corners = scene.triangles.corners.copy()
    corners[-1] += 1e-9
    (pose,) = scene.poses
    triangles = dataclasses.replace(pose.triangles, corners=corners)
    moved = dataclasses.replace(scene, poses=(dataclasses.replace(pose, triangles=triangles),))
    one, other = run_inputs(scene), run_inputs(moved)
    assert [name for name in one if one[name] != other[name]] == [
        "the scene as built (places, surfaces, lamps)"
    ]


# ---------------------------------------------------------------- broken checkpoints


def broken(path: Path) -> str:
    """Why a file is not a checkpoint."""
    with pytest.raises(RaysimError) as refused:
        Checkpoint.resumed(path)
    assert str(refused.value).isprintable()
    return str(refused.value)


def test_truncated_and_flipped_checkpoints_are_told_of(left, tmp_path):
    path = tmp_path / "checkpoint.npz"
    for size in (0, 1, 100, len(left) // 2, len(left) - 1):
        path.write_bytes(left[:size])
        assert "not a whole checkpoint" in broken(path)
    path.write_bytes(left)
    _, whole = read_checkpoint(path)
    harmless = 0
    for place in range(200, len(left), len(left) // 40):
        flipped = bytearray(left)
        flipped[place] ^= 0x10
        path.write_bytes(flipped)
        try:
            _, arrays = read_checkpoint(path)
        except RaysimError:
            continue
        # A byte that says nothing, such as the date of an entry.
        assert all(np.array_equal(whole[name], arrays[name]) for name in whole)
        harmless += 1
    assert harmless < 5


def test_foreign_files_are_not_checkpoints(tmp_path):
    path = tmp_path / "checkpoint.npz"
    np.savez(path, a=np.zeros(3))
    assert "not a whole checkpoint" in broken(path)
    np.savez(path, header=np.array([object()]))  # pickled inside
    assert "not a whole checkpoint" in broken(path)
    with path.open("wb") as file:
        np.save(file, np.zeros(3))
    assert "not a whole checkpoint" in broken(path)
    path.write_text("dear clinic")
    assert "not a whole checkpoint" in broken(path)
    write_checkpoint(path, {"format_version": 99}, {})
    assert "does not know" in broken(path)
    whole = {"seconds": 1.0, "inputs": {}, "options": {"seed": 1, "without": []}}
    for odd in (
        {"options": {"seed": "x"}},
        {"options": {"seed": []}},
        {"options": {"without": [1]}},
        {"seconds": -1.0},
        {"inputs": 7},
    ):
        write_checkpoint(path, whole | odd, {})
        assert "lacks entries, or has odd ones" in broken(path)
    write_checkpoint(path, {}, {})
    assert "lacks entries" in broken(path)
    path.unlink()
    assert "no run was broken off" in broken(path)
    path.mkdir()
    assert "cannot be read" in broken(path)


def with_arrays(left: bytes, path: Path, **changes: np.ndarray) -> None:
    """The checkpoint with some arrays changed; None takes one out."""
    path.write_bytes(left)
    header, arrays = read_checkpoint(path)
    for name, array in changes.items():
        key = name.replace("_0__", " 0.").replace("__", ".")
        assert key in arrays
        arrays |= {
            key: np.full_like(arrays[key], float(array)) if isinstance(array, str) else array
        }
    kept = {name: array for name, array in arrays.items() if array is not None}
    write_checkpoint(path, header, kept)


@pytest.mark.parametrize(
    "changes",
    [
        {"photons_0__total": np.zeros(3, np.int64)},
        {"photons_0__bodies": None},
        {"photons_0__batches": np.array(17)},
        {"refinement__row": np.zeros(3, np.int64)},
        {"refinement__mean": None},
        {"refinement__planned": np.array([10**9])},
        {"paths_0__sums": np.zeros((1, 2, 3, 4))},
        {"paths_0__paths": np.array([-1])},
        {"paths_0__sums": "nan"},
        {"paths_0__sums": "inf"},
        {"paths_0__sums": "1e30"},
        {"paths_0__sums": "-1"},
        {"refinement__bound": "nan"},
    ],
)
def test_tallies_that_do_not_fit_are_told_of(scene, left, tmp_path, changes):
    path = tmp_path / "checkpoint.npz"
    with_arrays(left, path, **changes)
    assert "its tallies do not fit" in refusal(scene, path)


def repacked(left: bytes, path: Path, **more) -> None:
    """The checkpoint with its last number changed, packed as NumPy packs, without raysim."""
    path.write_bytes(left)
    with np.load(path) as archive:
        arrays = {name: archive[name].copy() for name in archive.files}
    arrays["photons 0.segments"] = arrays["photons 0.segments"] + 1
    np.savez(path, **arrays | more)


def test_a_checkpoint_that_was_edited_since_is_refused(left, tmp_path):
    path = tmp_path / "checkpoint.npz"
    repacked(left, path)
    assert "it was changed since it was written" in broken(path)
    repacked(left, path, **{DIGEST: np.zeros(32, np.uint8)})
    assert "it was changed since it was written" in broken(path)


def test_a_checkpoint_that_announces_more_than_it_holds_takes_no_memory(left, tmp_path):
    path = tmp_path / "checkpoint.npz"
    path.write_bytes(left)
    with np.load(path) as archive:
        arrays = {name: archive[name] for name in archive.files}
    np.savez_compressed(path, **arrays)
    assert "it is compressed" in broken(path)
    with zipfile.ZipFile(path, "w") as archive, archive.open("header.npy", "w") as file:
        huge = {"descr": "<f8", "fortran_order": False, "shape": (10**12,)}
        np.lib.format.write_array_header_1_0(file, huge)
    assert "header.npy announces 8,000,000,000,000 bytes" in broken(path)
    with path.open("wb") as file:  # a file with a hole takes no room on the disk
        file.truncate(9 * 2**30)
    assert "not a whole checkpoint" in broken(path)
    many = {f"{k} places": np.zeros(2**22, np.uint8) for k in range(34)}
    write_checkpoint(path, {}, many)
    assert "announces more than 8,589,934,592 bytes" in broken(path)


# ---------------------------------------------------------------- disks


def test_a_full_disk_keeps_the_last_checkpoint_and_the_run_goes_on(
    scene, whole, tmp_path, monkeypatch
):
    path = tmp_path / "checkpoint.npz"
    told: list[str] = []
    before = os.fsync
    calls = []

    def fsync(handle):
        calls.append(handle)
        if len(calls) > 2:
            raise OSError(28, "No space left on device")
        before(handle)

    monkeypatch.setattr(os, "fsync", fsync)
    result = simulate(scene, threads=1, checkpoint=Checkpoint(path, tell=told.append), **RUN)
    assert same(result, whole)
    assert len(told) == 1
    assert "No space left on device" in told[0]
    assert [entry.name for entry in tmp_path.iterdir()] == ["checkpoint.npz"]
    monkeypatch.undo()
    assert same(simulate(scene, checkpoint=Checkpoint.resumed(path), **RUN), whole)


def test_runs_that_share_a_folder_have_a_checkpoint_each(scene, whole, tmp_path):
    checkpoint = Checkpoint(tmp_path / "checkpoint.npz")
    assert checkpoint.part(0) is checkpoint
    simulate(scene, checkpoint=checkpoint.part(0), **RUN)
    broken_off(scene, checkpoint.part(1).path, seed=6)
    names = sorted(path.name for path in tmp_path.iterdir())
    assert names == ["checkpoint-1.npz", "checkpoint.npz"]
    assert all(map(is_checkpoint, names))
    again = Checkpoint.resumed(tmp_path / "checkpoint.npz")
    assert again.part(1).is_resumed
    assert not again.part(2).is_resumed
    assert same(simulate(scene, checkpoint=again.part(0), **RUN), whole)
    other = simulate(scene, checkpoint=again.part(1), **(RUN | {"seed": 6}))
    assert same(other, simulate(scene, **(RUN | {"seed": 6})))
    again.remove()
    assert list(tmp_path.iterdir()) == []


def test_a_second_checkpoint_keeps_what_nobody_has_taken_back_yet(tmp_path):
    # Photons are taken back before paths; a run may be broken off again in between.
    parts = {"photons": {"count": np.arange(3)}, "paths": {"sum": np.arange(4.0)}}
    path = tmp_path / "checkpoint.npz"

    def begun(checkpoint, *names):
        found = {}
        checkpoint.begin({"scene": "hash"}, {"seed": 1})
        for name in names:
            checkpoint.keep(name, lambda n=name: parts[n], found.update)
        return found

    first = Checkpoint(path)
    begun(first, *parts)
    first.save()
    second = Checkpoint.resumed(path)
    assert list(begun(second, "photons")) == ["count"]
    second.save()
    found = begun(Checkpoint.resumed(path), *parts)
    assert set(found) == {"count", "sum"}
    assert np.array_equal(found["sum"], parts["paths"]["sum"])


def test_a_checkpoint_is_a_plain_archive_with_a_header(left, tmp_path):
    path = tmp_path / "checkpoint.npz"
    path.write_bytes(left)
    with np.load(path, allow_pickle=False) as archive:
        header = json.loads(archive["header"].tobytes().decode())
    assert header["format"] == "raysim checkpoint"
    assert header["options"] == {"seed": 5, "photons": 1, "precision": 0.1, "without": []}
    assert set(header["inputs"]) > {"the scene file", 'mesh "plate.ply"', "raysim itself"}
