"""Sites that are too dark to wait for: found with paths enough, then left alone."""

import numpy as np

from raysim.estimate.bounds import MOST_ROUNDS
from raysim.estimate.face_sides import GUESS_ERRORS
from raysim.estimate.refinement import Refinement
from raysim.transport.paths import PATH_BATCHES, ROUND_BATCHES, Paths

MOST_PATHS = 2**17  # paths per batch, in all, for one face-side
# The same for one that seems too dark to wait for (`Refinement.too_dark`): if there is light
# on it, so many paths find some. A path that meets a lamp brings thousands of times that
# irradiance, so one in some thousand paths is enough to reach it; here are 65,000.
ENOUGH_PATHS = 2**11
LEAST_ENOUGH = 2**7  # the same at least, whatever the limit
CLOSE_PATHS = ENOUGH_PATHS * ROUND_BATCHES // PATH_BATCHES  # the same in a run of more batches
DARK_ERRORS = 3.0  # standard errors that its irradiance must lie below it


def found_dark(run: Paths, state: Refinement) -> np.ndarray:
    """Cases in which a site that was given paths enough was found too dark: no more can help.

    They are closed, (cases decided,) bool: the others may go on.
    """
    return np.asarray(dark_sites(run, state).any(axis=1))


def dark_sites(run: Paths, state: Refinement) -> np.ndarray:
    """Sites that were given paths enough and found too dark, (cases decided, sites) bool."""
    known = np.flatnonzero(state.row >= 0)
    enough = enough_paths(state) if (state.too_dark > 0.0).all() else np.full((1, 1), MOST_PATHS)
    spent = (run.paths[state.row[known]] >= enough) | (state.rounds[known] >= MOST_ROUNDS)
    dark = np.zeros((state.cases_decided, len(state.row)), bool)
    spent &= ~state.reads[known]
    dark[:, known] = spent & sites_seem_dark(state, known, DARK_ERRORS)
    return dark


def enough_paths(state: Refinement) -> np.ndarray:
    """Paths per batch that tell whether a site is too dark, (1 or cases decided, 1)."""
    enough = np.maximum(ENOUGH_PATHS * state.enough_share, LEAST_ENOUGH)[:, None]
    return np.asarray(enough * (ROUND_BATCHES / state.batches))


def sites_seem_dark(state: Refinement, sites: np.ndarray, errors: float) -> np.ndarray:
    """Whether sites got no light, or less than what is too dark by so many standard errors.

    (cases decided, sites) bool.
    """
    mean, error = (
        state.mean[: state.cases_decided][:, sites],
        state.error[: state.cases_decided][:, sites],
    )
    return seems_dark(mean, error, state.too_dark[:, None], errors)


def seems_dark(
    mean: np.ndarray,
    error: np.ndarray,
    limit: float | np.ndarray,
    errors: float = GUESS_ERRORS,
) -> np.ndarray:
    """Whether there is no light, or less than a limit (W/m2) by so many standard errors, bool."""
    return np.asarray((mean <= 0.0) | (mean + errors * error < limit))
