"""A rabbet: a slit with two bends, and the step that closes it to straight lines."""


def closing_step(width: float, depth: float) -> float:
    """Smallest step (m) of two bends through which no straight line leads.

    The steepest line in either half rises by the width over half of (depth - width); the step must
    rise more than that over the width.

    >>> round(1000.0 * closing_step(0.004, 0.02), 6)
    6.0
    """
    return width + 2.0 * width**2 / (depth - width)


def step_too_small(width: float, depth: float) -> str:
    """What is wrong with a step that is too small, in words (m)."""
    return (
        "a step below the width leaves part of the slit open from front to back; lines still lead "
        f"through aslant up to a step of {1000.0 * closing_step(width, depth):.3g} mm"
    )
