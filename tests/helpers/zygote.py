"""Process that has loaded raysim, and forks one child for each command line it is handed.

A fork costs milliseconds where a new interpreter costs a second, and a child can be given limits
of its own. Reads one JSON object a line from standard input, answers in the same way.
"""

import contextlib
import gc
import json
import os
import resource
import signal
import sys
import time
import traceback

GIGABYTE = 1 << 30


def address_space() -> int:
    """Bytes of address space in use; zero where the system does not say."""
    try:
        with open("/proc/self/statm") as file:
            return int(file.read().split()[0]) * resource.getpagesize()
    except OSError:
        return 0


def child(task: dict) -> int:
    """Run one command line; returns its exit status."""
    os.chdir(task["folder"])
    for name, number in (("out", 1), ("err", 2)):
        handle = os.open(task[name], os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
        os.dup2(handle, number)
    nothing = os.open(os.devnull, os.O_RDONLY)
    os.dup2(nothing, 0)
    resource.setrlimit(resource.RLIMIT_CPU, (task["seconds"], task["seconds"] + 5))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    room = address_space() + int(task["gigabytes"] * GIGABYTE)
    resource.setrlimit(resource.RLIMIT_AS, (room, room))
    sys.argv = ["raysim", *map(os.fsdecode, map(os.fsencode, task["words"]))]
    os.environ |= task["environment"]
    from raysim.cli import main

    try:
        exec(task["before"], {"__name__": "before"})
        if task["words"]:
            main()
    except SystemExit as stop:
        return int(stop.code or 0) if not isinstance(stop.code, str) else 1
    except BaseException:
        traceback.print_exc()
        return 1
    return 0


def warm_up() -> None:
    """Trace once in this process, so that children find the compiled code loaded."""
    if warm_up.done:
        return
    warm_up.done = True
    from pathlib import Path

    from running import QUICK, raysim_said

    place = Path(sys.argv[1])
    words = ("dose", place.name, *QUICK, "--no-pictures", "--quiet", "--threads", "1")
    assert raysim_said(*words, folder=place.parent).status == 0
    gc.collect()
    gc.freeze()


warm_up.done = False


def prepare(task: dict) -> None:
    """Run a command line in this process, in a copy of its folder, with as little traced as tests do.

    Children then find loaded what it needs. With one thread it leaves none behind, which a fork
    could not take along.
    """
    import shutil
    import tempfile
    import threading

    from running import raysim_said

    with tempfile.TemporaryDirectory() as private, contextlib.ExitStack() as stack:
        folder = shutil.copytree(task["folder"], os.path.join(private, "copy"))
        exec(task["around"], {"stack": stack})
        raysim_said(*task["prepare"], folder=folder)
    assert threading.active_count() == 1, threading.enumerate()
    gc.collect()
    gc.freeze()


def waited(process: int, wall: float, after: list) -> dict:
    """Status, seconds and peak memory of a child; one that outstays its time is killed.

    `after` may name a file, and seconds from when something stands in it, which end its time too.
    """
    end = time.monotonic() + wall
    killed = False
    while True:
        done, status, used = os.wait4(process, os.WNOHANG)
        if done:
            break
        now = time.monotonic()
        if after and has_something(after[0]):
            end, after = min(end, now + after[1]), []
        if not killed and now > end:
            os.kill(process, signal.SIGKILL)
            killed = True
        time.sleep(0.002 if killed else min(0.0005 if after else 0.002, max(end - now, 0.0)))
    status = os.waitstatus_to_exitcode(status)
    return {
        "status": status,
        "hung": killed and status == -signal.SIGKILL,  # else it ended just then
        "seconds": used.ru_utime + used.ru_stime,
        "megabytes": used.ru_maxrss / 1024,
    }


def has_something(file: str) -> bool:
    """Whether something stands in a file."""
    try:
        return os.path.getsize(file) > 0
    except OSError:
        return False


def say(what: dict) -> None:
    """One line to whoever hands over the tasks."""
    sys.stdout.write(json.dumps(what) + "\n")
    sys.stdout.flush()


def main() -> None:
    """Load what a command needs, then serve until standard input ends."""
    import raysim.cli.check
    import raysim.cli.dose
    import raysim.cli.resume
    import raysim.output.files.results  # noqa: F401
    from raysim.dose.simulate import load_scene
    from raysim.scene.check.check import check_scene

    check_scene(load_scene(sys.argv[1]))  # loads readers and the compiled probes
    gc.collect()
    gc.freeze()  # else every child copies what its collector looks through
    say({"ready": True})
    for line in sys.stdin:
        task = json.loads(line)
        if "prepare" in task:
            prepare(task)
            say({"ready": True})
            continue
        if task["warm"]:
            warm_up()
        sys.stdout.flush()
        process = os.fork()
        if process == 0:
            status = 70
            try:
                status = child(task)
                sys.stdout.flush()
                sys.stderr.flush()
            finally:
                os._exit(status)
        say(waited(process, task["wall"], task["after"]))


if __name__ == "__main__":
    main()
