"""What counts of photons say of irradiance: mean, error and first bound."""

from dataclasses import dataclass

import numpy as np

from raysim.estimate.bounds import count_lower_bound, count_variance
from raysim.estimate.refinement import Refinement, forward_only


def counted_irradiance(
    tallies: tuple[np.ndarray, np.ndarray], batches: int, scale: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Irradiance from counts of arrivals, and its variance, of the shape of the counts.

    Parameters
    ----------
    tallies : two arrays of one shape
        Sum over batches of the counts, and of their squares.
    batches : int
    scale : array that fits them, W/m2
        Irradiance that one photon stands for.

    Source: E = counts x power of a photon / area (definition).
    """
    total, squares = tallies
    return total * scale, count_variance(total, squares, batches) * scale**2


@dataclass(frozen=True)
class Counted:
    """Irradiance from photon counts, W/m2; `mean` and `variance` of one shape.

    `one_photon`, which fits them, is the irradiance that a single photon would make: where none
    arrived, that much may have been missed.
    """

    mean: np.ndarray
    variance: np.ndarray
    one_photon: np.ndarray

    @property
    def error(self) -> np.ndarray:
        """Standard error of the mean."""
        return np.where(self.variance > 0.0, np.sqrt(self.variance), self.one_photon)

    def at(self, sites: tuple[np.ndarray, np.ndarray]) -> "Counted":
        """The same on some faces and sides, the last two axes of all arrays."""
        place = (..., *sites)
        return Counted(self.mean[place], self.variance[place], self.one_photon[place])

    def state(self, error: float) -> Refinement:
        """Where backward paths go on from; arrays are (cases, sites).

        `error` is the probability that a bound may lie above the truth.
        """
        bound = count_lower_bound(self.mean, self.variance, error)
        return forward_only(self.mean, self.error, bound)
