"""How the package is built: rooms and arrows of import, sizes, docstrings, words."""

import ast
import re
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "raysim"
LONGEST_MODULE = 400  # lines
LONGEST_FUNCTION = 60  # lines without the docstring

# The rooms from the street to the cellar: a room imports from those below it, never from above.
ROOMS = (
    "cli",
    "page",
    "output.studies", "output.viewer", "output.files", "output.pages", "output.pictures",
    "output.words",
    "verdict",
    "studies",
    "assess",
    "dose",
    "estimate",
    "transport",
    "workshop",
    "scene",
    "logbook",
    "library",
    "starter", "kernels", "base",
)  # fmt: skip
# What stands in no room: the front door.
AT_THE_DOOR = {"", "__main__", "front_door", "version"}
LEVEL = {room: level for level, room in enumerate(ROOMS)}
KERNELS_MAY_IMPORT = {"math", "numpy", "numba", "llvmlite", "typing"}
# The cache of machine code lives among files and folders, the records are plain tuples.
OF_FILES = {"hashlib", "os", "sys", "pathlib"}
OF_FILES |= {"collections", "contextlib", "functools", "typing"}
KERNELS_MAY_ALSO_IMPORT = {
    "compile": OF_FILES | {"platformdirs"},
    "disk_cache": OF_FILES | {"logging", "pickle", "threading", "uuid"},
    "records": {"typing"},
    "undisturbed": {"signal", "threading", "types"},
}
FORBIDDEN = re.compile("steril", re.IGNORECASE)


@cache
def modules() -> list[Path]:
    """Every Python source of the package."""
    return sorted(PACKAGE.rglob("*.py"))


def dotted(path: Path) -> str:
    """Name of a module within the package, such as scene.build; "" for the package itself."""
    parts = path.relative_to(PACKAGE).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


@cache
def tree(path: Path) -> ast.Module:
    """Syntax tree of a source."""
    return ast.parse(path.read_text(encoding="utf-8"))


@cache
def full_names() -> frozenset[str]:
    """Names of all modules as they are imported."""
    return frozenset(f"raysim.{dotted(path)}" for path in modules())


@cache
def imports(path: Path) -> frozenset[str]:
    """Full names that a module imports, wherever in it."""
    known, found = full_names(), set()
    for node in ast.walk(tree(path)):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            for alias in node.names:
                whole = f"{node.module}.{alias.name}"
                found.add(whole if whole in known else str(node.module))
    return frozenset(found)


def own_imports(path: Path) -> set[str]:
    """Modules of the package, by dotted name, that a module imports."""
    return {name.removeprefix("raysim.") for name in imports(path) if name.startswith("raysim.")}


def room(name: str) -> str:
    """The room that a module lies in, by its dotted name; those of output are rooms of their own."""
    parts = name.split(".")
    return ".".join(parts[:2]) if parts[0] == "output" and len(parts) > 1 else parts[0]


def arrows():
    """Both ends of every import within the package that leads from one room to another."""
    for path in modules():
        here = room(dotted(path))
        if here in AT_THE_DOOR:
            continue  # the package itself opens its public names on first use
        for name in own_imports(path):
            there = room(name)
            if there not in AT_THE_DOOR and there != here:
                yield dotted(path), name


def test_arrows_of_import_point_down():
    upwards = [(a, b) for a, b in arrows() if LEVEL[room(a)] >= LEVEL[room(b)]]
    assert upwards == []
    assert len(list(arrows())) > 500


def test_every_module_lies_in_a_room():
    known = {room(dotted(path)) for path in modules()} - AT_THE_DOOR - {"output"}
    assert known <= set(ROOMS)
    loose = {path.name for path in PACKAGE.glob("*.py")}
    assert loose == {"__init__.py", "__main__.py", "front_door.py", "version.py"}


def test_tests_lie_in_folders_that_mirror_the_rooms():
    """But for physics, other programs and broken input, which are of no one room."""
    rooms = {room.split(".")[0] for room in ROOMS}
    folders = {path.parent.name for path in (ROOT / "tests").glob("*/test_*.py")}
    assert folders == rooms | {"physics", "peers", "broken"}


def test_no_module_imports_itself_by_a_detour():
    arrows = {dotted(path): own_imports(path) for path in modules() if dotted(path)}
    # A package counts as imported with its modules only where it is named itself.
    done: set[str] = set()

    def visit(name: str, way: tuple[str, ...]) -> None:
        assert name not in way, f"circle of imports: {' -> '.join((*way, name))}"
        if name not in done:
            for other in arrows.get(name, set()):
                visit(other, (*way, name))
            done.add(name)

    for name in arrows:
        visit(name, ())


@pytest.mark.parametrize("path", sorted((PACKAGE / "kernels").glob("*.py")), ids=dotted)
def test_kernels_know_nothing_but_arithmetic(path):
    allowed = KERNELS_MAY_IMPORT | KERNELS_MAY_ALSO_IMPORT.get(path.stem, set())
    for name in imports(path):
        assert name.startswith("raysim.kernels") or name.split(".")[0] in allowed, name


def test_only_the_command_line_imports_the_command_line():
    for path in modules():
        if dotted(path).split(".")[0] not in ("cli", "front_door"):
            assert not any(name.split(".")[0] == "cli" for name in own_imports(path)), path


def test_scene_and_physics_know_nothing_of_terminals_and_pictures():
    outer = {"click", "rich", "jinja2", "matplotlib", "pyvista"}
    for path in modules():
        if dotted(path).split(".")[0] not in ("cli", "output"):
            assert not {name.split(".")[0] for name in imports(path)} & outer, path


def test_modules_are_short():
    lines = {dotted(path): path.read_text(encoding="utf-8").count("\n") for path in modules()}
    assert {name: count for name, count in lines.items() if count > LONGEST_MODULE} == {}


def functions(path: Path):
    """Every function of a module with its count of lines, docstring left out."""
    for node in ast.walk(tree(path)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            lines = node.end_lineno - node.lineno + 1
            if ast.get_docstring(node) is not None:
                lines -= node.body[0].end_lineno - node.body[0].lineno + 1
            yield node, lines


def test_functions_are_short():
    lines = [(dotted(path), f.name, count) for path in modules() for f, count in functions(path)]
    assert [one for one in lines if one[-1] > LONGEST_FUNCTION] == []


def public(body: list[ast.stmt], within: str = ""):
    """Public classes, functions and methods of a module, with their names."""
    for node in body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_"):
            yield node, f"{within}{node.name}"
            if isinstance(node, ast.ClassDef):
                yield from public(node.body, f"{node.name}.")


def test_everything_public_says_what_it_is():
    for path in modules():
        assert ast.get_docstring(tree(path)), f"{dotted(path)} has no docstring"
        silent = [name for node, name in public(tree(path).body) if not ast.get_docstring(node)]
        assert silent == [], dotted(path)


def test_only_the_command_line_prints():
    for path in modules():
        if dotted(path).startswith("cli"):
            continue
        for node in ast.walk(tree(path)):
            if isinstance(node, ast.Call):
                called = ast.unparse(node.func)
                where = f"{dotted(path)}, line {node.lineno}"
                assert called not in ("print", "click.echo", "builtins.print"), where


def texts() -> list[Path]:
    """Every text that comes with the project, tests left out."""
    found = [*PACKAGE.rglob("*"), *(ROOT / "scenes").rglob("*"), *(ROOT / "meshes").rglob("*")]
    found += [*ROOT.glob("*.md"), *(ROOT / "benchmarks").rglob("*"), ROOT / "pyproject.toml"]
    kinds = {
        ".py",
        ".toml",
        ".json",
        ".j2",
        ".css",
        ".js",
        ".md",
        ".obj",
        ".txt",
        ".html",
        ".jsonl",
    }
    return sorted(path for path in found if path.suffix in kinds and path.is_file())


def test_no_text_claims_more_than_light_on_surfaces():
    assert len(texts()) > 60
    said = [path for path in texts() if FORBIDDEN.search(path.read_text(encoding="utf-8"))]
    assert said == []


def test_no_text_promises_work_to_come():
    words = re.compile(r"\b(TODO|FIXME|XXX|HACK)\b")
    assert [path for path in texts() if words.search(path.read_text(encoding="utf-8"))] == []
