"""Same scene, seed and counts: the same numbers to the last bit, for any number of threads."""

import json

import pytest
from running import QUICK, process_said, raysim_said
from small_scenes import write_scene

from raysim.transport.photons import BATCH_PHOTONS

RUNS = {
    "one thread": ("--threads", "1"),
    "two threads": ("--threads", "2"),
    "another seed": ("--threads", "3", "--seed", "2"),
}


@pytest.fixture(scope="module")
def records(tmp_path_factory):
    """result.json of every run, without the seconds it took."""
    folder = tmp_path_factory.mktemp("same")
    write_scene(folder)
    found = {}
    for name, words in RUNS.items():
        common = ("dose", "scene.toml", "--json", "--no-pictures", "--out", name)
        words = (*common, *words, *QUICK)
        if name == "one thread":
            said = process_said(*words, folder=folder)
        else:
            said = raysim_said(*words, folder=folder, batch=BATCH_PHOTONS)
        assert said.status == 0
        found[name] = json.loads(said.out)
        assert found[name].pop("seconds") > 0.0
        assert found[name].pop("made_at")
        found[name]["faces"] = (folder / name / "faces.csv").read_text("utf-8")
    return found


def test_threads_change_nothing(records):
    assert records["two threads"] == records["one thread"]
    assert records["two threads"]["backward_paths"] > 0


def test_another_seed_changes_every_estimate(records):
    one, other = records["one thread"], records["another seed"]
    assert one["photons"] == other["photons"]
    assert one["scene"] == other["scene"]
    for case in one["cases"]:
        for key in ("mean_mW_cm2", "worst_mW_cm2", "best_mW_cm2"):
            assert (
                one["cases"][case]["percentiles"][key] != other["cases"][case]["percentiles"][key]
            )
    assert one["energy"]["absorbed_W"] != other["energy"]["absorbed_W"]
    # But not by more than the noise allows: a few per cent for the mean.
    means = [r["cases"]["expected"]["percentiles"]["mean_mW_cm2"] for r in (one, other)]
    assert means[0] == pytest.approx(means[1], rel=0.05)
