"""What the tallies of photons and of backward paths have in common."""

import numpy as np

from raysim.kernels.records import Surfaces

MAX_BOUNCES = 10_000


def fitting(tallies: dict[str, np.ndarray], name: str, place: np.ndarray) -> np.ndarray:
    """The array called `name`, of the shape and type of `place`.

    Raises
    ------
    ValueError, KeyError
        Where it is of another shape or type, or not there.
    """
    array = tallies[name]
    if array.shape != np.shape(place) or array.dtype != place.dtype:
        raise ValueError(f"{name} is {array.dtype}{array.shape}")
    return array


def case_stride(stride: tuple[int, ...] | None, surfaces: Surfaces) -> np.ndarray:
    """How many photons or paths there are for each one that carries a case, (cases,) int64.

    Raises
    ------
    ValueError
        Where there is not one whole number for each case.
    """
    cases = surfaces.reflectance.shape[1]
    numbers = np.array(stride or [1] * cases, np.int64)
    if numbers.shape != (cases,) or (numbers < 1).any():
        raise ValueError(f"case_stride: {cases} whole numbers, 1 or more")
    return numbers
