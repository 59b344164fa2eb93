"""Mistakes of a user: status 2, one clear line for each fault, no traceback, no results."""

import pytest
from running import process_said, raysim_said
from small_scenes import small_scene, toml_text, write_scene


def changed(*path, value) -> dict:
    """The small scene with one entry set."""
    data = small_scene()
    inner = data
    for step in path[:-1]:
        inner = inner[step]
    inner[path[-1]] = value
    return data


# What is wrong with a scene, by name; the words that must be said.
SCENES = {
    "electrical": (changed("lamp", 0, value=None), "electrical watts are not UVC watts"),
    "comma": (changed("lamp", 0, "uvc", value="2,4 W"), 'decimal point as "."'),
    "no-unit": (changed("lamp", 0, "uvc", value=2.4), "lacks its unit"),
    "unknown-key": (changed("chamber", "linning", value="foil"), "did you mean lining?"),
    "unknown-surface": (changed("chamber", "lining", value="mirrer"), "no surface is called"),
    "unknown-wall": (changed("chamber", "walls", value={"door": "foil"}), "no such wall"),
    "no-mesh": (changed("object", 0, "mesh", value="cup.stl"), "no such file"),
    "mesh-is-text": (changed("object", 0, "mesh", value="scene.toml"), "not a mesh format"),
    "broken-mesh": (changed("object", 0, "mesh", value="broken.ply"), "cannot be read as PLY"),
    "flat-mesh": (changed("object", 0, "mesh", value="flat.obj"), "holds no triangles"),
    "endless-mesh": (changed("object", 0, "mesh", value="endless.stl"), "not a finite number"),
    "metres": (small_scene() | {"units": "m"}, "not the size of a box"),
    "outside": (changed("object", 0, "at", value=[130, 125, 500]), "lies outside the box"),
    "none-judged": (changed("object", 0, "judged", value=False), "no object is judged"),
    "no-lamp": (changed("lamp", value=[]), "at least 1 item"),
    "huge-number": (changed("chamber", "inside", value=[10**400, 250, 350]), "chamber.inside 1"),
    "lamp-beyond-the-stars": (changed("lamp", 0, "from", 1, value=1e300), 'lamp 1 "left".from'),
    "nan": (changed("chamber", "inside", value=[float("nan"), 250, 350]), "finite"),
    "uvc-is-mains": (changed("lamp", 0, "uvc", value="8 W"), "look like electrical watts"),
    "line-break": (changed("chamber", "lining", value="a\nb"), "no surface is called"),
}
SCENES["electrical"][0]["lamp"][0] = {
    key: value for key, value in small_scene()["lamp"][0].items() if key != "uvc"
} | {"electrical": "8 W"}

# Words of a command line; what must be said.
COMMANDS = {
    "no-scene": (("dose",), "raysim dose: SCENE is missing. Mend: as in: raysim dose scenes/"),
    "missing-file": (("dose", "none.toml"), "there is no such file"),
    "a-folder": (("dose", "."), "this is a folder"),
    "not-toml": (("dose", "flat.obj"), "not valid TOML"),
    "bad-command": (("doze", "good.toml"), "there is no command doze. Mend: did you mean dose?"),
    "odd-command": (("zzzzzz",), "Mend: commands: dose"),
    "bad-option": (("dose", "good.toml", "--photon", "5"), "did you mean --photons?"),
    "photons-word": (
        ("dose", "good.toml", "--photons", "many"),
        "--photons: 'many' is not a whole number. Mend: give a whole number from 1",
    ),
    "photons-zero": (("dose", "good.toml", "--photons", "0"), "not in the range"),
    "precision-two": (("dose", "good.toml", "--precision", "2"), "not in the range"),
    "precision-nan": (
        ("dose", "good.toml", "--precision", "nan"),
        "nan is not a finite number",
    ),
    "seed-minus": (("dose", "good.toml", "--seed", "-1"), "not in the range"),
    "threads-zero": (("dose", "good.toml", "--threads", "0"), "not in the range"),
    "bad-case": (("dose", "good.toml", "--case", "hopeful"), "Mend: give cautious or expected"),
    "two-scenes": (
        ("dose", "good.toml", "good.toml"),
        "unexpected extra word (good.toml). Mend: put names that hold blanks",
    ),
    "check-missing": (("check", "none.toml"), ""),
    "no-material": (("materials", "unobtainium"), "no surface is called"),
    "near-material": (("materials", "white", "pante"), 'did you mean "white paint"'),
    "scene-alone": (("good.toml",), "did you mean raysim dose good.toml?"),
    "out-of-leak": (
        ("leak", "good.toml", "--out", "x"),
        "there is no option --out. Mend: 'raysim leak --help'",
    ),
    "help-word": (("help",), "did you mean raysim --help?"),
    "option-for-name": (
        ("meter", "good.toml", "--sheet", "--threads", "1"),
        "--sheet: a name is missing before --threads",
    ),
    "no-value": (("dose", "good.toml", "--seed"), "--seed needs a value after it"),
    "near-case": (("dose", "good.toml", "--case", "cautios"), "did you mean cautious?"),
    "bad-lining": (("linings", "good.toml", "--lining", "allu foil"), "did you mean"),
    "bad-price": (("linings", "good.toml", "--price", "foil"), "not a name and a price"),
    "bad-lamp": (("lamps", "good.toml", "--lamp", "T8 15"), 'did you mean "T8 15 W"'),
    "lost-lamp": (("dose", "good.toml", "--without", "lefft"), 'did you mean "left"?'),
    "bad-sub": (("log", "strat"), "did you mean start?"),
    "no-codes": (("log", "start"), "CODES is missing. Mend: as in: raysim log start R1 R2"),
    "no-operator": (("log", "add", "R1", "--owner", "A"), "--operator is missing"),
    "start-nothing": (("start",), "DIR is missing. Mend: as in: raysim start my_box"),
    "start-taken": (("start", "."), "something stands there already"),
    "start-on-file": (("start", "good.toml"), "something stands there already"),
    "start-below-file": (("start", "good.toml/below"), "cannot be written"),
}


@pytest.fixture(scope="module")
def said(tmp_path_factory):
    """What every mistake was answered with, by name; run a few at a time."""
    folder = tmp_path_factory.mktemp("mistakes")
    write_scene(folder).rename(folder / "good.toml")
    (folder / "broken.ply").write_bytes((folder / "plate.ply").read_bytes()[:100])
    (folder / "flat.obj").write_text("v 0 0 0\nv 1 0 0\nv 2 0 0\nf 1 2 3\n")
    whole = bytearray(_endless_stl())
    (folder / "endless.stl").write_bytes(whole)
    calls = {name: words for name, (words, _) in COMMANDS.items()}
    for name, (data, _) in SCENES.items():
        lines = [f"{key} = {toml_text(value)}" for key, value in data.items()]
        (folder / f"{name}.toml").write_text("\n".join(lines), encoding="utf-8")
        calls[name] = ("dose", f"{name}.toml")
    before = sorted(path.name for path in folder.iterdir())
    found = {name: raysim_said(*words, folder=folder) for name, words in calls.items()}
    # Some of them once more as a process of its own: the same words and status.
    for name in ("comma", "broken-mesh", "no-scene", "missing-file", "bad-option"):
        assert process_said(*calls[name], folder=folder) == found[name]
    assert sorted(path.name for path in folder.iterdir()) == before, "something was written"
    return found


def _endless_stl() -> bytes:
    """Binary STL of one triangle with an infinite corner."""
    import struct

    corners = [0, 0, 1, 0, 0, 0, 40, 0, float("inf"), 0, 40, 0]
    return bytes(80) + struct.pack("<I12fH", 1, *corners, 0)


def test_there_are_many_of_them():
    assert len(SCENES) + len(COMMANDS) >= 25


@pytest.mark.parametrize("name", SCENES)
def test_a_broken_scene_is_refused_line_by_line(said, name):
    told = said[name]
    assert told.status == 2
    assert told.out == ""
    assert SCENES[name][1] in told.err
    lines = told.err.splitlines()
    assert lines
    assert len(set(lines)) == len(lines), "a fault was told twice"
    for line in lines:
        assert line.startswith(f"{name}.toml: "), line
        assert ". Mend: " in line, line
        assert line.isprintable(), line


@pytest.mark.parametrize("name", COMMANDS)
def test_a_wrong_command_line_is_refused_with_help(said, name):
    told = said[name]
    assert told.status == 2
    if name == "check-missing":
        assert told.err == ""  # the faults of a scene are what `check` is asked for
        return
    assert told.out == ""
    (line,) = told.err.splitlines()
    assert COMMANDS[name][1] in line
    assert "Mend: " in line
    assert line.isprintable()
