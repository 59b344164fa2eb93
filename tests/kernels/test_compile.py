"""The disk cache of machine code must forget the physics of an older version.

Numba looks only at the file of a cached function, not at those of the functions it calls: after an
upgrade of a callee the caller would go on with the old one.
"""

import ast
import importlib
import inspect
import os
import shutil
import subprocess
import sys
from pathlib import Path

import numba
import numpy as np
import pytest

import raysim
from raysim.kernels import compile as compiling

PACKAGE = Path(raysim.__file__).parent
SCRIPT = """
import numpy as np
from raysim.kernels.compile import cache_folder
from raysim.kernels.emission import mantle_point
tube = np.array([[0.0, 0.0, 0.0, 0.0, 0.0, 1.0, 1.0, 1.0]])
print(cache_folder().name, *mantle_point(tube, 0, 0.5, 0.0)[3:])
print(sum(mantle_point.stats.cache_hits.values()))
"""
# A callee of `mantle_point` in another file, with its two vectors exchanged.
CHANGED = """

@kernel
def tangents(nx, ny, nz):
    return 0.0, 1.0, 0.0, 1.0, 0.0, 0.0
"""


@pytest.fixture
def installed(tmp_path):
    """A copy of the package that can be changed, and a way to ask it for a normal of a tube.

    Returns the copy, and a function that gives cache folder, normal and hits of the cache.
    """
    copy = tmp_path / "site" / "raysim"
    for room in ("base", "kernels"):
        shutil.copytree(PACKAGE / room, copy / room, ignore=shutil.ignore_patterns("__pyca*"))
    for name in ("__init__.py", "version.py"):
        shutil.copy(PACKAGE / name, copy / name)
    environment = os.environ | {
        "PYTHONPATH": str(copy.parent),
        "NUMBA_CACHE_DIR": str(tmp_path / "cache"),
    }

    def ask():
        told = subprocess.run(
            [sys.executable, "-c", SCRIPT],
            env=environment,
            capture_output=True,
            text=True,
            check=True,
            cwd=tmp_path,
        ).stdout.split()
        return told[0], [float(number) for number in told[1:4]], int(told[4])

    return copy, ask


def change_callee(copy):
    """Append another `tangents` to the copy's vectors."""
    with (copy / "kernels" / "vectors.py").open("a") as file:
        file.write(CHANGED)


def test_a_changed_callee_changes_the_result(installed):
    copy, ask = installed
    folder, before, hits = ask()
    assert before == [1.0, 0.0, 0.0]
    assert hits == 0
    assert ask() == (folder, before, 1)  # the cache works at all
    change_callee(copy)
    new_folder, after, hits = ask()
    assert new_folder != folder
    assert after == [0.0, 1.0, 0.0]
    assert hits == 0


@pytest.mark.slow  # it says why the test above is made, and finds nothing in the package
def test_without_the_hash_the_old_physics_would_run(installed):
    # The planted error: a folder that does not depend on the sources.
    copy, ask = installed
    with (copy / "kernels" / "compile.py").open("a") as file:
        file.write('\n\ndef source_hash(folder=None):\n    return "fixed"\n')
    _, before, _ = ask()
    change_callee(copy)
    assert ask() == ("kernels-fixed", before, 1)


def test_hash_depends_on_every_source_and_its_name(tmp_path):
    compiling.source_hash.cache_clear()
    hashes = []
    (tmp_path / "deeper").mkdir()
    for name, text in (
        ("a.py", "x = 1"),
        ("a.py", "x = 2"),
        ("b.py", ""),
        ("deeper/c.py", "x = 1"),
        ("deeper/c.py", "x = 1 "),
    ):
        (tmp_path / name).write_text(text)
        compiling.source_hash.cache_clear()
        hashes.append(compiling.source_hash(tmp_path))
    (tmp_path / "deeper" / "c.py").rename(tmp_path / "deeper" / "d.py")
    compiling.source_hash.cache_clear()
    hashes.append(compiling.source_hash(tmp_path))
    assert len(set(hashes)) == 6
    (tmp_path / "note.txt").write_text("not a source")
    compiling.source_hash.cache_clear()
    assert compiling.source_hash(tmp_path) == hashes[-1]


def test_hash_covers_all_that_kernels_can_call():
    # The hash is over this folder: its modules may import nothing else that is compiled.
    for path in compiling.KERNEL_FOLDER.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            if isinstance(node, ast.ImportFrom):
                assert node.level == 0
                names = [node.module]
            for name in names:
                known = name.split(".")[0] in {
                    *sys.stdlib_module_names,
                    "numpy",
                    "numba",
                    "llvmlite",
                    "platformdirs",
                }
                assert known or name.startswith("raysim.kernels."), f"{path.name} imports {name}"


def test_no_cache_where_nothing_can_be_written(tmp_path, monkeypatch):
    blocked = tmp_path / "file"
    blocked.write_text("")
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(blocked))
    compiling.cache_folder.cache_clear()
    try:
        assert compiling.cache_folder() is None
        assert not compiling.is_warm("trace_backward")
        assert compiling.kernel(lambda x: x + 1.0)(1.0) == 2.0
    finally:
        compiling.cache_folder.cache_clear()


def test_kernels_divide_as_ieee_and_are_not_reordered():
    function = compiling.kernel(lambda x, y: (x / y, x + y - x))
    assert function(1.0, 0.0)[0] == float("inf")
    assert function(-1.0, 0.0)[0] == float("-inf")
    nan = function(0.0, 0.0)[0]
    assert nan != nan
    assert function(1e16, 1.0)[1] == 0.0  # fast-math would give 1


def plain_constants(module):
    """Calls of one kernel by another that hand over a plain number or truth value: lines of them.

    Numba takes such a constant for a type of its own and compiles the function once more for it.
    """

    def is_plain(node):
        value = node
        if isinstance(node, ast.UnaryOp):
            value = node.operand
        if isinstance(value, ast.Constant):
            return type(value.value) in (int, bool)
        return isinstance(value, ast.Name) and type(vars(module).get(value.id)) in (int, bool)

    for node in ast.walk(ast.parse(inspect.getsource(module))):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            called = vars(module).get(node.func.id)
            if isinstance(called, numba.core.dispatcher.Dispatcher):
                yield from (node.lineno for argument in node.args if is_plain(argument))


@pytest.mark.parametrize(
    "name",
    # The plain loops of `side_by_side` are compiled by tests alone.
    sorted({path.stem for path in compiling.KERNEL_FOLDER.glob("*.py")} - {"side_by_side"}),
)
def test_no_kernel_is_compiled_once_more_for_a_plain_constant(name):
    module = importlib.import_module(f"raysim.kernels.{name}")
    assert list(plain_constants(module)) == []


def test_plain_constants_are_seen(tmp_path, monkeypatch):
    # The planted error: what the kernels did before, by word and by name.
    lines = (
        "from raysim.kernels.traverse import nearest_tube as inner",
        "SKIPPED = 3",
        "def outer(tubes, n, o, d):",
        "    inner(tubes, n, *o, *d, 1.0, -1, n)",
        "    inner(tubes, n, *o, *d, 1.0, n, SKIPPED)",
        "    inner(tubes, n, *o, *d, 1.0, n, False)",
        "    return max(0, 1)",
    )
    (tmp_path / "planted_constants.py").write_text("\n".join(lines))
    monkeypatch.syspath_prepend(tmp_path)
    assert list(plain_constants(importlib.import_module("planted_constants"))) == [4, 5, 6]


def uncounted_allocations(module):
    """Kernels of a module that call an allocating one and do not say so themselves: their names.

    Nothing would free what they were handed.
    """

    def allocates(name):
        called = vars(module).get(name)
        is_kernel = isinstance(called, numba.core.dispatcher.Dispatcher)
        return is_kernel and called.targetoptions["_nrt"]

    for node in ast.parse(inspect.getsource(module)).body:
        if isinstance(node, ast.FunctionDef):
            kernel = vars(module)[node.name]
            if isinstance(kernel, numba.core.dispatcher.Dispatcher) and not allocates(node.name):
                calls = [n.func for n in ast.walk(node) if isinstance(n, ast.Call)]
                if any(isinstance(f, ast.Name) and allocates(f.id) for f in calls):
                    yield node.name


@pytest.mark.parametrize(
    "name", sorted({path.stem for path in compiling.KERNEL_FOLDER.glob("*.py")})
)
def test_kernels_that_are_handed_new_arrays_say_so(name):
    module = importlib.import_module(f"raysim.kernels.{name}")
    assert list(uncounted_allocations(module)) == []


def test_uncounted_allocations_are_seen(tmp_path, monkeypatch):
    lines = (
        "from raysim.kernels.compile import kernel",
        "from raysim.kernels.traverse import new_scratch",
        "@kernel",
        "def forgets():",
        "    return new_scratch()[1][0]",
        "@kernel(allocates=True)",
        "def counts():",
        "    return new_scratch()[1][0]",
    )
    (tmp_path / "planted_allocations.py").write_text("\n".join(lines))
    monkeypatch.syspath_prepend(tmp_path)
    module = importlib.import_module("planted_allocations")
    assert list(uncounted_allocations(module)) == ["forgets"]


@pytest.mark.parametrize("allocates", [False, True])
def test_references_are_counted_only_where_arrays_are_allocated(allocates, monkeypatch):
    monkeypatch.setattr(compiling, "cache_folder", lambda: None)  # cached code cannot be read
    # The control: numba does count for an array that is taken out of a tuple of them.
    function = compiling.kernel(lambda pair, i: pair[i][0], allocates=allocates)
    pair = (np.ones(3), np.ones(3))
    assert function(pair, 1) == 1.0
    (code,) = function.inspect_llvm().values()
    assert ("NRT_decref(" in code) == allocates
