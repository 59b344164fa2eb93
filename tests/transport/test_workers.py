"""Workers of one job: all of them run, side by side, and all have ended when the call returns."""

import os
import signal
import threading
import time

import pytest

from raysim.transport.threads import in_threads


def test_every_worker_is_called_once_with_the_arguments():
    called = []
    in_threads(lambda *given: called.append(given), 5, "a", 2)
    assert sorted(called) == [(worker, "a", 2) for worker in range(5)]


def test_a_single_worker_needs_no_other_thread():
    threads = []
    in_threads(lambda worker: threads.append(threading.current_thread()), 1)
    assert threads == [threading.current_thread()]


def test_workers_run_at_the_same_time():
    # Each waits for the others: one after another they would wait in vain.
    meeting = threading.Barrier(3, timeout=20.0)
    in_threads(lambda worker: meeting.wait(), 3)
    assert not meeting.broken


@pytest.mark.parametrize("bad", [0, 2])
def test_a_failure_is_told_when_all_have_ended(bad):
    ended = []

    def work(worker):
        if worker == bad:
            raise MemoryError(f"worker {worker}")
        time.sleep(0.2)
        ended.append(worker)

    with pytest.raises(MemoryError, match=f"worker {bad}"):
        in_threads(work, 4)
    assert sorted(ended) == sorted({0, 1, 2, 3} - {bad})


@pytest.mark.skipif(os.name == "nt", reason="sends a signal to itself")
@pytest.mark.parametrize("threads", [1, 3])
def test_an_interrupt_waits_until_all_have_ended(threads):
    ended = []

    def work(worker):
        if worker == 0:
            os.kill(os.getpid(), signal.SIGINT)
        time.sleep(0.3)
        ended.append(worker)

    with pytest.raises(KeyboardInterrupt):
        in_threads(work, threads)
    assert sorted(ended) == list(range(threads))
