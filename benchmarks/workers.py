"""What workers gain: pieces of hooks and of seeds on one and two processes, and on paper on many.

`python benchmarks/workers.py [SCENE]`. Every study runs with one worker and with two, in turns, and
must find the same. Of each wave of pieces that can be done at once the sizes and the seconds of
processor time are kept; from these follows, on paper, what any number of workers would take:
the rest of the study here, each wave as long as its longest worker, and what is sent over a line
of 1 Gbit/s (own choice). Run it on an idle machine.
"""

import pickle
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from dataclasses import dataclass, field
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import raysim
from raysim.studies import hooks

DEMO = Path(__file__).resolve().parent.parent / "scenes" / "clinic_locker.toml"
LINE = 1e9 / 8  # bytes/s
ON_PAPER = (1, 2, 8, 64, 1000)


@dataclass
class Wave:
    """Pieces that need nothing of each other: bytes of what they share, own bytes and seconds."""

    shared: int
    sent: list[int] = field(default_factory=list)
    back: list[int] = field(default_factory=list)
    seconds: list[float] = field(default_factory=list)

    def on(self, workers: int) -> float:
        """Seconds on so many workers, pieces given to whoever is free (longest processing last)."""
        busy = [0.0] * min(workers, len(self.seconds))
        for piece in self.seconds:
            busy[busy.index(min(busy))] += piece
        bytes_here = sum(self.sent) + sum(self.back)
        # What all share goes from worker to worker, twice as many at a time.
        rounds = max(workers, 1).bit_length()
        return max(busy, default=0.0) + (bytes_here + rounds * self.shared) / LINE


def timed(call: Callable[..., Any], *arguments: Any) -> tuple[Any, float, int]:
    """What a call returns, the processor time that it took, and its size when sent."""
    started = time.process_time()
    found = call(*arguments)
    return found, time.process_time() - started, len(pickle.dumps(found))


def warmed(scene: raysim.BuiltScene) -> float:
    """A short run, which loads all that is compiled."""
    return raysim.simulate(scene, precision=0.9, threads=1).timer


class Watched(Executor):
    """A pool of fresh processes that keeps what its waves of pieces took."""

    def __init__(self, workers: int, scene: raysim.BuiltScene) -> None:
        self.pool = ProcessPoolExecutor(workers, mp_context=get_context("spawn"))
        self.waves: list[Wave] = []
        self.folder = tempfile.TemporaryDirectory()
        for done in [self.pool.submit(warmed, scene) for _ in range(workers)]:
            done.result()

    def spread(self, packed: bytes) -> str:
        """A file of what a wave shares, which the workers read once."""
        path = Path(self.folder.name) / str(len(self.waves))
        path.write_bytes(packed)
        self.waves.append(Wave(len(packed)))
        return str(path)

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """Hand one piece over."""
        wave, answer = self.waves[-1], Future[Any]()
        wave.sent.append(len(pickle.dumps(args)))

        def arrived(done: Future[Any]) -> None:
            found, seconds, size = done.result()
            wave.seconds.append(seconds)
            wave.back.append(size)
            answer.set_result(found)

        self.pool.submit(timed, fn, *args).add_done_callback(arrived)
        return answer

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """End the processes."""
        self.pool.shutdown()
        self.folder.cleanup()


def of_hooks(scene: raysim.BuiltScene, workers: Executor) -> Any:
    """Hook points of a rough grid, 1 and 2 respirators."""
    options = raysim.RunOptions(threads=1, executor=workers)
    grid = hooks.Grid(spacing=0.06)
    return hooks.study(scene, numbers=[1, 2], points=grid, options=options).best.best.time


def of_seeds(scene: raysim.BuiltScene, workers: Executor) -> Any:
    """Eight seeds of a dose run."""
    found = raysim.simulate_seeds(scene, range(1, 9), precision=0.05, executor=workers)
    return [result.timer for result in found]


def main() -> None:
    """Measure each, and print what many workers would make of it."""
    scene = raysim.load_scene(sys.argv[1] if len(sys.argv) > 1 else DEMO)
    for study in (of_hooks, of_seeds):
        print(f"\n{(study.__doc__ or '').strip()}")
        walls, answers = {}, []
        for workers in (1, 2):
            with Watched(workers, scene) as pool:
                started = time.perf_counter()
                answers.append(study(scene, pool))
                walls[workers] = time.perf_counter() - started
            if workers == 1:
                waves = pool.waves
        assert answers[0] == answers[1]
        work = sum(sum(wave.seconds) for wave in waves)
        rest = max(walls[1] - work, 0.0)
        pieces = [seconds for wave in waves for seconds in wave.seconds]
        lengths = f"{min(pieces):.2f} to {max(pieces):.2f} s each"
        print(f"  {len(pieces)} pieces in {len(waves)} waves, {lengths}")
        print(f"  shared {max(wave.shared for wave in waves) / 1e6:.2f} MB at most in a wave")
        sent = sum(sum(w.sent) + sum(w.back) for w in waves) / len(pieces)
        print(f"  a piece is sent in {sent / 1e3:.1f} kB, its answer with it")
        print(f"  1 worker {walls[1]:.1f} s, 2 workers {walls[2]:.1f} s", end="")
        print(f": efficiency {walls[1] / (2 * walls[2]):.2f}; {rest:.1f} s are not in pieces")
        for workers in ON_PAPER:
            seconds = rest + sum(wave.on(workers) for wave in waves)
            print(f"  on paper, {workers} workers: {seconds:.1f} s, {walls[1] / seconds:.1f} times")


if __name__ == "__main__":
    main()
