"""kill -9 at any moment: --resume ends the run bit for bit as if it had never been stopped."""

import json
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from running import ENVIRONMENT, contents, raysim_said
from small_scenes import write_scene

from raysim.checkpoint import CHECKPOINT_FILE, read_checkpoint

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs SIGKILL")

ASKED = ("--precision", "0.02", "--photons", "1", "--seed", "3", "--without", "right")
WORDS = ("dose", "scene.toml", "--no-pictures", "--quiet", "--out")
# What stands in the folder as the process dies there: stage, call.
STAGES = {
    "photons": 3,
    "photons done": 1,
    "backward paths": 4,
    "brightest": 1,
    "doubts": 1,
    "half a checkpoint": 3,
    "checkpoint to be renamed": 6,
    "results half written": 1,
    "checkpoint to be removed": 2,
}
RENAMES = 10  # of a result that takes the place of another


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    """Folder with a scene, the results of a whole run and those of another seed."""
    folder = tmp_path_factory.mktemp("killed")
    write_scene(folder)
    assert raysim_said(*WORDS, "whole", *ASKED, folder=folder).status == 0
    assert raysim_said(*WORDS, "old", "--photons", "1", "--seed", "7", folder=folder).status == 0
    return folder


def killed(folder: Path, stage: str, call: int, *words: str) -> None:
    """Have a run die at a stage."""
    done = subprocess.run(
        [sys.executable, Path(__file__).with_name("killed.py"), stage, str(call), *words],
        cwd=folder,
        env=ENVIRONMENT,
        capture_output=True,
        encoding="utf-8",
        timeout=120,
        check=False,
    )
    assert done.returncode == -signal.SIGKILL, (done.returncode, done.stderr)


def timeless(folder: Path) -> dict[str, bytes]:
    """Every file of a result, without the seconds that it took."""
    files = contents(folder)
    record = json.loads(files["result.json"])
    assert record.pop("seconds") > 0.0
    files["result.json"] = json.dumps(record).encode()
    for name in ("report.html", "card.html"):
        files[name] = b"".join(
            line for line in files[name].splitlines() if b" s of tracing" not in line
        )
    return files


def is_old(folder: Path, place: Path) -> bool:
    """Whether the results in a folder are the old ones, every one of them."""
    return {n: c for n, c in contents(folder).items() if not n.startswith((".", "check"))} == (
        contents(place / "old")
    )


@pytest.mark.parametrize("stage", STAGES)
def test_a_killed_run_ends_as_if_never_stopped(place, tmp_path, stage):
    write_scene(tmp_path)
    killed(tmp_path, stage, STAGES[stage], *WORDS, "out", *ASKED, "--threads", "1")
    header, _ = read_checkpoint(tmp_path / "out" / CHECKPOINT_FILE)
    assert header["options"]["seed"] == 3
    # No result.json without the whole of the results, and no run anew without being told.
    assert (tmp_path / "out" / "result.json").exists() == (stage == "checkpoint to be removed")
    refused = raysim_said(*WORDS, "out", *ASKED, folder=tmp_path)
    assert refused.status == 2
    assert "--resume" in refused.err
    said = raysim_said(*WORDS, "out", "--resume", "--threads", "3", folder=tmp_path)
    assert (said.status, said.err) == (0, "")
    assert timeless(tmp_path / "out") == timeless(place / "whole")
    assert {path.name for path in tmp_path.iterdir()} == {"scene.toml", "plate.ply", "out"}


@pytest.mark.parametrize("call", range(1, RENAMES + 1, 3))
def test_old_and_new_results_never_stand_side_by_side(place, tmp_path, call):
    write_scene(tmp_path)
    assert raysim_said("start", "unused", folder=tmp_path).status == 0
    for name, content in contents(place / "old").items():
        (tmp_path / "out").mkdir(exist_ok=True)
        (tmp_path / "out" / name).write_bytes(content)
    stage = "results half in place"
    killed(tmp_path, stage, call, *WORDS, "out", *ASKED, "--threads", "1", "--force")
    assert (tmp_path / "out" / "result.json").exists() <= is_old(tmp_path / "out", place)
    said = raysim_said(*WORDS, "out", "--resume", folder=tmp_path)
    assert (said.status, said.err) == (0, "")
    assert timeless(tmp_path / "out") == timeless(place / "whole")
