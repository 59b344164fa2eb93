"""When does a noisy estimate agree with a truth? Tests that refuse to judge what is too noisy.

A comparison that cannot see a 1 % error must not pass, so each of these first asks whether the
error it should catch would be caught. False alarms: 1e-6 each. With known Poisson noise that takes
47 / b^2 hits to catch a bias b (0.47 million for 1 %).
"""

import numpy as np
from scipy import stats

FALSE_ALARM = 1e-6
POWER = 0.975

# (expected, got, error, z) of every comparison since this was last cleared, for `validation.py`.
SEEN: list[tuple[float, float, float, float]] = []


class TooNoisyError(AssertionError):
    """The comparison could not have seen the error it is there to catch."""


def z_limit(degrees: float = np.inf) -> float:
    """Two-sided limit of (estimate - truth) / error at FALSE_ALARM (Student 1908).

    `degrees` of freedom of the standard error: batches - 1, or inf where it is known.
    """
    return float(stats.t.isf(0.5 * FALSE_ALARM, degrees))


def z_scores(estimate, error, truth):
    """(estimate - truth) / error; 0 where both error and difference are zero (definition)."""
    difference = np.asarray(estimate, float) - truth
    error = np.broadcast_to(np.asarray(error, float), difference.shape)
    safe = np.where(error > 0.0, error, 1.0)
    return np.where(error > 0.0, difference / safe, np.where(difference == 0.0, 0.0, np.inf))


def agrees(
    estimate: float,
    standard_error: float,
    truth: float,
    catches: float = 0.01,
    degrees: float = np.inf,
) -> bool:
    """Whether an estimate agrees with the truth.

    Parameters
    ----------
    catches : float
        Relative error of the estimate that must be seen with a probability of POWER.
    degrees : float
        Of freedom of the standard error.

    Raises
    ------
    TooNoisyError
        Where the standard error is too large for that.
    """
    limit = z_limit(degrees)
    largest = catches * abs(truth) / (limit + stats.norm.ppf(POWER))
    if not standard_error <= largest:
        raise TooNoisyError(
            f"standard error {standard_error:.3g} of {truth:.4g}; an error of {catches:.2%} can "
            f"be caught only below {largest:.3g}"
        )
    z = float(z_scores(estimate, standard_error, truth))
    SEEN.append((float(truth), float(estimate), float(standard_error), z))
    return abs(z) <= limit


def all_agree(estimate, standard_error, truth, catches=0.01, degrees=np.inf) -> bool:
    """Whether `agrees` holds for every element of arrays of one shape."""
    values = np.broadcast_arrays(estimate, standard_error, truth)
    rows = zip(*(v.ravel() for v in values), strict=True)
    verdicts = [agrees(e, s, t, catches, degrees) for e, s, t in rows]  # none is left unjudged
    return all(verdicts)


def fits(counts, probabilities, catches: float = 0.01) -> bool:
    """Whether counts follow the given probabilities of their bins (Pearson's chi-square).

    Parameters
    ----------
    catches : float
        A distortion by this share (up in some bins, down in others) must be seen with a
        probability of POWER.

    Raises
    ------
    TooNoisyError
        Where there are too few counts for that, or for the chi-square law in any bin.
    """
    counts, probabilities = np.ravel(counts), np.ravel(probabilities)
    assert abs(probabilities.sum() - 1.0) < 1e-6, "the bins do not cover everything"
    expected = counts.sum() * probabilities
    limit = stats.chi2.isf(FALSE_ALARM, len(counts) - 1)
    seen = stats.ncx2.sf(limit, len(counts) - 1, counts.sum() * catches**2)
    if expected.min() < 50.0 or seen < POWER:
        raise TooNoisyError(f"{expected.min():.0f} counts in a bin, power {seen:.3f}")
    square = float(((counts - expected) ** 2 / expected).sum())
    freedom = len(counts) - 1
    SEEN.append(
        (freedom, square, np.sqrt(2.0 * freedom), (square - freedom) / np.sqrt(2.0 * freedom))
    )
    return bool(square <= limit)
