"""Mistakes of a user: status 2, one clear line for each fault, no traceback, no results."""

from concurrent.futures import ThreadPoolExecutor

import pytest
from running import answer
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
    "no-scene": (("dose",), "Missing argument 'SCENE'"),
    "missing-file": (("dose", "none.toml"), "there is no such file"),
    "a-folder": (("dose", "."), "this is a folder"),
    "not-toml": (("dose", "flat.obj"), "not valid TOML"),
    "bad-command": (("doze", "good.toml"), "did you mean dose?"),
    "odd-command": (("zzzzzz",), "commands: dose"),
    "bad-option": (("dose", "good.toml", "--photon", "5"), "--photons"),
    "photons-word": (("dose", "good.toml", "--photons", "many"), "not a valid integer"),
    "photons-zero": (("dose", "good.toml", "--photons", "0"), "not in the range"),
    "precision-two": (("dose", "good.toml", "--precision", "2"), "not in the range"),
    "precision-nan": (
        ("dose", "good.toml", "--precision", "nan"),
        "precision nan is out of range: give",
    ),
    "seed-minus": (("dose", "good.toml", "--seed", "-1"), "not in the range"),
    "threads-zero": (("dose", "good.toml", "--threads", "0"), "not in the range"),
    "bad-case": (("dose", "good.toml", "--case", "hopeful"), "'cautious', 'expected'"),
    "two-scenes": (("dose", "good.toml", "good.toml"), "unexpected extra argument"),
    "check-missing": (("check", "none.toml"), ""),
    "no-material": (("materials", "unobtainium"), "no surface is called"),
    "start-nothing": (("start",), "Missing argument 'DIR'"),
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
    with ThreadPoolExecutor(2) as pool:
        answers = pool.map(lambda words: answer(*words, folder=folder), calls.values())
        found = dict(zip(calls, answers, strict=True))
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
    assert "Traceback" not in told.err
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
    assert "Traceback" not in told.err
    assert told.status == 2
    assert COMMANDS[name][1] in told.err + told.out
    assert any(word in told.err + told.out for word in ("Mend: ", "Error: ", ": give "))
    assert len(told.err.splitlines()) <= 4
    assert "RuntimeWarning" not in told.err
