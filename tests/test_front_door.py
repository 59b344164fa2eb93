"""Strangers in the folder of the package are found by what their installer has noted."""

import shutil
import subprocess
import sys

import pytest
from running import ENVIRONMENT

try:
    import raysim_chamber as door
except ModuleNotFoundError:
    from raysim import front_door as door


@pytest.fixture
def site(tmp_path):
    """A folder of installed packages that holds ours, strangers and a neighbour."""
    for name, files in {
        "raysim_chamber-0.2.0": ["raysim/__init__.py,,", "raysim/cli/__init__.py,,"],
        "raysim-0.1.0": ["raysim-0.1.0.dist-info/METADATA,,", "raysim/__init__.py,,"],
        "neighbour-1.0": ["neighbour/__init__.py,,", "raysimple/__init__.py,,"],
        "other_name-2.0": ["raysim/ray.py,,"],
    }.items():
        (tmp_path / f"{name}.dist-info").mkdir()
        (tmp_path / f"{name}.dist-info" / "RECORD").write_text("\n".join(files))
    (tmp_path / "raysim").mkdir()
    (tmp_path / "raysim" / "__init__.py").write_text("raise RuntimeError('strangers were run')")
    shutil.copy(door.__file__, tmp_path / "raysim_chamber.py")
    return tmp_path


def test_strangers_are_those_with_files_in_our_folder(site):
    assert sorted(door.strangers(site / "raysim")) == ["other_name 2.0", "raysim 0.1.0"]
    assert list(door.strangers(site / "raysim", "raysim")) == ["raysim 0.1.0"]


def test_an_editable_install_of_the_former_name_is_no_stranger(site):
    (site / "raysim-0.1.0.dist-info" / "RECORD").write_text("_raysim.pth,,\nraysim-0.1.0/x,,\n")
    assert list(door.strangers(site / "raysim", "raysim")) == []


def test_the_program_does_not_start_beside_a_stranger_and_runs_none_of_it(site):
    done = subprocess.run(
        [sys.executable, "-c", "import raysim_chamber; raysim_chamber.main()"],
        cwd=site,
        env=ENVIRONMENT | {"PYTHONPATH": str(site)},
        capture_output=True,
        encoding="utf-8",
        timeout=60,
    )
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == door.refusal("raysim 0.1.0") + "\n"
    assert "Mend: pip uninstall raysim raysim-chamber" in done.stderr
