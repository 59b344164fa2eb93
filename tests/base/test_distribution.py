"""Strangers in the folder of the package are found by what their installer has noted."""

import pytest

import raysim.cli
from raysim.base import distribution
from raysim.base.distribution import refusal, strangers


@pytest.fixture
def site(tmp_path):
    """A folder of installed packages that holds ours, a stranger and a neighbour."""
    for name, files in {
        "raysim_chamber-0.2.0": ["raysim/__init__.py,,", "raysim/cli/__init__.py,,"],
        "raysim-0.1.0": ["raysim-0.1.0.dist-info/METADATA,,", "raysim/__init__.py,,"],
        "neighbour-1.0": ["neighbour/__init__.py,,", "raysimple/__init__.py,,"],
        "other_name-2.0": ["raysim/ray.py,,"],
    }.items():
        (tmp_path / f"{name}.dist-info").mkdir()
        (tmp_path / f"{name}.dist-info" / "RECORD").write_text("\n".join(files))
    (tmp_path / "raysim").mkdir()
    return tmp_path


def test_strangers_are_those_with_files_in_our_folder(site):
    assert sorted(strangers(site / "raysim")) == ["other_name 2.0", "raysim 0.1.0"]
    assert strangers(site / "raysim", "raysim") == ["raysim 0.1.0"]


def test_an_editable_install_of_the_former_name_is_no_stranger(site):
    (site / "raysim-0.1.0.dist-info" / "RECORD").write_text("_raysim.pth,,\nraysim-0.1.0/x,,\n")
    assert strangers(site / "raysim", "raysim") == []


def test_the_program_does_not_start_beside_a_stranger(site, monkeypatch, capsys):
    monkeypatch.setattr(distribution.strangers, "__defaults__", (site / "raysim", "*"))
    assert raysim.cli._status() == 2
    out, err = capsys.readouterr()
    assert (out, err) == ("", f"raysim: {refusal('raysim 0.1.0')}\n")
    assert "Mend: pip uninstall raysim raysim-chamber" in err
