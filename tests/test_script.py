"""The worked example of the Python interface runs, and says what it should."""

import runpy
import sys
from pathlib import Path

from raysim.output.words.cautions import CAUTION_LINE

SCRIPT = Path(__file__).parents[1] / "scenes" / "compare_linings.py"


def test_the_worked_example_runs(monkeypatch, capsys):
    monkeypatch.setattr(sys, "argv", [str(SCRIPT), "100000"])
    left = runpy.run_path(str(SCRIPT))
    said = capsys.readouterr().out
    assert CAUTION_LINE in said
    for lining in left["linings"]:
        assert f"\n{lining} " in said
    # What it teaches: paint is nearly black here, and light adds up.
    mean = {n: r.cases["expected"].summary.mean for n, r in left["results"].items()}
    assert mean["white paint"] < 0.5 * mean["aluminium sheet, polished"]
    assert "With the left lamp at 60 % the mean falls to 80%" in said
    mixed, full, judged = left["mixed"], left["full"], left["judged"]
    per_lamp = left["best"].lamp_irradiance[left["cautious"]]
    assert (mixed[judged] <= full[judged]).all()
    assert abs(mixed - (0.6 * per_lamp[0] + per_lamp[1])).max() < 1e-12
