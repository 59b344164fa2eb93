"""`raysim hooks` as a user runs it: what it writes, what it says, what it refuses."""

import json
import math
from types import SimpleNamespace

import pytest
from hung import between_tubes
from running import contents, raysim_said, shows_cautions

import raysim
from raysim.base.errors import RaysimError
from raysim.cli.hooks_options import lengths, number_range, seconds
from raysim.output.words.hooks import answer

PLAN = ("--x", "140..260", "--y", "140..200", "--spacing", "60", "--precision", "0.1")
FEW = ("--clear-lamp", "10", "--clear-other", "5", *PLAN)


def test_command_writes_all_and_says_where_to_drill(tmp_path):
    between_tubes(tmp_path, lining={"reflectance": 0.5, "reflectance_low": 0.5})
    words = ("hooks", "scene.toml", "--number", "1..2", "--loading", "5 min", *FEW, "--out", "out")
    said = raysim_said(*words, folder=tmp_path, painted=True)
    assert said.status == 0, said.err
    assert shows_cautions(said.out)
    assert "respirators per hour" in said.words
    assert "from the left wall / from the door / above the floor" in said.words
    written = contents(tmp_path / "out")
    pictures = {"pictures/map.png", "pictures/layout_1.png"}
    scenes = {"best.toml", "layouts/1.toml", "layouts/2.toml"}
    assert {"result.json", "report.html"} | pictures | scenes <= set(written)
    record = json.loads(written["result.json"])
    assert record["scene"]["file"] == "scene.toml"
    assert record["best_number"] == 2  # twice the load for little more time
    two = record["numbers"][1]
    hooks = [tuple(hook["at_mm"]) for hook in two["layouts"][0]["hooks"]]
    assert len(set(hooks)) == 2
    best = raysim.load_scene(tmp_path / "out" / "best.toml")
    at = [entry.at for entry in best.written.object if entry.judged]
    assert [tuple(round(1000 * v, 3) for v in point) for point in at] == hooks
    time = two["layouts"][0]["exposure_time_s"]
    assert two["respirators_per_hour"] == pytest.approx(2 * 3600 / (time + 300))
    assert time > 1.2e4 / (10 * two["layouts"][0]["irradiance_mW_cm2"])
    assert shows_cautions(written["report.html"].decode())
    again = raysim_said(*words, "--quiet", folder=tmp_path)
    assert again.status == 2
    assert "--force" in again.err
    forced = raysim_said(*words, "--force", "--json", "--threads", "1", folder=tmp_path)
    assert json.loads(forced.out) == record


def test_of_a_scene_with_poses_best_toml_holds_the_one_looked_at(tmp_path):
    # Over half the cycle the sheet looks sideways: the poses of the scene would turn it once more.
    poses = [{"name": "sideways", "turn": [0, 0, 90]}, {"name": "as hung"}]
    between_tubes(tmp_path, lining={"reflectance": 0.5, "reflectance_low": 0.5}, poses=poses)
    words = ("hooks", "scene.toml", "--at", "200,200,250", "--number", "1", "--precision", "0.1")
    first = raysim_said(*words, "--out", "first", folder=tmp_path)
    named = raysim_said(*words, "--pose", "as hung", "--out", "named", folder=tmp_path)
    assert 'of 2 poses this looks at the first alone, "sideways"' in first.err
    for said, out, turn in ((first, "first", 90.0), (named, "named", 0.0)):
        assert said.status == 0, said.err
        pose = "sideways" if turn else "as hung"
        assert f'(pose "{pose}")' in said.words
        assert f"(pose &#34;{pose}&#34;)" in (tmp_path / out / "report.html").read_text("utf-8")
        best = raysim.load_scene(tmp_path / out / "best.toml")
        assert best.written.pose == []
        assert [entry.turn for entry in best.written.object if entry.judged] == [(0, 0, turn)]
        record = json.loads((tmp_path / out / "result.json").read_text("utf-8"))
        layout, *_ = record["numbers"][0]["layouts"]
        again = raysim.simulate(best, photons=100_000, precision=0.1)
        assert again.timer == pytest.approx(layout["exposure_time_s"], rel=0.12)


@pytest.mark.parametrize(
    ("words", "named"),
    [
        (("--hang", "respirtor 1"), 'did you mean "respirator 1"?'),
        (("--at", "100,200"), "--at 100,120,400"),
        (("--at", "1,1,1"), "too near a wall"),
        (("--spacing", "wide"), "--spacing"),
    ],
)
def test_mistakes_are_one_line(tmp_path, words, named):
    between_tubes(tmp_path)
    said = raysim_said("hooks", "scene.toml", *words, "--quiet", folder=tmp_path)
    assert said.status == 2
    assert named in said.err
    assert len(said.err.strip().splitlines()) == 1
    assert not (tmp_path / "results").exists()


def test_no_light_anywhere_is_status_3(tmp_path):
    """One lamp in a black box: the side of the sheet that looks away gets nothing."""
    scene = between_tubes(tmp_path)
    text = scene.path.read_text()
    rear = text.index('{ "name" = "rear"')
    scene.path.write_text(text[:rear].rstrip(", ") + text[text.index("}", rear) + 1 :])
    words = ("hooks", "scene.toml", "--at", "200,200,250", "--number", "1")
    said = raysim_said(*words, folder=tmp_path)
    assert said.status == 3, said.err
    assert "No hook position brings light" in said.words
    assert raysim.load_scene(tmp_path / "results" / "scene_hooks" / "best.toml")


def test_light_that_cannot_be_vouched_for_is_not_called_none():
    layout = SimpleNamespace(time=math.inf, estimate=1e-6)
    said = answer(SimpleNamespace(best=SimpleNamespace(best=layout, all_dark=False)))
    assert "though it found some" in said


@pytest.mark.parametrize("text", ["0", "3..2", "a", "1..", "..4", "1..99", "2.5"])
def test_numbers_that_are_none_are_refused(text):
    with pytest.raises(RaysimError, match="--number 4, or --number 1..6"):
        number_range(text)


def test_lengths_and_times_carry_their_units():
    assert lengths("100, 2 in,0.3 m", "--at", 3) == pytest.approx((0.1, 0.0508, 0.3))
    assert lengths("10..2 cm", "--x", 2, "..") == pytest.approx((0.01, 0.02))
    assert seconds("5 min", "--loading") == 300.0
    assert list(number_range("2..3")) == [2, 3]
    for text in ("nan", "1e9", "five", ""):
        with pytest.raises(RaysimError, match="--height"):
            lengths(text, "--height", 1)
    for text in ("5", "-5 min", "5 W"):
        with pytest.raises(RaysimError, match="--loading"):
            seconds(text, "--loading")
