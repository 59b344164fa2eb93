"""Ctrl-C: status 130, and a partial result whose numbers are as true as those of a whole run."""

import json
import os
import select
import signal
import subprocess
import sys
import time

import pytest
from running import ENVIRONMENT, shows_cautions
from small_scenes import write_scene

import raysim.cli
from raysim.transport.photons import PhotonRun

pty = pytest.importorskip("pty", reason="needs a terminal of the Unix kind")


def interrupted(folder, wait_for: str, *words: str):
    """Status and output of a run that gets Ctrl-C once `wait_for` stands on its terminal."""
    here, there = pty.openpty()
    process = subprocess.Popen(
        [sys.executable, "-m", "raysim", "dose", "scene.toml", "--no-pictures", *words],
        cwd=folder,
        env=ENVIRONMENT | {"TERM": "xterm"},
        stdout=subprocess.PIPE,
        stderr=there,
        encoding="utf-8",
        # Under nohup, or in the background of a script, Ctrl-C would be ignored.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )
    os.close(there)
    seen, limit = "", time.monotonic() + 120.0
    try:
        while wait_for not in seen and time.monotonic() < limit:
            seen += os.read(here, 4096).decode("utf-8", "replace")
        process.send_signal(signal.SIGINT)
        while time.monotonic() < limit:  # a terminal that nobody reads would block the run
            if not select.select([here], [], [], 1.0)[0]:
                continue
            try:
                piece = os.read(here, 4096)
            except OSError:
                break
            if not piece:
                break
            seen += piece.decode("utf-8", "replace")
        out, _ = process.communicate(timeout=60)
    finally:
        process.kill()
        os.close(here)
    assert wait_for in seen
    assert "Traceback" not in seen + out
    return process.returncode, out


PHASES = {
    "tracing photons": ("--photons", "10000000000", "--threads", "1"),
    "tracing back": ("--photons", "1", "--precision", "0.0005", "--threads", "1"),
}


@pytest.mark.parametrize("phase", PHASES)
def test_ctrl_c_leaves_a_true_partial_result(tmp_path, phase):
    write_scene(tmp_path)
    status, out = interrupted(tmp_path, phase, *PHASES[phase])
    assert status == 130
    assert "The run was broken off" in " ".join(out.split())
    assert shows_cautions(out)
    results = tmp_path / "results" / "scene"
    record = json.loads((results / "result.json").read_text("utf-8"))
    assert record["interrupted"] is True
    assert 0 < record["photons"] < 1e9
    for case in record["cases"].values():
        energy = case["energy"]
        gone = sum(energy["absorbed_W"].values()) + energy["escaped_W"] + energy["lost_W"]
        # Photons that are tallied but not counted would make the box brighter than it is.
        assert gone == pytest.approx(energy["emitted_W"], rel=1e-9)
        worst = case["worst"]
        # The bound may come from photons and lie above a first rough look back, but not far.
        rough = worst["irradiance_mW_cm2"] + 5.0 * worst["standard_error_mW_cm2"]
        assert 0.0 < worst["lower_bound_mW_cm2"] < rough
    assert {path.name for path in tmp_path.iterdir()} == {"scene.toml", "plate.ply", "results"}


def test_ctrl_c_before_there_is_anything_to_report_is_status_130(tmp_path, monkeypatch, capsys):
    def broken_off(run, count):
        raise KeyboardInterrupt

    write_scene(tmp_path)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(PhotonRun, "add_batches", broken_off)
    monkeypatch.setattr(sys, "argv", ["raysim", "dose", "scene.toml"])
    with pytest.raises(SystemExit) as stop:
        raysim.cli.main()
    assert stop.value.code == 130
    said = capsys.readouterr()
    assert "interrupted" in said.err
    assert "Traceback" not in said.err
    assert not (tmp_path / "results").exists()
