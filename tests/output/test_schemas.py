"""The published schemas: strict, explained, up to date with what reads and writes."""

import json
import runpy
import tomllib
from pathlib import Path

import jsonschema
import pytest
from running import raysim_said
from schemas import complaints

from raysim.output.files.schemas.print import schema_text
from raysim.output.files.schemas.versions import IN_FIRST_LINE, NAMES, SCENE_FILE, VERSIONS
from raysim.scene.file.written import SceneAsWritten
from raysim.starter.scenes import starter_text

ROOT = Path(__file__).parents[2]
SCENES = sorted((ROOT / "scenes").glob("*.toml"))


def tables_in(node):
    """Every table of a schema that lists its properties."""
    if isinstance(node, dict):
        if isinstance(node.get("properties"), dict) and "type" in node:
            yield node
        node = list(node.values())
    if isinstance(node, list):
        for inner in node:
            yield from tables_in(inner)


@pytest.mark.parametrize("name", NAMES)
def test_a_schema_is_sound_and_strict(name):
    schema = json.loads(schema_text(name))
    jsonschema.Draft202012Validator.check_schema(schema)
    tables = list(tables_in(schema))
    assert tables
    assert all(table["additionalProperties"] is False for table in tables)
    if name in VERSIONS:
        assert schema["properties"]["schema_version"]["const"] == VERSIONS[name]


@pytest.mark.parametrize("name", sorted(set(NAMES) - {"scene"}))
def test_every_key_of_a_result_is_explained(name):
    for table in tables_in(json.loads(schema_text(name))):
        for key, entry in table["properties"].items():
            assert entry.get("description") or "$ref" in entry, key


def as_json(text: str):
    """A scene as a language server of TOML sees it: days are text."""
    return json.loads(json.dumps(tomllib.loads(text), default=str))


def test_the_schema_of_scenes_is_that_of_what_reads_them():
    made = runpy.run_path(str(ROOT / "scenes" / "make_schema.py"))["scene_schema"]()
    assert json.loads(schema_text("scene")) == made, "run python scenes/make_schema.py"


def test_every_key_of_a_scene_has_a_hint():
    schema = json.loads(schema_text("scene"))
    tables = {"": schema} | schema["$defs"]
    bare = {
        f"{name}.{key}"
        for name, table in tables.items()
        for key, entry in table["properties"].items()
        if not entry.get("description")
    }
    of_tables = {f".{field.alias or key}" for key, field in SceneAsWritten.model_fields.items()}
    speak_for_themselves = {"Around.x", "Around.y", "Around.z"}
    speak_for_themselves |= {key for key in bare if key.endswith(".name")}
    assert bare - speak_for_themselves <= of_tables


@pytest.mark.parametrize("path", SCENES, ids=lambda path: path.stem)
def test_the_scenes_keep_to_it(path):
    assert complaints("scene", as_json(path.read_text("utf-8"))) == []


def test_all_examples_of_the_starter_scene_keep_to_it():
    assert complaints("scene", as_json(starter_text())) == []


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        ("lining = ", "linning = ", "linning"),
        ("inside = [", "inside = [1, ", "too long|Expected at most"),
        ("judged = true", 'judged = "yes"', "boolean"),
        ('uvc = "', "uvc = 5 # ", "string"),
    ],
)
def test_a_wrong_entry_is_seen_by_an_editor(before, after, said):
    text = (ROOT / "scenes" / "clinic_locker.toml").read_text("utf-8")
    assert before in text
    found = " ".join(complaints("scene", as_json(text.replace(before, after))))
    assert any(word in found for word in said.split("|")), found


def test_a_new_scene_names_the_schema_that_lies_beside_it(tmp_path):
    for words in (["a"], ["b", "--demo"]):
        assert raysim_said("start", *words, folder=tmp_path).status == 0
        (scene,) = (tmp_path / words[0]).glob("*.toml")
        assert scene.read_text("utf-8").startswith(IN_FIRST_LINE)
        assert (scene.parent / SCENE_FILE).read_text("utf-8") == schema_text("scene")


def test_what_check_prints_keeps_to_its_schema(tmp_path):
    raysim_said("start", "box", folder=tmp_path)
    scene = tmp_path / "box" / "box.toml"
    scene.write_text(scene.read_text("utf-8").replace("title = ", "titel = "), encoding="utf-8")
    said = raysim_said("check", "box/box.toml", "--json", folder=tmp_path)
    record = json.loads(said.out)
    assert len(record["faults"]) >= 1
    assert complaints("check", record) == []
