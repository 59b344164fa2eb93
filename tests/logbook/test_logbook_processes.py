"""The logbook under kill -9 and under two writers at once, as real processes."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

import raysim
from raysim.logbook.book import open_logbook
from raysim.logbook.cycles import cycles
from raysim.logbook.respirators import Respirator, add_respirator, tallies

WRITER = Path(__file__).with_name("writer.py")
LOAD = 20  # respirators of a writer, as in writer.py
ENVIRONMENT = os.environ | {"PYTHONPATH": str(Path(raysim.__file__).parents[1])}


def enter_respirators(path, *prefixes):
    with open_logbook(path) as book:
        for prefix in prefixes:
            for k in range(LOAD):
                limits = {"donnings_limit": 10**6, "dose_limit": 1e12, "strap_dose_limit": 1e12}
                limits |= {"cycles_limit": 10**6}
                add_respirator(book, Respirator(f"{prefix}{k}", "AB", **limits), "CD")


def writer(path, prefix, count):
    process = subprocess.Popen(
        [sys.executable, str(WRITER), str(path), prefix, str(count)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=ENVIRONMENT,
    )
    assert process.stdout.readline() == "ready\n"
    return process


def fire(process):
    """Let a writer that is ready begin."""
    process.stdin.write("go\n")
    process.stdin.flush()


def is_whole(path):
    """Assert that the file is sound, and that every cycle has its whole load."""
    with open_logbook(path) as book:
        assert [row[0] for row in book.execute("PRAGMA integrity_check")] == ["ok"]
        assert book.execute("PRAGMA foreign_key_check").fetchall() == []
        loads = book.execute(
            "SELECT c.entry, count(l.code) FROM cycle AS c LEFT JOIN load AS l ON l.cycle = c.entry"
            " GROUP BY c.entry"
        ).fetchall()
        assert {row[1] for row in loads} <= {LOAD}
        details = book.execute(
            "SELECT count(*) FROM entry WHERE number NOT IN (SELECT entry FROM cycle"
            " UNION SELECT entry FROM closing UNION SELECT entry FROM respirator)"
        ).fetchone()[0]
        assert details == 0  # no entry without its details


@pytest.mark.parametrize("delay", [0.05, 0.11, 0.17, 0.23, 0.31, 0.43])
def test_killed_writer_loses_nothing_it_had_reported(path, delay):
    enter_respirators(path, "A")
    process = writer(path, "A", 10_000)
    fire(process)
    first = process.stdout.readline()
    time.sleep(delay)
    process.send_signal(signal.SIGKILL)
    told, errors = process.communicate(timeout=30)
    assert process.returncode == -signal.SIGKILL
    assert errors == ""
    lines = [line.split() for line in (first + told).splitlines() if len(line.split()) == 2]
    assert lines
    is_whole(path)
    with open_logbook(path) as book:
        went = {str(cycle.number): cycle.outcome for cycle in cycles(book)}
    for word, number in lines:
        assert number in went
        assert word == "start" or went[number] == "ended"
    # The next writer can go on at once: at most one cycle was left open.
    assert sum(outcome == "running" for outcome in went.values()) <= 1


def test_file_cut_off_in_the_middle_of_a_commit_rolls_back(path):
    """A writer stopped with its pages half written leaves a journal; the next one heals it."""
    enter_respirators(path, "A")
    before = path.read_bytes()
    code = (
        "import os, sqlite3, sys\n"
        "from pathlib import Path\n"
        "from raysim.logbook.book import add_entry, open_logbook\n"
        "with open_logbook(Path(sys.argv[1])) as book:\n"
        "    book.execute('PRAGMA cache_size = 1')\n"  # pages are spilled before the commit
        "    book.execute('BEGIN IMMEDIATE')\n"
        "    for _ in range(5000):\n"
        "        add_entry(book, 'lamp', 'CD', 'x' * 200, None,\n"
        "            box='box', name='left', event='read', hours=0.0)\n"
        "    os.kill(os.getpid(), 9)\n"
    )
    done = subprocess.run([sys.executable, "-c", code, str(path)], env=ENVIRONMENT, check=False)
    assert done.returncode == -signal.SIGKILL
    assert path.read_bytes() != before  # pages did reach the file
    assert path.with_name(path.name + "-journal").exists()
    is_whole(path)
    with open_logbook(path) as book:
        kinds = {row["kind"] for row in book.execute("SELECT kind FROM entry")}
    assert kinds == {"respirator"}


def test_two_writers_at_once_both_get_everything_in(path):
    enter_respirators(path, "A", "B")
    count = 40
    both = [writer(path, prefix, count) for prefix in "AB"]
    for process in both:
        fire(process)
    told = [process.communicate(timeout=120) for process in both]
    assert [process.returncode for process in both] == [0, 0], "".join(errors for _, errors in told)
    is_whole(path)
    with open_logbook(path) as book:
        found = cycles(book)
        assert {t.ended for t in tallies(book)} == {count}
    assert len(found) == 2 * count
    numbers = [int(line.split()[1]) for out, _ in told for line in out.splitlines()]
    assert len(set(numbers)) == 2 * count
    by = [cycle.operator for cycle in found]
    changes = sum(a != b for a, b in zip(by, by[1:], strict=False))
    assert changes > 1, "the writers did not run at the same time"


def test_two_writers_cannot_take_the_same_respirators(path):
    """Both start cycles with the same load: the check and the entry are one transaction."""
    enter_respirators(path, "A")
    code = (
        "import sys\n"
        "from pathlib import Path\n"
        "from raysim.logbook.book import LogbookError, open_logbook\n"
        "from raysim.logbook.cycles import Setting, start_cycle\n"
        "with open_logbook(Path(sys.argv[1])) as book:\n"
        "    for k in range(20):\n"
        "        try:\n"
        "            start_cycle(book, [f'A{k}'], Setting('box', 60.0), 'CD')\n"
        "        except LogbookError as error:\n"
        "            assert 'never closed' in str(error), error\n"
    )
    command = [sys.executable, "-c", code, str(path)]
    both = [subprocess.Popen(command, env=ENVIRONMENT) for _ in range(2)]
    assert [process.wait(timeout=60) for process in both] == [0, 0]
    with open_logbook(path) as book:
        loads = [cycle.codes for cycle in cycles(book)]
    assert sorted(loads) == sorted((f"A{k}",) for k in range(LOAD))
