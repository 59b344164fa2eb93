"""The cache of compiled kernels, damaged in every way that came to mind.

No damage may end a run, change a result or run as machine code. Each is done to a small package of
two kernels, in a process of its own (forked from one that has loaded numba).
"""

import errno
import json
import os
import random
import shutil
import struct
import threading
from dataclasses import dataclass
from dataclasses import replace as replaced
from pathlib import Path

import pytest
from watchdog import Kennel

from raysim.kernels import compile as compiling
from raysim.kernels import disk_cache
from raysim.kernels.disk_cache import sound_content, write_whole

FACTOR = 3.7
KERNELS = f"""
from raysim.kernels.compile import kernel

@kernel
def inner(x):
    return x * {FACTOR}

@kernel
def outer(x, y):
    return inner(x) + y
"""
ASK = """
import json, sys
from raysim.kernels import compile
compile.cache_folder.cache_clear()
sys.path.insert(0, {package!r})
from two_kernels import inner, outer
print(json.dumps([outer(2.0, 1.0), sum(outer.stats.cache_hits.values())]))
"""
RIGHT = 2.0 * FACTOR + 1.0
POSIX = pytest.mark.skipif(os.name == "nt", reason="links and limits of POSIX")


@dataclass(frozen=True)
class Installed:
    """The two kernels, and a cache of their own."""

    package: Path
    cache: Path
    kennel: Kennel

    def file(self, name: str) -> Path:
        """The only file of one of them."""
        (found,) = self.cache.glob(f"kernels-*/two_kernels.{name}-*.nbc")
        return found

    def left_over(self) -> list[str]:
        """Names of what lies in the cache beside sound files."""
        return [path.name for path in self.cache.glob("kernels-*/*") if path.suffix != ".nbc"]

    def ask(self, before: str = "") -> tuple[float, int, list[str]]:
        """Result, hits of the cache, and lines on standard error, of a process of its own."""
        before += ASK.format(package=str(self.package))
        cache = str(self.cache)
        run = self.kennel.run(folder=self.package, before=before, NUMBA_CACHE_DIR=cache)
        assert run.status == 0, (run.status, run.err)
        return *json.loads(run.out), run.err.splitlines()


@pytest.fixture(scope="module")
def compiled(tmp_path_factory, kennel):
    """The two kernels with a good cache, which no test may touch."""
    folder = tmp_path_factory.mktemp("two_kernels")
    (folder / "two_kernels.py").write_text(KERNELS)
    good = Installed(folder, folder / "cache", kennel)
    assert good.ask() == (RIGHT, 0, [])
    return good


@pytest.fixture
def installed(compiled, tmp_path):
    """The two kernels with a good cache that may be damaged."""
    shutil.copytree(compiled.cache, tmp_path / "cache")
    return replaced(compiled, cache=tmp_path / "cache")


@pytest.fixture
def heard(monkeypatch, caplog):
    """Warnings about the cache in this process, none so far."""
    monkeypatch.setattr(disk_cache, "_first_trouble", threading.Lock())
    return caplog


def flip(path, share):
    content = bytearray(path.read_bytes())
    content[int((len(content) - 1) * share)] ^= 0x10
    path.write_bytes(content)


def replace(path, by):
    path.unlink()
    by(path)


def fill_folder(path):
    path.mkdir()
    (path / "something").write_text("of somebody")


DAMAGES = {
    "empty": lambda path: path.write_bytes(b""),
    "cut at half": lambda path: path.write_bytes(path.read_bytes()[: path.stat().st_size // 2]),
    "flipped in the hash": lambda path: flip(path, 0.0),
    "flipped in the middle": lambda path: flip(path, 0.5),
    "flipped near the end": lambda path: flip(path, 0.999),
    "garbage": lambda path: path.write_bytes(random.Random(1).randbytes(9000)),
    "sound but no pickle": lambda path: write_whole(path, b"no pickle"),
    "sound but another's": lambda path: shutil.copy(*path.parent.glob("*.inner-*"), path),
    "a folder": lambda path: replace(path, fill_folder),
}
DAMAGES_OF_POSIX = {
    "a link to nothing": lambda path: replace(path, lambda p: p.symlink_to("nothing")),
    "a link to itself": lambda path: replace(path, lambda p: p.symlink_to(p)),
}
IN_ANY_WAY = [
    *(pytest.param(damage, id=name) for name, damage in DAMAGES.items()),
    *(pytest.param(d, id=name, marks=POSIX) for name, d in DAMAGES_OF_POSIX.items()),
]


def test_a_sound_cache_is_used_without_a_word(installed):
    assert installed.ask() == (RIGHT, 1, [])


@pytest.mark.parametrize("damage", IN_ANY_WAY)
def test_a_damaged_file_is_told_once_and_compiled_anew(installed, damage):
    path = installed.file("outer")
    damage(path)
    result, hits, (line,) = installed.ask()
    assert (result, hits) == (RIGHT, 0)
    assert line.startswith("warning: a file of compiled kernels cannot be used")
    assert path.name in line
    assert sound_content(path)
    assert installed.left_over() == [f"{path.name}.damaged"]


@pytest.mark.parametrize("name", ["a folder", "flipped in the middle"])
def test_the_next_run_finds_it_mended(installed, name):
    DAMAGES[name](installed.file("outer"))
    installed.ask()
    assert installed.ask() == (RIGHT, 1, [])


def test_several_damaged_files_are_one_warning(installed):
    for name in ("inner", "outer"):
        flip(installed.file(name), 0.5)
    result, hits, lines = installed.ask()
    assert (result, hits, len(lines)) == (RIGHT, 0, 1)
    assert len(installed.left_over()) == 2


UNREADABLE = """
import errno, pathlib
read = pathlib.Path.read_bytes
def refused(path):
    if path.suffix == ".nbc":
        raise PermissionError(errno.EACCES, "Permission denied", str(path))
    return read(path)
pathlib.Path.read_bytes = refused
"""


def test_a_file_that_may_not_be_read_is_compiled_anew(installed):
    result, hits, (line,) = installed.ask(UNREADABLE)
    assert (result, hits) == (RIGHT, 0)
    assert "Permission denied" in line


FAILS = """
import errno, os, pathlib
def fails(number):
    def fail(*words, **options):
        raise OSError(number, os.strerror(number))
    return fail
"""
READ_ONLY = """
opened = pathlib.Path.open
def read_only(path, mode="r", *words, **options):
    return (opened if "r" in mode else fails(errno.EROFS))(path, mode, *words, **options)
pathlib.Path.open = read_only
pathlib.Path.replace = fails(errno.EROFS)
"""
NO_WRITING = {
    "disk full": "pathlib.Path.replace = fails(errno.ENOSPC)",
    "read-only": READ_ONLY,
    "file too long": "import resource; resource.setrlimit(resource.RLIMIT_FSIZE, (1000, 1000))",
    "no folder": "pathlib.Path.mkdir = fails(errno.EACCES)",
}


@pytest.mark.parametrize(
    "way",
    [pytest.param(way, marks=POSIX if "resource" in NO_WRITING[way] else ()) for way in NO_WRITING],
)
def test_what_cannot_be_written_is_compiled_in_memory(compiled, tmp_path, way):
    empty = replaced(compiled, cache=tmp_path / "cache")
    result, hits, (line,) = empty.ask(FAILS + NO_WRITING[way])
    assert (result, hits) == (RIGHT, 0)
    assert line.startswith("warning: compiled kernels cannot be kept")
    assert str(empty.cache) in line
    assert [path for path in tmp_path.rglob("*") if path.is_file()] == []


@pytest.mark.parametrize("way", ["disk full", "read-only"])
def test_a_damaged_file_that_cannot_be_mended_is_no_hindrance(installed, way):
    path = installed.file("outer")
    flip(path, 0.5)
    result, hits, lines = installed.ask(FAILS + NO_WRITING[way])
    assert (result, hits, len(lines)) == (RIGHT, 0, 1)
    assert path.exists()  # it could not be set aside either


def test_a_sound_cache_that_cannot_be_written_is_used(installed):
    assert installed.ask(FAILS + READ_ONLY) == (RIGHT, 1, [])


@pytest.mark.parametrize("where", ["cache", "cache/kernels"])
def test_a_file_in_place_of_the_folder_is_told(installed, where):
    folder = installed.cache if where == "cache" else installed.file("outer").parent
    shutil.rmtree(folder)
    folder.write_text("no folder")
    result, hits, (line,) = installed.ask()
    assert (result, hits) == (RIGHT, 0)
    assert line.startswith("warning: compiled kernels cannot be kept")


UNCHECKED = """
import raysim.kernels.disk_cache as cache
cache.sound_content = lambda path: path.read_bytes()[cache.HASH_SIZE:] if path.exists() else None
"""


def flip_factor(path):
    """Flip one bit of the factor that stands in the machine code."""
    content = path.read_bytes()
    factor = struct.pack("<d", FACTOR)
    assert factor in content
    path.write_bytes(content.replace(factor, factor[:6] + bytes([factor[6] ^ 1]) + factor[7:]))


def test_a_flipped_bit_of_machine_code_is_not_run(installed):
    flip_factor(installed.file("outer"))
    result, hits, lines = installed.ask()
    assert (result, hits, len(lines)) == (RIGHT, 0, 1)


def test_without_the_hash_a_flipped_bit_would_be_run_is_seen(installed):
    # The planted error: a wrong number, and nobody says a word.
    flip_factor(installed.file("outer"))
    result, hits, lines = installed.ask(UNCHECKED)
    assert (hits, lines) == (1, [])
    assert abs(result - RIGHT) > 0.01


def test_every_flipped_bit_and_every_cut_is_seen(tmp_path, heard):
    content = random.Random(2).randbytes(60)
    path = tmp_path / "x.nbc"
    write_whole(path, content)
    assert sound_content(path) == content
    whole = path.read_bytes()
    wrong = [whole + b"\0", bytes(len(whole)), *(whole[:length] for length in range(len(whole)))]
    for at in range(len(whole)):
        wrong += [whole[:at] + bytes([whole[at] ^ 1 << bit]) + whole[at + 1 :] for bit in range(8)]
    for damaged in wrong:
        path.write_bytes(damaged)
        assert sound_content(path) is None
        assert not path.exists()
    assert len(heard.records) == 1


def test_who_writes_at_once_leaves_a_whole_file(tmp_path, heard):
    path = tmp_path / "x.nbc"
    contents = [bytes([number]) * 200_000 for number in range(4)]
    write_whole(path, contents[0])

    def write(content):
        for _ in range(50):
            write_whole(path, content)

    writers = [threading.Thread(target=write, args=(content,)) for content in contents]
    for writer in writers:
        writer.start()
    read = 0
    while any(writer.is_alive() for writer in writers) or read == 0:
        assert sound_content(path) in contents
        read += 1
    assert [each.name for each in tmp_path.iterdir()] == ["x.nbc"]
    assert heard.records == []


def test_nothing_is_left_of_a_write_that_failed(tmp_path, monkeypatch):
    def full(*args):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(Path, "replace", full)
    with pytest.raises(OSError, match="No space"):
        write_whole(tmp_path / "x.nbc", b"content")
    assert list(tmp_path.iterdir()) == []


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """A cache folder of its own for what is decorated in this process."""
    monkeypatch.setattr(compiling, "cache_folder", lambda: tmp_path)
    return tmp_path


def test_types_and_options_have_files_of_their_own(folder):
    def half(x):
        return x / 2

    plain = compiling.kernel(half)
    for value in (1.0, 1, 3.0):
        assert plain(value) == value / 2
    assert len(list(folder.iterdir())) == 2
    assert compiling.kernel(half, inlined=True)(1.0) == 0.5
    assert len(list(folder.iterdir())) == 3
    again = compiling.kernel(half)
    assert (again(5.0), again(5)) == (2.5, 2.5)
    assert sum(again.stats.cache_hits.values()) == 2


def test_what_encloses_something_or_has_no_file_is_not_kept(folder):
    for factor in (2.0, 3.0):
        assert compiling.kernel(lambda x: x * factor)(1.0) == factor  # noqa: B023
    spoken: dict = {}
    exec("def twice(x):\n    return x * 2.0", spoken)
    assert compiling.kernel(spoken["twice"])(1.0) == 2.0
    assert list(folder.iterdir()) == []


def test_a_damaged_kernel_is_not_warm(folder, heard):
    write_whole(folder / "module.trace-1-0.nbc", b"content")
    assert compiling.is_warm("trace")
    flip(folder / "module.trace-1-0.nbc", 0.9)
    assert not compiling.is_warm("trace")
    assert len(heard.records) == 1
