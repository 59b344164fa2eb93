"""Which machine traces: the processor, or a graphics card."""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

CPU, CUDA = "cpu", "cuda"
_chosen: ContextVar[str] = ContextVar("device", default=CPU)


def device() -> str:
    """The machine that runs begun from here on trace with (definition)."""
    return _chosen.get()


@contextmanager
def on_device(name: str) -> Iterator[None]:
    """Let all runs that begin within trace on "cpu" or "cuda".

    Raises
    ------
    RaysimError
        "cuda", and there is no card or no numba-cuda.
    """
    if name == CUDA:
        from raysim.transport.cuda import the_card

        the_card()
    token = _chosen.set(name)
    try:
        yield
    finally:
        _chosen.reset(token)


def batches_a_step(threads: int) -> int:
    """Batches of photons between two words on progress: as many as keep the machine busy."""
    return 512 if device() == CUDA else 4 * threads
