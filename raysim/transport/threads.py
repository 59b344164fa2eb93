"""The workers of one job, each in a thread of its own."""

import os
from collections.abc import Callable
from threading import Thread
from typing import Any

from raysim.base.interrupts import hold_interrupts


def default_threads() -> int:
    """Threads to use when none are asked for: the cores this process may run on."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def in_threads(job: Callable[..., Any], workers: int, *arguments: Any) -> None:
    """Call ``job(worker, *arguments)`` for every worker from 0 on, side by side; wait for all.

    What they do must not depend on one another. Worker 0 is this thread, so that a single worker
    needs no other; it also does the work of those that the system does not start. Ctrl-C waits
    until all have ended: tallies are never read while one still adds.

    Raises
    ------
    Exception
        The first that any of them raised, once all have ended.
    """
    failures: list[Exception] = []

    def work(worker: int) -> None:
        try:
            job(worker, *arguments)
        except Exception as failure:
            failures.append(failure)

    others: list[Thread] = []
    with hold_interrupts():
        for worker in range(1, workers):
            other = Thread(target=work, args=(worker,))
            try:
                other.start()
            except RuntimeError:  # the system starts no more of them
                break
            others.append(other)
        for worker in (0, *range(len(others) + 1, workers)):
            work(worker)
        for other in others:
            other.join()
    if failures:
        raise failures[0]
