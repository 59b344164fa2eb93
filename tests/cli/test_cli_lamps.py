"""`raysim lamps` as a user runs it: what it writes, what it says, what it refuses."""

import json

import pytest
from running import raysim_said, shows_cautions
from schemas import complaints
from small_scenes import small_scene, write_scene

import raysim
from raysim.scene.check.check import check_scene

LINES = ("50,50,60..50,50,290", "250,50,60..250,50,290", "150,40,60..150,40,290")
ASKED = ("lamps", "scene.toml", *(word for line in LINES for word in ("--at", line)))


@pytest.fixture(scope="module")
def lit(tmp_path_factory):
    """Folder in which the command was run, and what it said."""
    folder = tmp_path_factory.mktemp("lit")
    data = small_scene()
    data["meter"] = [
        {"name": "left", "at": [70, 60, 170], "facing": [-1, 0, 0], "reading": "1.5 mW/cm2"}
    ]
    write_scene(folder, data)
    words = ("--number", "1..2", "--precision", "0.3", "--out", "out")
    said = raysim_said(*ASKED, *words, folder=folder, painted=True)
    assert said.status == 0, said.err
    return folder, said


def test_it_says_what_to_do_with_time_proof_and_cautions(lit):
    _, said = lit
    assert "Put 2 lamps as listed here" in said.out or "Leave the 2 lamps" in said.out
    assert (
        "No choice of 2 among these 3 places, tubes neither blocking nor reflecting" in said.words
    )
    assert "Run 'raysim dose' on best.toml before setting a timer" in said.words
    assert "Lamp 2: " in said.out
    assert "As the 2 lamps are now it takes" in said.words
    assert shows_cautions(said.out)


def test_poses_that_were_left_out_are_told(tmp_path):
    data = small_scene()
    turned = {"name": data["object"][0]["name"], "turn": [0, 0, 10]}
    data["pose"] = [{"name": "first"}, {"name": "turned", "object": [turned]}]
    write_scene(tmp_path, data)
    words = ("--number", "1", "--precision", "0.5", "--out", "out")
    said = raysim_said(*ASKED, *words, folder=tmp_path)
    assert said.status == 0, said.err
    assert 'chosen for the pose "first" alone, of 2' in said.words


def test_what_it_writes_can_be_checked_and_traced(lit):
    folder, _ = lit
    out = folder / "out"
    record = json.loads((out / "result.json").read_text())
    assert complaints("lamps", record) == []
    assert [one["lamps"] for one in record["numbers"]] == [1, 2]
    best = record["numbers"][1]
    chosen = [record["places"][k] for k in best["choices"][0]["places"]]
    for name in ("best.toml", "lamps/2.toml"):
        scene = raysim.load_scene(out / name)
        assert not [fault for fault in check_scene(scene) if fault.level.name == "ERROR"]
        for lamp, place in zip(scene.written.lamp, chosen, strict=True):
            assert [1000.0 * v for v in lamp.start] == pytest.approx(place["from_mm"])
            assert [1000.0 * v for v in lamp.end] == pytest.approx(place["to_mm"])
            assert lamp.uvc == pytest.approx(2.4)
        assert scene.written.meter[0].reading is None
    text = (out / "best.toml").read_text()
    assert "Meter readings are left out: the lamps are others" in text
    assert shows_cautions((out / "report.html").read_text())
    assert sorted(path.name for path in (out / "pictures").iterdir())[-1] == "map.png"
    result = raysim.simulate(raysim.load_scene(out / "best.toml"), photons=400_000, precision=0.1)
    traced = best["choices"][0]["worst"]["irradiance_mW_cm2"]
    assert 0.1 * result.cases["cautious"].worst.irradiance == pytest.approx(traced, rel=0.15)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--number", "0"), "not a number of lamps"),
        (("--number", "2..x"), "not a number of lamps"),
        (("--along", "q"), "some of x, y and z"),
        (("--at", "1,2,3"), "not a line"),
        (("--at", "1,2,3..1,2,3"), "a line without length"),
        (("--at", "50,50,60..50,50,290", "--spacing", "20"), "goes with the grid"),
        (("--lamp", "T8 15 V"), 'did you mean "T8 15 W"'),
        (("--lamp", "T8 30 W"), "longer than the box"),
        (("--prices", "none.toml"), "no file of prices"),
        (("--clear-load", "200"), "too near the load"),
    ],
)
def test_a_mistake_is_one_line_with_its_mend(tmp_path, words, told):
    write_scene(tmp_path)
    said = raysim_said("lamps", "scene.toml", *words, "--quiet", folder=tmp_path)
    assert said.status == 2
    assert told in said.err
    assert "Mend:" in said.err
    assert len(said.err.splitlines()) == 1
    assert not (tmp_path / "results" / "scene_lamps" / "result.json").exists()
