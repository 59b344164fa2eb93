"""Confidence bounds of counts and of batch means.

The bound on the *worst* face-side is the smallest of the bounds of all judged face-sides. Each of
them need hold only by itself: the true worst face-side f is one fixed, if unknown, face-side, and
the smallest bound lies at or below the bound of f. It is above the true minimum only if the bound
of f is, which happens with at most the error probability of one bound. (Taking the bound of the
face-side that *looks* worst would not do.)

Source: intersection-union argument, Berger, "Multiparameter hypothesis testing and acceptance
sampling", Technometrics 24 (1982).
"""

import numpy as np

CONFIDENCE = 0.95
# The error probability 1 - CONFIDENCE is spent here: part on the photon counts, part on the first
# round of backward paths of a face-side, which most face-sides need and few more than that, the
# rest in equal parts on its other rounds (union bound over rounds).
FORWARD_ERROR = 0.008
FIRST_ROUND_ERROR = 0.012
MOST_ROUNDS = 8
ROUND_ERROR = (1.0 - CONFIDENCE - FORWARD_ERROR - FIRST_ROUND_ERROR) / (MOST_ROUNDS - 1)
# By so much, at most, a mean that read the photons' counts may be too bright because tiles have an
# extent. Its bound is taken lower by it, whether or not it comes to set a timer.
# Own estimate; tests/physics/test_known_light.py looks for worse.
READING_ERROR = 0.05
MANY = 1e6  # events: beyond, Garwood's bound is Student's of as many batches


def count_variance(total: np.ndarray, squares: np.ndarray, batches: int) -> np.ndarray:
    """Variance of a total count, from its batches, at least that of Poisson's law.

    Parameters
    ----------
    total, squares : int64 arrays of one shape
        Sum over batches of the counts and of their squares.
    batches : int
        Number of batches, at least 2.

    Source: batch means, e.g. Law and Kelton, "Simulation Modeling and Analysis", ch. 9.
    """
    mean = total / batches
    spread = (squares / batches - mean**2) * batches / (batches - 1)
    return np.maximum(batches * spread, total)


def count_lower_bound(mean: np.ndarray, variance: np.ndarray, error: float) -> np.ndarray:
    """One-sided lower bound of a mean that was estimated from counts.

    Garwood's exact bound for a Poisson count n = mean^2 / variance, scaled back to the mean; for
    large counts it becomes the normal bound, for none it is zero.

    Parameters
    ----------
    mean, variance : arrays of one shape
        Estimate and its variance, in any unit and its square.
    error : float
        Probability that the bound lies above the truth.

    Source: Garwood, "Fiducial limits for the Poisson distribution", Biometrika 28 (1936).
    """
    from scipy.special import gammaincinv

    count = np.divide(mean**2, variance, out=np.zeros_like(mean), where=variance > 0.0)
    share = np.zeros_like(mean)
    seen = count > 0.0
    share[seen] = gammaincinv(count[seen], error) / count[seen]
    return mean * share


def batch_mean(batches: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Mean over axis 1 of independent batches, and its standard error (definition)."""
    count, mean = batches.shape[1], batches.mean(axis=1)
    off = batches - mean[:, None]
    off *= off
    return mean, np.sqrt(off.sum(axis=1) / (count - 1)) / np.sqrt(count)


def t_quantile(error: float, batches: int) -> float:
    """Quantile of Student's t with batches - 1 degrees of freedom (Student 1908)."""
    from scipy.special import stdtrit

    return float(-stdtrit(batches - 1, error))


def mean_upper_bound(
    mean: np.ndarray, error: np.ndarray, batches: int, risk: float | np.ndarray
) -> np.ndarray:
    """One-sided upper bound of means that are above zero, from independent batches.

    The larger of Student's bound, which allows for a spread that is itself an estimate, and of
    Garwood's for as many events as would leave the same relative error: of few bright paths, each
    found by luck, Student's is too small. Infinite for a mean of zero.

    Parameters
    ----------
    mean, error : arrays of one shape
        Mean over the batches and its standard error, in one unit.
    risk : float or array of that shape
        Probability that the bound lies below the truth.

    Source: Student 1908; Garwood, "Fiducial limits for the Poisson distribution", Biometrika 28
    (1936), scaled back to the mean as in `count_lower_bound`.
    """
    from scipy.special import gammainccinv, stdtrit

    risk = np.broadcast_to(risk, np.shape(mean))
    seen = mean > 0.0
    count = np.divide(mean, error, out=np.full(np.shape(mean), np.inf), where=error > 0.0) ** 2
    few = seen & (count < MANY)
    by_count = np.zeros(np.shape(mean))
    by_count[few] = mean[few] * gammainccinv(count[few] + 1.0, risk[few]) / count[few]
    student = mean - stdtrit(batches - 1, risk) * error
    return np.where(seen, np.maximum(student, by_count), np.inf)
