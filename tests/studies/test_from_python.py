"""Studies from Python: what they write is what the commands write, and defaults are the same."""

import inspect
import json
from types import MappingProxyType

import pytest
from running import SMALL_BATCH, batches_of, blank_figures, contents, raysim_said
from schemas import complaints
from small_scenes import box, small_scene, write_scene

import raysim
import raysim.cli.hooks
import raysim.cli.lamps
import raysim.cli.linings
import raysim.cli.shadows
import raysim.output.studies.hooks
import raysim.output.studies.lamps
import raysim.output.studies.leak
import raysim.output.studies.linings
import raysim.output.studies.shadows
import raysim.output.studies.survey
from raysim.base.errors import RaysimError
from raysim.cli.hooks_options import asked_of_study
from raysim.studies import design, hooks, lamps, leak, linings, shadows, survey

OPTIONS = raysim.RunOptions(seed=5, threads=2)
SEED = ("--seed", "5")
POSES = [{"name": "as hung"}, {"name": "turned", "turn": [0, 0, 90]}]


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Folder of a scene with hook, gap, meter points, a reading and two poses."""
    place = tmp_path_factory.mktemp("python")
    data = small_scene()
    at = data["object"][0]["at"]
    data["object"][0]["edge"] = 40
    hook = {"name": "hook", "mesh": "hook.ply", "surface": "stainless steel", "at": at}
    data["object"].append(hook)
    data["pose"] = POSES
    data["gap"] = [
        {"name": "door", "wall": "front", "from": [60, 0, 150], "to": [240, 0, 150]}
        | {"width": 2, "depth": 18, "distance": 300}
    ]
    data["meter"] = [
        {"name": "left", "at": [70, 60, 170], "facing": [-1, -0.7, 0], "reading": "1.5 mW/cm2"},
        {"name": "door", "at": [150, 20, 170], "facing": [0, 1, 0]},
    ]
    write_scene(place, data, hook=box([1, 1, 10], [-0.5, -0.5, 45]))
    return place


@pytest.fixture
def scene(folder, monkeypatch):
    """That scene, in whose folder we stand, as whoever runs a command does."""
    monkeypatch.chdir(folder)
    return raysim.load_scene("scene.toml")


def same_files(folder, command, write):
    """Assert that a command and a call write the same, but for the command line in the page."""
    words = (*command, *SEED, "--out", "typed", "--force", "--quiet")
    said = raysim_said(*words, folder=folder)
    assert said.status in (0, 3), said.err
    with batches_of(SMALL_BATCH), blank_figures():
        write(folder / "called")
    typed, called = contents(folder / "typed"), contents(folder / "called")
    assert set(typed) == set(called) >= {"report.html", "result.json"}
    assert complaints(command[0], json.loads(typed["result.json"])) == []
    row = b"<dt>command</dt><dd>raysim " + command[0].encode()
    (shown,) = [line for line in typed["report.html"].splitlines(True) if row in line]
    typed["report.html"] = typed["report.html"].replace(shown, b"")
    assert [name for name in typed if typed[name] != called[name]] == []


def test_linings(folder, scene):
    paint = raysim.find_surface("white paint")

    def write(place):
        found = linings.study(
            scene,
            [paint],
            prices={paint.name: 4.0},
            pose="turned",
            precision=0.5,
            options=OPTIONS,
        )
        raysim.output.studies.linings.write(found, place)

    lined = ("--lining", paint.name, "--price", f"{paint.name}=4")
    words = ("linings", "scene.toml", *lined, "--pose", "turned", "--precision", "0.5")
    same_files(folder, words, write)


def test_shadows(folder, scene):
    def write(place):
        found = shadows.study(scene, share=0.9, smallest=1e-6, photons=1, options=OPTIONS)
        raysim.output.studies.shadows.write(found, place)

    asked = ("--share", "0.9", "--smallest", "0.01", "--photons", "1")
    same_files(folder, ("shadows", "scene.toml", *asked), write)


def test_hooks(folder, scene):
    def write(place):
        found = hooks.study(
            scene,
            numbers=[1],
            points=hooks.Grid(spacing=0.12, turns=(0.0, 90.0)),
            precision=0.5,
            options=OPTIONS,
        )
        raysim.output.studies.hooks.write(found, place)

    asked = ("--number", "1", "--spacing", "120", "--turn", "0", "--turn", "90")
    same_files(folder, ("hooks", "scene.toml", *asked, "--precision", "0.5"), write)


def test_lamps(folder, scene):
    def write(place):
        found = lamps.study(
            scene,
            numbers=[1],
            places=[
                ((0.05, 0.05, 0.06), (0.05, 0.05, 0.29)),
                ((0.25, 0.2, 0.06), (0.25, 0.2, 0.29)),
            ],
            precision=0.5,
            options=OPTIONS,
        )
        raysim.output.studies.lamps.write(found, place)

    asked = ("--at", "50,50,60..50,50,290", "--at", "250,200,60..250,200,290", "--precision", "0.5")
    same_files(folder, ("lamps", "scene.toml", "--number", "1", *asked), write)


def test_leak(folder, scene):
    said = raysim_said("leak", "scene.toml", "--json", *SEED, folder=folder)
    assert complaints("leak", json.loads(said.out)) == []
    with batches_of(SMALL_BATCH):
        found = leak.study(scene, options=OPTIONS)
    raysim.output.studies.leak.write(found, folder / "leak")
    assert contents(folder / "leak") == {"result.json": said.out.encode()}


def test_survey(folder, scene):
    sheet = ("--sheet", "typed.html", "--no-time")
    said = raysim_said("meter", "scene.toml", "--json", *sheet, *SEED, folder=folder)
    assert complaints("meter", json.loads(said.out)) == []
    found = survey.study(scene, options=OPTIONS)
    assert found.fit is not None
    raysim.output.studies.survey.write(found, folder / "survey")
    typed = (folder / "typed.html").read_bytes()
    assert contents(folder / "survey") == {"result.json": said.out.encode(), "sheet.html": typed}


def test_results_of_a_dose_run(folder, scene):
    """But for the budget of doubts, which the command works out after the run."""
    words = ("--photons", "1", "--no-pictures", "--out", "typed dose", "--quiet")
    said = raysim_said("dose", "scene.toml", *words, *SEED, folder=folder)
    assert said.status in (0, 3)
    with batches_of(SMALL_BATCH):
        result = raysim.simulate(scene, photons=1, seed=5)
    assert raysim.write_results(result, folder / "called dose", pictures=False) == ""
    typed, called = contents(folder / "typed dose"), contents(folder / "called dose")
    assert set(typed) == set(called)
    for name in ("faces.csv", "dose_map.vtp"):
        assert typed[name] == called[name]
    records = [json.loads(files["result.json"]) for files in (typed, called)]
    assert records[0]["cases"] == records[1]["cases"]
    inputs = b"chamber (width x depth x height)"
    assert all(inputs in files["report.html"] for files in (typed, called))


def typed_defaults(command):
    """What a command is given where only a scene is typed, by name."""
    return command.make_context(command.name, ["scene.toml"]).params


def test_defaults_are_those_of_the_commands():
    called = {
        study.__module__.split(".")[2]: {
            name: one.default for name, one in inspect.signature(study).parameters.items()
        }
        for study in (linings.study, shadows.study, lamps.study, hooks.study)
    }
    typed = typed_defaults(raysim.cli.linings.command)
    for name in ("walls", "precision"):
        assert called["linings"][name] == typed[name]
    assert called["linings"]["prices"] == MappingProxyType({})
    typed = typed_defaults(raysim.cli.shadows.command)
    assert called["shadows"]["smallest"] == 1e-4 * typed["smallest"]
    for name in ("share", "patches", "photons"):
        assert called["shadows"][name] == typed[name]
    typed = raysim.cli.lamps.asked_of_study(**typed_defaults(raysim.cli.lamps.command))
    for name in ("clearances", "lamps", "places", "precision", "prices"):
        assert called["lamps"][name] == typed[name]
    assert tuple(called["lamps"]["numbers"]) == tuple(typed["numbers"])
    typed = typed_defaults(raysim.cli.hooks.command)
    of_all = typed_defaults(raysim.cli.linings.command).keys() & typed.keys()
    shared = set(of_all) - {"precision"}
    meant = {name: value for name, value in asked_of_study(**typed).items() if name not in shared}
    assert meant.pop("points") == hooks.Grid([], 0.03, None, None, [0.0])
    assert called["hooks"]["points"] == hooks.Grid()
    assert meant == {name: called["hooks"][name] for name in meant}


@pytest.mark.parametrize("one", [linings, shadows, hooks, leak, survey, lamps, design])
def test_studies_are_called_alike(one):
    first, *_, last = inspect.signature(one.study).parameters.values()
    assert first.name in ("scene", "wish")
    assert (last.name, last.kind, last.default) == ("options", inspect.Parameter.KEYWORD_ONLY, None)


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        (lambda scene: linings.study("scene.toml"), "load_scene"),
        (lambda scene: linings.study(scene, []), "no lining to try"),
        (lambda scene: linings.study(scene, [5]), "find_surface"),
        (lambda scene: linings.study(scene, ["foyl"]), 'did you mean "aluminium foil'),
        (
            lambda scene: linings.study(scene, ["white paint"], prices={"dull foil": 1.0}),
            "this lining is not tried",
        ),
        (lambda scene: linings.study(scene, precision=0.0), "precision 0.0 is out of range"),
        (lambda scene: shadows.study(scene, pose="upside"), 'Mend: "as hung" or "turned"'),
        (lambda scene: shadows.study(scene, share=float("nan")), "share nan is out of range"),
        (lambda scene: hooks.study(scene, loading=-1.0), "loading -1.0 is out of range"),
        (lambda scene: hooks.study(scene, numbers=[]), "no number of respirators"),
        (lambda scene: hooks.study(scene, hang="nobody"), "no object is called this"),
        (lambda scene: leak.study(scene, options=raysim.RunOptions(seed=-1)), "seed -1"),
        (lambda scene: survey.study(scene, options=raysim.RunOptions(threads=0)), "threads 0"),
    ],
)
def test_mistakes_are_told_in_one_line(scene, wrong, words):
    with pytest.raises(RaysimError) as told:
        wrong(scene)
    assert words in str(told.value)
    assert "Mend: " in str(told.value)
    assert len(str(told.value).splitlines()) == 1
