"""kill -9 at any moment: --resume ends the run bit for bit as if it had never been stopped."""

import json
import re
import shutil
import signal
import sys
from pathlib import Path

import pytest
from running import contents, raysim_said
from small_scenes import write_scene

from raysim.dose.checkpoint import CHECKPOINT_FILE
from raysim.dose.checkpoint_file import read_checkpoint

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs SIGKILL")

ASKED = ("--precision", "0.2", "--photons", "1", "--seed", "3", "--without", "right")
WORDS = ("dose", "scene.toml", "--no-pictures", "--quiet", "--out")
# Stage and call in the midst of which a run dies.
STAGES = [
    ("photons", 3),
    ("backward paths", 4),
    ("half a checkpoint", 3),
    ("results half written", 1),
    ("checkpoint to be removed", 2),
    *(
        pytest.param(*stage, marks=pytest.mark.slow)
        for stage in [
            ("photons", 2),
            ("photons done", 1),
            ("backward paths", 1),
            ("backward paths", 5),
            ("brightest", 1),
            ("doubts", 1),
            ("checkpoint to be renamed", 6),
        ]
    ),
]
# Until these a run has given its answer, result.json and card.
ANSWERED = {"doubts", "results half written", "checkpoint to be removed"}
# Renames of a result of six files that takes the place of another one: its answer whole, six old
# ones out, on their way, two in; then all of it whole, two out, on their way, six in.
LATER = (1, 2, 7, 8, 9, 10, 11, 13, 15, 20)
RENAMES = [4, 12, 16, *(pytest.param(k, marks=pytest.mark.slow) for k in LATER)]


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    """Folder with a scene, the results of a whole run and those of another seed."""
    folder = tmp_path_factory.mktemp("killed")
    write_scene(folder)
    assert raysim_said(*WORDS, "whole", *ASKED, folder=folder).status == 0
    assert raysim_said(*WORDS, "old", "--photons", "1", "--seed", "7", folder=folder).status == 0
    return folder


@pytest.fixture
def killed(kennel, tmp_path):
    """Have a run in the folder of the test die at a stage."""
    here = str(Path(__file__).parent)

    def run(stage: str, call: int, *words: str) -> None:
        before = f"import sys; sys.path.append({here!r}); import killed; "
        before += f"killed.prepare({stage!r}, {call})"
        done = kennel.run(*words, folder=tmp_path, before=before, seconds=120)
        assert done.status == -signal.SIGKILL, (done.status, done.said)
        assert not done.hung

    return run


def timeless(folder: Path) -> dict[str, bytes]:
    """Every file of a result, without the seconds that it took."""
    files = contents(folder)
    record = json.loads(files["result.json"])
    assert record.pop("seconds") > 0.0
    assert record.pop("made_at")
    files["result.json"] = json.dumps(record).encode()
    files["report.html"], times = re.subn(rb"<dd>[0-9.]+ s</dd>", b"", files["report.html"])
    assert times == 1
    return files


def is_answer(folder: Path, place: Path) -> bool:
    """Whether in a folder stands the answer of the whole run with its card, and nothing else."""
    names = {name for name in contents(folder) if not name.startswith((".", "check"))}
    if names != {"result.json", "card.html"}:
        return False
    found, whole = (
        json.loads((one / "result.json").read_text("utf-8")) for one in (folder, place / "whole")
    )
    assert found["uncertainty"] is None
    for record in (found, whole):
        for key in ("seconds", "made_at", "uncertainty"):
            del record[key]
    return found == whole


def is_old(folder: Path, place: Path) -> bool:
    """Whether the results in a folder are the old ones, every one of them."""
    return {n: c for n, c in contents(folder).items() if not n.startswith((".", "check"))} == (
        contents(place / "old")
    )


@pytest.mark.parametrize(("stage", "call"), STAGES)
def test_a_killed_run_ends_as_if_never_stopped(place, killed, tmp_path, stage, call):
    write_scene(tmp_path)
    killed(stage, call, *WORDS, "out", *ASKED, "--threads", "1")
    header, _ = read_checkpoint(tmp_path / "out" / CHECKPOINT_FILE)
    assert header["options"]["seed"] == 3
    # No result.json without the whole of the answer.
    assert (tmp_path / "out" / "result.json").exists() == (stage in ANSWERED)
    if stage in ANSWERED:
        whole = (tmp_path / "out" / "report.html").exists()
        assert whole == (stage == "checkpoint to be removed")
        assert whole or is_answer(tmp_path / "out", place)
    said = raysim_said(*WORDS, "out", "--resume", "--threads", "3", folder=tmp_path)
    assert (said.status, said.err) == (0, "")
    assert timeless(tmp_path / "out") == timeless(place / "whole")
    assert {path.name for path in tmp_path.iterdir()} == {"scene.toml", "plate.ply", "out"}


@pytest.mark.parametrize("call", RENAMES)
def test_old_and_new_results_never_stand_side_by_side(place, killed, tmp_path, call):
    write_scene(tmp_path)
    shutil.copytree(place / "old", tmp_path / "out")
    stage = "results half in place"
    killed(stage, call, *WORDS, "out", *ASKED, "--threads", "1", "--force")
    if (tmp_path / "out" / "result.json").exists():
        assert is_old(tmp_path / "out", place) or is_answer(tmp_path / "out", place)
    said = raysim_said(*WORDS, "out", "--resume", folder=tmp_path)
    assert (said.status, said.err) == (0, "")
    assert timeless(tmp_path / "out") == timeless(place / "whole")
