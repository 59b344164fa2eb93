"""State of the refinement of judged face-sides by backward paths."""

from dataclasses import dataclass, field

import numpy as np

from raysim.estimate.bounds import FIRST_ROUND_ERROR, ROUND_ERROR
from raysim.transport.paths import ROUND_BATCHES
from raysim.transport.tallies import fitting

# Cases whose worst face-side is settled: cautious and expected. The bright one comes along.
DECIDED = 2

# What backward paths change: an entry for each site, for each site of a round, and single numbers.
_BY_SITE = (
    *("mean", "error", "even", "path_error", "share", "bound"),
    *("bright", "rounds", "row", "reads"),
)
_OF_ROUND = ("planned", "planned_paths")
_BY_CASE = ("clip",)
_NUMBERS = ("pieces_done", "paths", "rays", "reached")


@dataclass
class Refinement:
    """State of the refinement over all judged face-sides; cases as in `CASES`.

    Attributes
    ----------
    forward_mean, forward_error : (cases, sites) float64, W/m2
        Irradiance and standard error from photon counts, with the lamp factors applied.
    counts : (cases, sites) float64
        Photons that would arrive if all sites were lit alike: what the counts are worth.
    share : (cases, sites) float64
        Weight of the backward paths in what follows; the photon counts have the rest. It follows
        from their numbers and never from what they found: whichever erred to one side would be
        believed more often, and the mean over all sites would be off.
    mean, error : (cases, sites) float64, W/m2
        Irradiance and standard error from both, with the lamp factors applied.
    path_error : (cases, sites) float64, W/m2
        Standard error of backward paths alone; inf where there are none.
    even : (cases, sites) float64, W/m2
        As `mean`, but as it was after the first round, for means over many sites: those that seem
        darker than they are get more paths, which then tell better; those that seem brighter keep
        what they have, so that `mean` is some per cent too large on average.
    bound : (cases, sites) float64, W/m2
        Lower bound from both.
    bright : (sites,) bool
        Face-sides among which the best-lit is named; none before they were looked for.
    rounds : (sites,) int64
        How often backward paths from it were looked at.
    row : (sites,) int64
        Start of each site in the backward run, -1 for none yet.
    reads : (sites,) bool
        Sites whose paths read the photons' counts, see `READING_ERROR`.
    paths, rays : int
        Backward paths and ray segments traced.
    reached : bool
        Whether the precision asked for was reached.
    planned, planned_paths : (planned,) int64
        Sites of the round in progress, and the further paths per batch of each.
    pieces_done : int
        Pieces of that round that were traced.
    cases_decided : int
        The first so many cases are to be settled, others come along.
    first_error, round_error : float
        Error probability of the bounds in the first round of a site, and in each later one, of
        which there are at most MOST_ROUNDS - 1.
    clip : (cases,) float64, W/m2
        Scores above count for so much only in the bound of a first round.
    too_dark : (1,) or (cases decided,) float64, W/m2
        A site that gets less than this is too dark to wait for: how much less need not be known.
    enough_share : like it
        Share of `darkness.ENOUGH_PATHS` that tells such a site: less, where a limit is higher than
        what takes a week, as fewer paths then suffice to reach it.
    batches : int
        Of the backward run: fewer make its first round quicker, and its bounds wider.
    everywhere : bool
        Whether sites that could not be the worst are looked at once as well, for the map.
    """

    forward_mean: np.ndarray
    forward_error: np.ndarray
    counts: np.ndarray
    share: np.ndarray
    mean: np.ndarray
    error: np.ndarray
    path_error: np.ndarray
    even: np.ndarray
    bound: np.ndarray
    bright: np.ndarray
    rounds: np.ndarray
    row: np.ndarray
    reads: np.ndarray
    planned: np.ndarray
    planned_paths: np.ndarray
    clip: np.ndarray
    pieces_done: int = 0
    paths: int = 0
    rays: int = 0
    reached: bool = False
    cases_decided: int = DECIDED
    first_error: float = FIRST_ROUND_ERROR
    round_error: float = ROUND_ERROR
    too_dark: np.ndarray = field(default_factory=lambda: np.zeros(1))
    enough_share: np.ndarray = field(default_factory=lambda: np.ones(1))
    batches: int = ROUND_BATCHES
    everywhere: bool = False

    def tallies(self) -> dict[str, np.ndarray]:
        """All that backward paths have changed; `restore` takes it back."""
        return {
            name: np.asarray(getattr(self, name))
            for name in _BY_SITE + _BY_CASE + _OF_ROUND + _NUMBERS
        }

    def restore(self, tallies: dict[str, np.ndarray]) -> None:
        """Go on from the state of another run with the same photons.

        Raises
        ------
        ValueError, KeyError
            Where it does not fit.
        """
        for name in _BY_SITE + _BY_CASE:
            setattr(self, name, fitting(tallies, name, getattr(self, name)).copy())
        for name in _OF_ROUND:
            like = np.zeros(np.shape(tallies["planned"]), np.int64)
            setattr(self, name, fitting(tallies, name, like).copy())
        for name in _NUMBERS:
            setattr(self, name, type(getattr(self, name))(tallies[name]))
        known = np.sort(self.row[self.row >= 0])
        if (known != np.arange(len(known))).any() or (self.row < -1).any():
            raise ValueError("rows are not numbered through")
        if (self.planned < 0).any() or (self.row[self.planned] < 0).any():
            raise ValueError("the round in progress has sites without a row")

    def sites_by_row(self) -> np.ndarray:
        """Sites that have backward paths, in the order of their rows, (rows,) int64."""
        known = np.flatnonzero(self.row >= 0)
        return known[np.argsort(self.row[known])]


def forward_only(mean: np.ndarray, error: np.ndarray, bound: np.ndarray) -> Refinement:
    """State before the first backward path: what the photons say of each site.

    Parameters
    ----------
    mean, error, bound : (cases, sites) float64, W/m2
    """
    cases, sites = mean.shape
    return Refinement(
        forward_mean=mean,
        forward_error=error,
        counts=np.zeros((cases, sites)),
        share=np.zeros((cases, sites)),
        mean=mean.copy(),
        error=error.copy(),
        path_error=np.full((cases, sites), np.inf),
        even=mean.copy(),
        bound=bound.copy(),
        bright=np.zeros(sites, bool),
        rounds=np.zeros(sites, np.int64),
        row=np.full(sites, -1),
        reads=np.zeros(sites, bool),
        planned=np.zeros(0, np.int64),
        planned_paths=np.zeros(0, np.int64),
        clip=np.full(cases, np.inf),
    )
