"""`raysim doctor` tells the truth about an installation, good or bad."""

import getpass
import json
import platform
import subprocess
from importlib import metadata

import pytest
from running import raysim_said

from raysim.cli import doctor
from raysim.version import __version__


@pytest.fixture(scope="module")
def sound(tmp_path_factory):
    """What a sound installation is told."""
    said = raysim_said("doctor", "--json", folder=tmp_path_factory.mktemp("doctor"))
    assert said.status == 0
    return json.loads(said.out)


def test_versions_and_system_are_told(sound):
    rows = sound["raysim"]
    assert rows["raysim"].startswith(f"{__version__} in ")
    assert rows["python"].startswith(platform.python_version())
    assert f"numpy {metadata.version('numpy')}" in rows["packages"]
    assert rows["cores"].partition(" ")[0].isdigit()
    assert sound["wrong"] == []


def test_no_name_of_machine_or_user_is_told(sound, monkeypatch, tmp_path):
    assert platform.node() not in json.dumps(sound)
    monkeypatch.setenv("HOME", str(tmp_path / getpass.getuser()))
    assert doctor._homeless(tmp_path / getpass.getuser() / "a" / "b") == "~/a/b"


def test_a_stranger_in_the_folder_is_the_end_of_trust(monkeypatch, tmp_path):
    monkeypatch.setattr(doctor, "strangers", lambda folder: iter(["raysim 0.1.0"]))
    said = raysim_said("doctor", folder=tmp_path)
    assert said.status == 2
    assert "raysim: the distribution raysim 0.1.0 has put its own files" in said.out


def test_packages_that_are_missing_or_too_old_are_named_with_their_mend(monkeypatch, tmp_path):
    monkeypatch.setattr(doctor, "_needed", lambda: [("numpy", "999.1"), ("no-such-thing", "2")])
    said = raysim_said("doctor", folder=tmp_path)
    assert said.status == 2
    assert "is too old. Mend: pip install 'numpy>=999.1'" in said.out
    assert "no-such-thing is not installed. Mend: pip install 'no-such-thing>=2'" in said.out


@pytest.mark.parametrize("ending", [1, -11])
def test_a_machine_that_cannot_draw_is_told_what_is_skipped(monkeypatch, tmp_path, ending):
    dead = subprocess.CompletedProcess([], ending, "", "")
    monkeypatch.setattr(doctor.subprocess, "run", lambda *_, **__: dead)
    said = raysim_said("doctor", folder=tmp_path)
    assert said.status == 0
    assert "pictures          no graphics library can draw off screen\n" in said.out
    assert "skipped           all pictures. Mend: install a graphics library" in said.out
