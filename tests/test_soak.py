"""Long soak in the demo: a billion ray segments, nothing lost, memory flat, energy closed.

`pytest -m slow tests/test_soak.py` runs it by itself and prints the figures.
"""

import os
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pytest

from raysim.dose.checkpoint import Checkpoint
from raysim.dose.simulate import load_scene, simulate
from raysim.estimate.bounds import CONFIDENCE

DEMO = Path(__file__).parents[1] / "scenes" / "clinic_locker.toml"
SEGMENTS = 1_000_000_000
LARGEST_LOST_SHARE = 1e-6
LARGEST_GROWTH = 8.0  # MiB from a tenth of the run to its end

pytestmark = pytest.mark.slow


def resident_mib() -> float:
    """Memory that this process has in use, MiB."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 2**20


@dataclass
class Watch:
    """Progress that notes memory at every step."""

    done: list[float] = field(default_factory=list)
    memory: list[float] = field(default_factory=list)

    def __call__(self, what: str, done: float, whole: float) -> None:
        self.done.append(done / whole)
        self.memory.append(resident_mib())


@pytest.fixture(scope="module")
def demo():
    """The demo scene."""
    return load_scene(DEMO)


@pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="reads memory as Linux tells it")
def test_a_billion_segments(demo, tmp_path, capsys):
    few = simulate(demo, photons=500_000)
    photons = int(1.002 * SEGMENTS * few.photons / few.segments)
    watch = Watch()
    started = time.perf_counter()
    checkpoint = Checkpoint(tmp_path / "checkpoint.npz")
    result = simulate(demo, photons=photons, progress=watch, checkpoint=checkpoint)
    seconds = time.perf_counter() - started
    done, memory = np.array(watch.done), np.array(watch.memory)
    growth = memory[done > 0.1].max() - memory[done <= 0.1].max()
    lost = {name: case.energy.lost / case.energy.emitted for name, case in result.cases.items()}
    open_by = max(
        abs(sum(e.absorbed.values()) + e.escaped + e.lost - e.emitted) / e.emitted
        for e in (case.energy for case in result.cases.values())
    )
    with capsys.disabled():
        sys.stdout.write(
            f"\n{result.segments:,} segments of {result.photons:,} photons in {seconds:.0f} s, "
            f"{result.segments / seconds / 1e6:.2f} million/s; memory {memory.max():.0f} MiB, "
            f"grown by {growth:.1f} MiB after the first tenth ({len(memory)} looks); "
            f"lost {max(lost.values()):.1e} of the light; energy closed to {open_by:.1e}; "
            f"checkpoint {checkpoint.path.stat().st_size / 2**20:.1f} MiB\n"
        )
    assert result.segments >= SEGMENTS
    assert growth < LARGEST_GROWTH
    assert max(lost.values()) < LARGEST_LOST_SHARE
    assert open_by < 1e-12
    # The same light as few photons see it, but for chance.
    for name, case in result.cases.items():
        early = few.cases[name].summary
        assert case.summary.mean == pytest.approx(early.mean, rel=0.02)
    assert result.confidence == CONFIDENCE


def test_one_two_and_four_threads_give_the_same_numbers(demo):
    one, two, four = (
        simulate(demo, photons=1_000_000, precision=0.1, threads=threads) for threads in (1, 2, 4)
    )
    assert one.paths > 0
    for other in (two, four):
        assert (other.photons, other.paths, other.segments) == (
            one.photons, one.paths, one.segments,
        )  # fmt: skip
        assert other.timer == one.timer
        assert np.array_equal(other.lamp_irradiance, one.lamp_irradiance)
        assert np.array_equal(other.lamp_standard_error, one.lamp_standard_error)
        for name, case in one.cases.items():
            assert np.array_equal(other.cases[name].irradiance, case.irradiance)
            assert other.cases[name].energy == case.energy
            assert other.cases[name].bound == case.bound
