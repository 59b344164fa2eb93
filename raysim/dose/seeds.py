"""The same scene traced with several seeds: how far its answers scatter."""

from collections.abc import Iterator, Sequence
from concurrent.futures import Executor

from raysim.base.progress import Progress, nobody_watching
from raysim.dose.result import Result
from raysim.dose.simulate import simulate
from raysim.scene.build import BuiltScene
from raysim.transport.pieces import Shared, each
from raysim.transport.threads import default_threads

_Asked = tuple[int, int | None, float | None, int]


def simulate_seeds(
    scene: BuiltScene,
    seeds: Sequence[int],
    *,
    photons: int | None = None,
    precision: float | None = None,
    executor: Executor | None = None,
    progress: Progress = nobody_watching,
) -> Iterator[Result]:
    """What `simulate` finds with each seed, in their order.

    Parameters
    ----------
    executor : Executor, optional
        Whose workers trace, each a whole run with one thread; default this process with all cores.
        The results are the same to the last bit.

    >>> from raysim.dose.simulate import load_scene
    >>> scene = load_scene("scenes/touching_wall.toml")
    >>> one, other = simulate_seeds(scene, [1, 2], photons=65_536)  # few photons: quick and noisy
    >>> one.seed, other.seed, bool((one.lamp_irradiance == other.lamp_irradiance).all())
    (1, 2, False)
    """
    threads = 1 if executor else default_threads()
    asked = [(seed, photons, precision, threads) for seed in seeds]
    for number, result in enumerate(each(_simulated, Shared(scene), asked, executor), 1):
        progress("tracing with each seed", number, len(asked))
        yield result


def _simulated(scene: BuiltScene, asked: _Asked) -> Result:
    seed, photons, precision, threads = asked
    return simulate(scene, seed=seed, photons=photons, precision=precision, threads=threads)
