"""Many trials side by side, each in a process of its own and in a folder of its own."""

import os
import shutil
import tempfile
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from pathlib import Path
from queue import SimpleQueue
from typing import Any, TypeVar

from watchdog import Kennel

Case = TypeVar("Case")
PER_KENNEL = 16  # trials that are worth the seconds which a kennel takes to start


def in_kennels(
    trial: Callable[[Kennel, Path, Case], Any], cases: Iterable[Case], place: Path, own: Kennel
) -> list[Any]:
    """What `trial(kennel, folder, case)` says of each case; `folder` is a copy of `place`.

    Many cases get as many kennels as there are cores, few are left to the one that runs already.
    """
    cases = list(cases)
    free: SimpleQueue[Kennel] = SimpleQueue()

    def one(case: Case) -> Any:
        kennel = free.get()
        try:
            with tempfile.TemporaryDirectory() as private:
                folder = Path(private) / "box"
                shutil.copytree(place, folder)
                return trial(kennel, folder, case)
        finally:
            free.put(kennel)

    count = max(1, min(len(os.sched_getaffinity(0)), len(cases) // PER_KENNEL))
    with ExitStack() as open_ones, ThreadPoolExecutor(count) as pool:
        free.put(own)
        for _ in range(count - 1):
            free.put(open_ones.enter_context(Kennel()))
        return list(pool.map(one, cases))
