"""What a study of lamps hands on: for each number of lamps the best choice, and the proof."""

from collections import Counter
from dataclasses import dataclass

import numpy as np

from raysim.base.figures import Figures
from raysim.scene.build import BuiltScene
from raysim.studies.lamps.places import LampClearances, Place
from raysim.studies.lamps.trace import TracedLamps


@dataclass(frozen=True)
class LampCount(Figures):
    """The best choice found of one number of lamps.

    Attributes
    ----------
    choices : tuple of tuple of int
        Places of each of `traced`, as numbers of `LampStudy.places`.
    traced : tuple of TracedLamps
        With their tubes in the way, the best first.
    most : float
        What the worst face of any choice of as many places gets at most, W/m2, tubes neither
        blocking nor reflecting; infinite where the run was stopped before it was known.
    alone : float
        About what the best choice gives its darkest face so, W/m2; infinite as above.
    swaps : (places,) float64
        Worst spot with each place in the best choice, one that helps least left out, as a share of
        the best choice, lamps as sources alone: for the map.
    cost : float or None
        Of lamps, holders and ballasts as far as they have a price; None without any.
    unpriced : int
        Lines of the bill without a price.
    """

    number: int
    choices: tuple[tuple[int, ...], ...]
    traced: tuple[TracedLamps, ...]
    most: float
    alone: float
    swaps: np.ndarray
    cost: float | None
    unpriced: int

    @property
    def best(self) -> TracedLamps:
        """The choice with the brightest worst face (definition)."""
        return self.traced[0]

    @property
    def taken(self) -> float:
        """About what its own tubes take from the darkest face, as a share of what they leave.

        Light as sources alone over that as traced, less 1 (definition).
        """
        light = self.best.worst.irradiance
        return max(self.alone / light - 1.0, 0.0) if light > 0.0 else np.inf

    @property
    def could_gain(self) -> float:
        """How much brighter any other choice could be at its worst face, as a share.

        Upper bound of all over the lower bound of the best as traced, less 1 (definition).
        """
        lower = self.best.worst.lower_bound
        return self.most / lower - 1.0 if lower > 0.0 else np.inf


@dataclass(frozen=True)
class LampStudy(Figures):
    """Everything found about lamps.

    Attributes
    ----------
    scene : BuiltScene
        As it was asked about, in one pose.
    places : tuple of Place
        Candidates with room.
    no_room : Counter
        Candidates left out, by reason.
    spacing : float or None
        Of the grid, m; None for a list.
    numbers : tuple of LampCount
    number : int
        Of lamps, that the answer tells of.
    now : TracedLamps or None
        The lamps of the scene as they are.
    respirators : int
        Judged objects in the box.
    currency : str
        Of the prices, "" without any.
    photons, rays : int
    interrupted : bool
        Whether it was stopped before its end.
    other_poses : int
        Of the scene, that were not looked at.
    """

    scene: BuiltScene
    seed: int
    places: tuple[Place, ...]
    no_room: Counter[str]
    clearances: LampClearances
    spacing: float | None
    numbers: tuple[LampCount, ...]
    number: int
    now: TracedLamps | None
    respirators: int
    currency: str
    photons: int
    rays: int
    interrupted: bool = False
    other_poses: int = 0

    @property
    def best(self) -> LampCount:
        """What the answer tells of: `number` lamps (definition)."""
        return next(one for one in self.numbers if one.number == self.number)
