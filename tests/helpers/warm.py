"""An interpreter that has loaded raysim: a program started by it is a fork, milliseconds after.

`warm_python` gives a path to take for `sys.executable`. The small program there hands its outputs,
folder, environment and words to a process that has loaded all and forks; signals reach the fork,
which dies with the small program. What it starts by `sys.executable` is warm as well.
"""

import gc
import json
import os
import runpy
import select
import signal
import socket
import subprocess
import sys
import tempfile
import traceback
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import raysim

HERE = Path(__file__).parent
LITTLE = "RAYSIM_TESTS_TRACE_LITTLE"  # set where what is started is to trace little
CLIENT = """#!{python} -IS
import json, os, signal, socket, sys
line = socket.socket(socket.AF_UNIX)
line.connect({address!r})
task = {{"words": sys.argv[1:], "folder": os.getcwd(), "environment": dict(os.environ)}}
task = json.dumps(task).encode()
socket.send_fds(line, [len(task).to_bytes(4, "big")], [0, 1, 2])
line.sendall(task)
for number in (signal.SIGINT, signal.SIGTERM):
    signal.signal(number, lambda number, _: line.send(bytes([number])))
status = int.from_bytes(line.recv(4), "big", signed=True)
if status < 0:
    signal.signal(-status, signal.SIG_DFL)
    os.kill(os.getpid(), -status)
sys.exit(status)
"""


@contextmanager
def warm_python() -> Iterator[str]:
    """Path of the interpreter, as long as it is needed; the usual one where it cannot be had."""
    if not hasattr(os, "pidfd_open"):
        yield sys.executable
        return
    with tempfile.TemporaryDirectory() as folder:
        client, address = Path(folder, "python"), str(Path(folder, "line"))
        client.write_text(CLIENT.format(python=sys.executable, address=address))
        client.chmod(0o700)
        path = os.pathsep.join([str(Path(raysim.__file__).parents[1]), str(HERE)])
        environment = os.environ | {"PYTHONPATH": path, "OPENBLAS_NUM_THREADS": "1"}
        words = [sys.executable, __file__, address, str(client)]
        pipe = subprocess.PIPE
        with subprocess.Popen(words, stdin=pipe, stdout=pipe, env=environment) as process:
            assert process.stdout.readline() == b"ready\n"
            yield str(client)


def load() -> None:
    """Load what the page and its jobs need, and trace a little, with one thread alone."""
    import threading
    from contextlib import chdir

    import uvicorn.protocols.websockets.websockets_sansio_impl  # noqa: F401
    from running import QUICK, raysim_said
    from small_scenes import write_scene

    import raysim.page.desk
    import raysim.page.server
    import raysim.page.sketch.process  # noqa: F401

    del sys.modules["raysim.page.sketch.process"]  # else `python -m` warns
    with tempfile.TemporaryDirectory() as folder, chdir(folder):
        words = ("dose", write_scene(Path(folder)).name, *QUICK, "--no-pictures", "--threads", "1")
        assert raysim_said(*words, folder=Path(folder), batch=512).status in (0, 3)
    assert threading.active_count() == 1, threading.enumerate()
    gc.collect()
    gc.freeze()  # else every fork copies what its collector looks through


def trace_little() -> None:
    """Have this process trace in small batches and to a coarse precision, for good."""
    from running import SMALL_BATCH, batches_of

    from raysim.dose import simulate

    batches_of(SMALL_BATCH).__enter__()
    simulate.DEFAULT_PRECISION = 0.2


def run(task: dict, client: str) -> int:
    """What the interpreter would do with the words; its exit status."""
    if LITTLE in task["environment"]:
        trace_little()
    os.chdir(task["folder"])
    os.environ.clear()
    os.environ.update(task["environment"])
    signal.signal(signal.SIGINT, signal.default_int_handler)
    words = task["words"]
    if words[0] != "-m":
        os.execv(sys.executable, [sys.executable, *words])
    sys.executable, sys.argv = client, words[1:]
    try:
        runpy.run_module(words[1], run_name="__main__", alter_sys=True)
    except SystemExit as stop:
        return stop.code if isinstance(stop.code, int) else bool(stop.code)
    except BaseException:
        traceback.print_exc()
        return 1
    return 0


def attend(line: socket.socket, client: str) -> None:
    """Fork, pass signals on, and tell how the fork has ended; it dies with who asked for it."""
    signal.signal(signal.SIGCHLD, signal.SIG_DFL)
    size, outputs, _, _ = socket.recv_fds(line, 4, 3)
    text = b""
    while len(text) < int.from_bytes(size, "big"):
        text += line.recv(65_536)
    process = os.fork()
    if process == 0:
        line.close()
        for number, output in enumerate(outputs):
            os.dup2(output, number)
            os.close(output)
        status = 70
        try:
            status = run(json.loads(text), client)
            sys.stdout.flush()
            sys.stderr.flush()
        finally:
            os._exit(status)
    for output in outputs:
        os.close(output)
    ended = os.pidfd_open(process)
    while not select.select([ended], [], [], 0)[0]:
        if line in select.select([ended, line], [], [])[0]:
            number = line.recv(1)
            os.kill(process, number[0] if number else signal.SIGKILL)
            if not number:
                break
    status = os.waitstatus_to_exitcode(os.waitpid(process, 0)[1])
    with suppress(ConnectionError):  # who asked may be gone
        line.send(status.to_bytes(4, "big", signed=True))


def main() -> None:
    """Serve until standard input ends."""
    address, client = sys.argv[1:]
    load()
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # nobody waits for those who attend
    with socket.socket(socket.AF_UNIX) as listening:
        listening.bind(address)
        listening.listen(64)
        sys.stdout.write("ready\n")
        sys.stdout.flush()
        while 0 not in select.select([listening, 0], [], [])[0]:
            line, _ = listening.accept()
            if os.fork() == 0:
                listening.close()
                try:
                    attend(line, client)
                finally:
                    os._exit(0)
            line.close()


if __name__ == "__main__":
    main()
