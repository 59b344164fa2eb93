"""The worked examples of the Python interface run, draw their picture and say what they should."""

import runpy
import sys
from contextlib import nullcontext
from pathlib import Path
from unittest import mock

import pytest
from running import SMALL_BATCH, batches_of, blank_figures

from raysim.output.pictures import draw
from raysim.output.words.cautions import CAUTION_LINE

SCENES = Path(__file__).parents[1] / "scenes"
GALLERY = {
    "compare_linings": "With the left lamp at 60 % the mean falls to 80%",
    "folded_respirator": "3 mm before it lies folded shut, shell",
    "where_to_hang": "hook points have room",
    "where_lamps_go": "no other choice of these can be more than ",
    "drum": "lid: eyes at most ",
}


@pytest.fixture
def run(monkeypatch, capsys, tmp_path):
    """Run a script quickly; gives its names and what it printed."""

    def run(name: str, painted: bool = False):
        script, picture = SCENES / f"{name}.py", tmp_path / "drawn.png"
        monkeypatch.setattr(sys, "argv", [str(script), "quick", str(picture)])
        monkeypatch.setenv("MPLBACKEND", "agg")
        with (
            batches_of(SMALL_BATCH),
            nullcontext() if painted else blank_figures(),
            mock.patch.object(draw, "default_threads", return_value=1),
        ):
            left = runpy.run_path(str(script))
        assert picture.read_bytes().startswith(b"\x89PNG")
        return left, capsys.readouterr().out

    return run


@pytest.mark.parametrize("name", sorted(set(GALLERY) - {"compare_linings"}))
def test_an_example_runs_and_draws(run, name):
    _, said = run(name)
    assert GALLERY[name] in said
    assert CAUTION_LINE in said


@pytest.mark.parametrize("name", sorted(GALLERY))
def test_an_example_stands_in_the_gallery_with_its_picture(name):
    page = (SCENES / "README.md").read_text("utf-8")
    assert "![" in page
    assert f"({name}.png)" in page
    assert f"({name}.py)" in page
    assert (SCENES / f"{name}.png").stat().st_size < 250_000


def test_linings_are_compared(run):
    left, said = run("compare_linings", painted=True)  # its own figure
    assert GALLERY["compare_linings"] in said
    assert CAUTION_LINE in said
    for lining in left["linings"]:
        assert f"\n{lining} " in said
    # What it teaches: paint is nearly black here, and light adds up.
    mean = {n: r.cases["expected"].summary.mean for n, r in left["results"].items()}
    assert mean["white paint"] < 0.5 * mean["aluminium sheet, polished"]
    mixed, full, judged = left["mixed"], left["full"], left["judged"]
    per_lamp = left["best"].lamp_irradiance[left["cautious"]]
    assert (mixed[judged] <= full[judged]).all()
    assert abs(mixed - (0.6 * per_lamp[0] + per_lamp[1])).max() < 1e-12
