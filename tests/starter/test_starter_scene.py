"""Every example that is switched off in the starter scene works when it is switched on."""

import re
import tomllib
from importlib import resources

import pytest

from raysim.base.errors import Level, SceneError
from raysim.dose.simulate import load_scene
from raysim.scene.check.check import check_scene
from raysim.scene.file.written import SceneAsWritten
from raysim.starter.files import mesh_files

TEXT = resources.files("raysim.starter").joinpath("starter_scene.toml").read_text("utf-8")
LINES = TEXT.splitlines()
SWITCHED_OFF = re.compile(r"#\S")
INSTEAD = re.compile(r"# Instead of (\w+)")


def blocks() -> dict[str, range]:
    """Lines of each block that is switched off, by its first line."""
    found, start = {}, None
    for number, line in enumerate([*LINES, ""]):
        if SWITCHED_OFF.match(line):
            start = number if start is None else start
        elif start is not None:
            found[f"{start + 1}: {LINES[start][1:]}"] = range(start, number)
            start = None
    return found


BLOCKS = blocks()


def switched_on(*chosen: range) -> str:
    """The scene with some blocks switched on, and what they stand for switched off."""
    lines = list(LINES)
    for block in chosen:
        for number in block:
            lines[number] = lines[number][1:]
        above = block[0] - 1
        while above >= 0 and lines[above].startswith("# "):
            instead = INSTEAD.match(lines[above])
            if instead:
                key = f"{instead.group(1)} = "
                old = max(n for n in range(above) if lines[n].startswith(key))
                lines[old] = "# " + lines[old]
            above -= 1
    return "\n".join(lines)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A folder with the meshes of `raysim start`."""
    folder = tmp_path_factory.mktemp("starter")
    for name, content in mesh_files().items():
        (folder / name).write_bytes(content)
    return folder


def faults_of(folder, text):
    """Errors and warnings of a scene."""
    path = folder / "scene.toml"
    path.write_text(text, encoding="utf-8")
    try:
        return check_scene(load_scene(path))
    except SceneError as error:
        return error.faults


def with_the_surface_it_names(name: str) -> list[range]:
    """A block, and the one that holds the surface it names."""
    chosen = [BLOCKS[name]]
    if "my panels" in name:
        chosen.append(next(b for other, b in BLOCKS.items() if "[[surface]]" in other))
    return chosen


def test_as_it_comes_it_is_faultless(folder):
    assert faults_of(folder, TEXT) == []


@pytest.mark.parametrize("name", BLOCKS)
def test_each_example_works_when_switched_on(folder, name):
    text = switched_on(*with_the_surface_it_names(name))
    faults = faults_of(folder, text)
    assert [fault for fault in faults if fault.level is Level.ERROR] == []
    # What is said of a household mirror is true of every such scene; anything else would be a fault
    # of the example.
    expected = {"refractive_index": {"chamber.lining"}}
    told = next((keys for word, keys in expected.items() if word in name), set())
    assert {fault.key for fault in faults} == told, [str(fault) for fault in faults]
    assert tomllib.loads(text) != tomllib.loads(TEXT)


def test_there_is_an_example_for_every_table():
    tables = set(SceneAsWritten.model_fields) - {"title", "units", "repair"}
    shown = {line.strip("[]#") for line in LINES if re.match(r"#?\[+\w+\]+", line)}
    assert shown >= tables


def test_there_is_an_example_for_every_key():
    words = {m.group(1) for line in LINES if (m := re.match(r"#?(\w+) = ", line))}
    for name, field in SceneAsWritten.model_fields.items():
        annotation = field.annotation
        models = [annotation, *getattr(annotation, "__args__", ())]
        for model in models:
            for key, entry in getattr(model, "model_fields", {}).items():
                shown = entry.alias or key
                if shown in ("mesh", "extinction", "transmittance", "judge_area"):
                    continue  # told of in the README
                if shown == "walls":
                    continue  # a table of its own
                assert shown in words or f"{shown} = " in TEXT, f"{name}.{shown}"
