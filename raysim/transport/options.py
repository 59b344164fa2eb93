"""How a run is traced, whatever is asked of it."""

from concurrent.futures import Executor
from dataclasses import dataclass, field
from typing import Any

from raysim.base.progress import Progress, nobody_watching
from raysim.transport.threads import default_threads

# A day or more of a fast machine, and counts of a tile stay far below 2**31 in each group of
# batches; no box needs the hundredth part.
MOST_PHOTONS = 10**11


@dataclass(frozen=True)
class RunOptions:
    """Random numbers, threads and who is told how far it has come.

    Attributes
    ----------
    seed : int
        Key of the random numbers, 0 to 2**64 - 1. The same seed gives the same numbers to the last
        bit, for any number of threads.
    threads : int
        Default: the cores that this process may use.
    progress : callable
        Called with (what, done, of how much).
    executor : Executor, optional
        Whose workers do the independent pieces of a study (`pieces.each`), each with one thread;
        default these threads here. Numbers are the same to the last bit.
    """

    seed: int = 1
    threads: int = field(default_factory=default_threads)
    progress: Progress = nobody_watching
    executor: Executor | None = field(default=None, compare=False)

    def __reduce__(self) -> tuple[Any, ...]:
        """Sent to a worker, these are options of one thread that nobody watches."""
        return RunOptions, (self.seed, 1)
