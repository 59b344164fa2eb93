"""How work that takes a while tells how far it has come."""

from collections.abc import Callable

Progress = Callable[[str, float, float], None]  # what, done, of how much


def nobody_watching(what: str, done: float, whole: float) -> None:
    """Progress that nobody sees."""


def stretch(progress: Progress, number: int, count: int) -> Progress:
    """Progress of one piece of work of `count` alike as a share of them all."""

    def of_all(what: str, done: float, whole: float) -> None:
        progress(what, (number + done / whole) / count, 1.0)

    return of_all
