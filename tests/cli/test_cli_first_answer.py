"""The answer first: what stands on the terminal and in the folder when, and after Ctrl-C."""

import json
import sys

import pytest
from running import QUICK, contents, raysim_said
from small_scenes import small_scene, write_scene

import raysim.assess.uncertainty
import raysim.output.files.results
import raysim.verdict.stray_light
from raysim.base.units import minutes_seconds

WORDS = ("dose", "scene.toml", "--no-pictures", *QUICK)
TIGHT, WIDE = {"width": 1, "kind": "rabbet", "step": 6}, {"width": 15}
GAP = {
    "name": "door",
    "wall": "front",
    "from": [100, 0, 60],
    "to": [200, 0, 60],
    "depth": 18,
    "distance": 300,
}


@pytest.fixture
def watched(monkeypatch, tmp_path):
    """What was printed, and which files stood there, when each step of a run began."""
    seen = {}

    def watch(module, name, fails=False):
        whole = getattr(module, name)

        def first_look(*words, **more):
            if fails:
                raise KeyboardInterrupt
            results = tmp_path / "results" / "scene"
            seen[name] = sys.stdout.getvalue(), {n for n in contents(results) if n[0] != "."}
            return whole(*words, **more)

        monkeypatch.setattr(module, name, first_look)

    def steps(broken_off="nowhere"):
        for module, name in (
            (raysim.verdict.stray_light, "stray_light"),
            (raysim.output.files.results, "write_answer"),
            (raysim.assess.uncertainty, "uncertainty_budget"),
            (raysim.output.files.results, "write_results"),
        ):
            watch(module, name, fails=name == broken_off)
        return seen

    return steps


def scene_with_gap(folder, gap=TIGHT):
    data = small_scene()
    data["gap"] = [GAP | gap]
    write_scene(folder, data)


@pytest.mark.parametrize(("gap", "verdict"), [(TIGHT, "READY AFTER"), (WIDE, "DO NOT USE")])
def test_the_verdict_stands_before_all_that_cannot_change_it(tmp_path, watched, gap, verdict):
    """Never before the light that gets out is known: here that alone decides."""
    scene_with_gap(tmp_path, gap)
    seen = watched()
    said = raysim_said(*WORDS, folder=tmp_path)
    assert list(seen) == ["stray_light", "write_answer", "uncertainty_budget", "write_results"]
    record = json.loads((tmp_path / "results" / "scene" / "result.json").read_text("utf-8"))
    assert record["verdict"]["state"] == verdict.lower()
    assert said.status == (3 if verdict == "DO NOT USE" else 0)
    printed, files = zip(*seen.values(), strict=True)
    assert printed[0] == ""
    head = f"small box\n\n  {verdict}"
    assert all(head in text for text in printed[1:])
    assert all("To follow: how far off this may be" in text for text in printed[1:])
    assert all(said.out.startswith(text) for text in printed)
    answer = {"checkpoint.npz", "result.json", "card.html"}
    assert files == ({"checkpoint.npz"}, {"checkpoint.npz"}, answer, answer)
    assert "Written: result.json and card.html in results/scene" in printed[2]
    assert "report.html" not in printed[3]


def test_the_verdict_stands_last_as_it_stood_first(tmp_path):
    scene_with_gap(tmp_path)
    said = raysim_said(*WORDS, folder=tmp_path)
    record = json.loads((tmp_path / "results" / "scene" / "result.json").read_text("utf-8"))
    first = said.words.partition("small box ")[2].partition(" No meter was read")[0]
    assert minutes_seconds(record["verdict"]["timer_s"]) in first
    assert said.words.endswith(f"only a calibrated 254 nm meter tells. {first}")
    assert said.words.count(first) == 2
    assert record["uncertainty"]["expanded_relative"] > 0.0


def test_ctrl_c_after_the_answer_keeps_it_and_says_so(tmp_path, watched, monkeypatch):
    scene_with_gap(tmp_path)
    results = tmp_path / "results" / "scene"
    assert raysim_said(*WORDS, "--quiet", folder=tmp_path).status == 0
    whole = json.loads((results / "result.json").read_text("utf-8"))
    watched(broken_off="uncertainty_budget")
    said = raysim_said(*WORDS, "--force", folder=tmp_path)
    monkeypatch.undo()
    assert said.status == 130
    assert "READY AFTER" in said.out
    assert "report.html" not in said.out
    (line,) = said.err.split("\n\n")[-1].strip().splitlines()
    assert line == (
        "raysim: interrupted; result.json and card.html are whole, nothing else was written; go on "
        "with: raysim dose scene.toml --out results/scene --resume"
    )
    kept = json.loads((results / "result.json").read_text("utf-8"))
    assert (kept["interrupted"], kept["uncertainty"]) == (False, None)
    assert kept["verdict"] == whole["verdict"]
    assert {path.name for path in results.iterdir()} == {
        "checkpoint.npz", "result.json", "card.html",
    }  # fmt: skip
    assert raysim_said("dose", "scene.toml", "--no-pictures", "--resume", folder=tmp_path).err == ""
    again = json.loads((results / "result.json").read_text("utf-8"))
    for record in (whole, again):
        del record["seconds"], record["made_at"]
    assert again == whole
    assert not (results / "checkpoint.npz").exists()


def test_json_after_ctrl_c_is_the_answer_and_nothing_else(tmp_path, watched):
    scene_with_gap(tmp_path)
    watched(broken_off="write_results")
    said = raysim_said(*WORDS, "--json", folder=tmp_path)
    assert said.status == 130
    assert json.loads(said.out)["uncertainty"] is None
