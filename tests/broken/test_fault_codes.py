"""Codes of faults: one list, all of them in use, and nothing decided by the words of a fault."""

import ast
import re
from pathlib import Path

import pytest
import scene_corpus
from small_scenes import faults_of

import raysim
from raysim.base.fault_codes import Code

PACKAGE = Path(raysim.__file__).parent
LIST = PACKAGE / "base" / "fault_codes.py"
SOURCES = [path for path in sorted(PACKAGE.rglob("*.py")) if path != LIST]
# What is called to make a fault; the first argument (after a scene or a report) is its code.
MAKERS = re.compile(r"^(\w+\.)?(Fault|MeshFault|scene_fault)$|\bnotes\.(error|warning)$")


def trees():
    return [(path, ast.parse(path.read_text(encoding="utf-8"))) for path in SOURCES]


def test_codes_are_short_words_each_in_use():
    assert len(Code) > 50
    for code in Code:
        assert re.fullmatch(r"[a-z]+(-[a-z]+){0,3}", code), code
        assert code.name == code.value.upper().replace("-", "_")
    text = "".join(path.read_text(encoding="utf-8") for path in SOURCES)
    used = set(re.findall(r"\bCode\.([A-Z_]+)", text))
    assert used == set(Code.__members__)


def test_every_fault_is_made_with_a_code():
    made = 0
    for path, tree in trees():
        for node in ast.walk(tree):
            if isinstance(node, ast.Call) and MAKERS.match(ast.unparse(node.func)):
                first = [ast.unparse(argument) for argument in node.args[:2]]
                assert any("code" in word.lower() for word in first), f"{path}:{node.lineno}"
                made += 1
    assert made > 60


def test_nothing_is_decided_by_the_words_of_a_fault():
    words = re.compile(r"\b(fault|f)\.(what|mend)\b|\bstr\((fault|f)\)")
    for path, tree in trees():
        for node in ast.walk(tree):
            decides = isinstance(node, ast.Compare) or (
                isinstance(node, ast.Call)
                and isinstance(node.func, ast.Attribute)
                and node.func.attr in ("startswith", "endswith", "find", "index", "match", "search")
            )
            assert not (decides and words.search(ast.unparse(node))), f"{path}:{node.lineno}"


@pytest.mark.parametrize(
    ("name", "code"),
    [
        ("unknown-key", "unknown-key"),
        ("empty", "missing-key"),
        ("inside-nan", "bad-value"),
        ("many-keys", "more-faults"),
        ("none", "scene-unreadable"),
        ("cut-short", "not-toml"),
        ("deep-key", "not-toml"),
        ("lining-unknown", "unknown-surface"),
        ("wall-unknown", "unknown-wall"),
        ("part-unknown", "unknown-part"),
        ("nothing-judged", "nothing-judged"),
        ("object-called-like-a-lamp", "name-taken"),
        ("mesh-missing", "mesh-missing"),
        ("mesh-is-the-scene", "mesh-format"),
        ("chamber-of-a-plate", "box-open"),
        ("edge-micrometre", "edge-too-short"),
        ("box-of-metres", "box-size"),
        ("lamp-barrel", "lamp-diameter"),
        ("uvc-of-the-mains", "mains-watts"),
        ("uvc-of-a-sun", "lamp-power"),
        ("lamp-outside", "outside-box"),
        ("lamp-through-the-wall", "cuts-wall"),
        ("lamp-in-a-lamp", "cuts-other"),
        ("plate-on-the-wall", "lies-on-other"),
        ("gap-in-no-wall", "gap-no-wall"),
        ("gap-off-its-wall", "gap-off-wall"),
        ("gap-beyond-the-box", "gap-beyond-wall"),
        ("gap-wider-than-the-box", "gap-too-wide"),
    ],
)
def test_a_broken_scene_has_the_code_of_its_fault(tmp_path, name, code):
    (case,) = (c for key, c in scene_corpus.CASES.items() if key.partition(":")[2] == name)
    case.write(tmp_path)
    assert code in {fault.code for fault in faults_of(tmp_path / "scene.toml")}
