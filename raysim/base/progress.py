"""How long work reports its progress."""

from collections.abc import Callable

# Names a file into which a command line writes how far it is, for the page that started it.
PROGRESS_VARIABLE = "RAYSIM_PROGRESS"

Progress = Callable[[str, float, float], None]  # what is done, amount done, amount of all


def nobody_watching(what: str, done: float, whole: float) -> None:
    """Progress callback that does nothing."""


def stretch(progress: Progress, number: int, count: int) -> Progress:
    """Progress of piece `number` out of `count` equal ones, reported as progress of the whole."""

    def of_all(what: str, done: float, whole: float) -> None:
        progress(what, (number + done / whole) / count, 1.0)

    return of_all
