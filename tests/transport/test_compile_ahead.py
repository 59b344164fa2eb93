"""The second process of a first run: it compiles what is needed, and nothing hangs on it."""

import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import numpy as np
import pytest

from raysim.dose.simulate import load_scene
from raysim.kernels import disk_cache
from raysim.kernels.run_cpu import trace_backward, trace_photons
from raysim.transport import precompile as ahead
from raysim.transport.kernel_scene import kernel_scene
from raysim.transport.paths import BackwardRun
from raysim.transport.photons import PhotonRun
from raysim.transport.precompile_process import compile_kernels
from raysim.transport.starts import Start

ROOT = Path(__file__).parents[2]
SCENE = ROOT / "scenes" / "clinic_locker.toml"
POSIX = pytest.mark.skipif(os.name == "nt", reason="signals and process numbers of POSIX")


@pytest.fixture
def second(monkeypatch):
    """A way to start a second process that runs the program given instead of compiling."""
    started = []

    def start(program):
        monkeypatch.setattr(ahead, "PROGRAM", program + "\n# {path!r}")
        started.append(ahead.SecondCompiler())
        return started[-1]

    yield start
    for compiler in started:
        compiler.stop()


@pytest.fixture
def counted(monkeypatch):
    """Times that `compile_ahead` started a process, where the cache is empty and two may run."""
    starts = []
    monkeypatch.setattr(ahead, "_running", None)
    monkeypatch.setattr(ahead, "is_warm", lambda name: False)
    monkeypatch.setattr(ahead, "cache_folder", lambda: Path("anywhere"))
    monkeypatch.setattr(ahead, "SecondCompiler", lambda: starts.append(1))
    monkeypatch.setattr(ahead.settings, "DISABLE_JIT", 0)
    return starts


def seconds_to_wait(compiler, name):
    """How long `wait_for` takes."""
    started = time.monotonic()
    compiler.wait_for(name)
    return time.monotonic() - started


def test_it_compiles_for_the_very_types_of_a_real_run():
    scene = load_scene(SCENE)
    arrays = kernel_scene(scene.triangles)
    forward = PhotonRun(arrays, seed=1, threads=2, batch_photons=64, stride=(1, 1, 4))
    forward.add_batches(1)
    backward = BackwardRun(arrays, scene.triangles, seed=1, threads=2, stride=(1, 1, 4))
    backward.add_starts([Start(0, faces=(0, 1), sides=(0, 0)), Start(1, faces=(2,), sides=(1,))])
    backward.add_paths(np.arange(2), np.ones(2, np.int64))
    before = list(trace_photons.signatures), list(trace_backward.signatures)
    told = []
    compile_kernels(told.append)
    assert told == list(ahead.KERNELS)
    assert (trace_photons.signatures, trace_backward.signatures) == before


def test_each_kernel_is_waited_for_by_itself(second):
    compiler = second(
        "import time; print('noise\\ntrace_photons', flush=True); input(); "
        "print('trace_backward', flush=True); time.sleep(60)"
    )
    compiler.wait_for("trace_photons")
    assert compiler._ready["trace_photons"].is_set()  # heard, not given up waiting for
    assert not compiler._ready["trace_backward"].is_set()
    compiler._process.stdin.write("go on\n")
    compiler._process.stdin.flush()
    compiler.wait_for("trace_backward")
    assert compiler._process.poll() is None
    compiler.stop()
    assert compiler._process.poll() is not None


@pytest.mark.parametrize(
    "program", ["raise SystemExit(1)", "import os; os.abort()", "import no_such_module", ")"]
)
def test_nobody_waits_for_a_process_that_failed(second, program):
    compiler = second(program)
    assert seconds_to_wait(compiler, "trace_backward") < 10.0


def test_what_it_says_of_the_cache_is_told_once(second, monkeypatch, caplog):
    monkeypatch.setattr(disk_cache, "_first_trouble", threading.Lock())
    compiler = second("print('warning: first'); print('warning: second')")
    compiler.wait_for("trace_backward")
    disk_cache.tell_trouble("third")
    assert [record.getMessage() for record in caplog.records] == ["warning: first"]


UNKEPT = """
import resource
resource.setrlimit(resource.RLIMIT_FSIZE, (1000, 1000))  # no file of the cache is shorter
from raysim.transport.precompile_process import run
run()
"""


@POSIX
def test_it_gives_up_where_nothing_can_be_handed_over(tmp_path):
    with subprocess.Popen(
        [sys.executable, "-c", UNKEPT],
        env=os.environ | {"NUMBA_CACHE_DIR": str(tmp_path), "PYTHONPATH": str(ROOT)},
        stdin=subprocess.PIPE,  # open as long as the first process runs
        stdout=subprocess.PIPE,
        text=True,
    ) as apart:
        (line,) = apart.stdout
        assert apart.wait(60) == 1
    assert line.startswith("warning: compiled kernels cannot be kept")


def test_nobody_waits_for_ever(second, monkeypatch):
    monkeypatch.setattr(ahead, "LONGEST_WAIT", 0.5)
    assert seconds_to_wait(second("import time; time.sleep(60)"), "trace_photons") < 10.0


@POSIX
def test_ctrl_c_is_heard_while_waiting(second):
    compiler = second("import time; time.sleep(60)")
    threading.Timer(0.5, os.kill, (os.getpid(), signal.SIGINT)).start()
    with pytest.raises(KeyboardInterrupt):
        compiler.wait_for("trace_photons")


@POSIX
def test_a_fork_neither_waits_nor_ends_it(second):
    compiler = second("import time; time.sleep(60)")
    child = os.fork()
    if child == 0:
        compiler.wait_for("trace_photons")
        compiler.stop()
        os._exit(0)
    os.waitpid(child, 0)
    assert compiler._process.poll() is None


def test_it_is_started_once(counted, monkeypatch):
    monkeypatch.setattr(ahead, "SecondCompiler", lambda: counted.append(1) or counted)
    ahead.compile_ahead(2)
    ahead.compile_ahead(2)
    assert len(counted) == 1


@pytest.mark.parametrize(
    ("where", "name", "value", "threads"),
    [
        (ahead, "is_warm", lambda name: True, 2),  # nothing is left to compile
        (ahead, "cache_folder", lambda: None, 2),  # no cache to hand it over
        (ahead.settings, "DISABLE_JIT", 1, 2),  # nothing is compiled
        (ahead.sys, "executable", "", 2),  # no Python to start
        (ahead, "KERNELS", ahead.KERNELS, 1),  # a single thread was asked for
    ],
)
def test_it_is_not_started_where_it_would_not_help(
    counted, monkeypatch, where, name, value, threads
):
    monkeypatch.setattr(where, name, value)
    ahead.compile_ahead(threads)
    assert not counted


def test_a_process_that_cannot_be_started_is_done_without(counted, monkeypatch):
    def refused():
        raise PermissionError("no process may be started")

    monkeypatch.setattr(ahead, "SecondCompiler", refused)
    ahead.compile_ahead(2)
    ahead.wait_until_compiled("trace_photons")


def is_running(number):
    """Whether a process of that number runs; one that has ended and waits to be reaped does not."""
    try:
        os.kill(number, 0)
        status = Path(f"/proc/{number}/stat")
        return not status.exists() or status.read_text().rpartition(")")[2].split()[0] != "Z"
    except (ProcessLookupError, FileNotFoundError):
        return False


@POSIX
def test_it_ends_with_the_first_process_even_if_that_is_killed(tmp_path):
    first = (
        "import os, signal, time\n"
        "from raysim.transport.precompile import SecondCompiler\n"
        "print(SecondCompiler()._process.pid, flush=True)\n"
        "time.sleep(1.0)\n"
        "os.kill(os.getpid(), signal.SIGKILL)\n"
    )
    told = subprocess.run(
        [sys.executable, "-c", first],
        env=os.environ | {"NUMBA_CACHE_DIR": str(tmp_path), "PYTHONPATH": str(ROOT)},
        stdout=subprocess.PIPE,
        text=True,
        check=False,
        timeout=60,
    )
    number = int(told.stdout)
    until = time.monotonic() + 20.0
    while is_running(number) and time.monotonic() < until:
        time.sleep(0.1)
    assert not is_running(number)
