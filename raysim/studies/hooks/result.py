"""What a study of hooks hands on: layouts, numbers of respirators, hook points."""

from collections import Counter
from dataclasses import dataclass

import numpy as np

from raysim.base.figures import Figures
from raysim.dose.result import Spot
from raysim.scene.triangles import SceneTriangles
from raysim.studies.hooks.clearances import Clearances
from raysim.studies.hooks.contestant import Fate
from raysim.studies.hooks.load import Hang, Layout, Load


@dataclass(frozen=True)
class Ranked(Figures):
    """One layout, cautious case; irradiances in W/m2, times in s.

    Attributes
    ----------
    estimate, error : float
        Irradiance of the worst face and its standard error.
    lower : float
        Lower bound on the worst face, whichever it is; 0 where not all faces were looked at.
    upper : float
        Upper bound on the worst face.
    time : float
        Exposure time from `lower`, or from the estimate where there is no bound; warm-up included.
        No finite one where a face was found too dark to wait for.
    field : (faces, 2) float64
        Irradiance of the judged face-sides as the mean over their cell of 1 cm2, for pictures.
    dark : bool
        Whether a face was found too dark to wait for.
    in_the_way : str
        What of it comes nearer than asked; "" for nothing.
    """

    layout: Layout
    triangles: SceneTriangles
    worst: Spot | None
    estimate: float
    error: float
    lower: float
    upper: float
    time: float
    field: np.ndarray
    dark: bool
    in_the_way: str = ""

    @property
    def has_bound(self) -> bool:
        """Whether all faces were looked at, so that `time` rests on a bound."""
        return self.worst is not None

    def beats(self, other: "Ranked") -> bool:
        """Whether its worst face gets more, with the confidence of the study (definition)."""
        return bool(self.lower > other.upper)


@dataclass(frozen=True)
class NumberResult(Figures):
    """The best layouts of one number of respirators, the best first.

    Attributes
    ----------
    tried, worse, aside, dark : int
        Layouts traced; shown to be worse than the best; left without proof; found too dark.
    now : Ranked or None
        The hooks of the scene as they are, if they are as many.
    per_hour : float
        Respirators per hour with the best layout, loading included.
    upper_of_others : float
        Largest upper bound on the worst face of the other layouts that keep clear, W/m2.
    """

    number: int
    layouts: tuple[Ranked, ...]
    tried: int
    worse: int
    aside: int
    dark: int
    now: Ranked | None
    per_hour: float
    upper_of_others: float

    @property
    def best(self) -> Ranked:
        """The layout with the brightest worst face (definition)."""
        return self.layouts[0]

    @property
    def all_dark(self) -> bool:
        """Whether every layout tried was found too dark to wait for (definition)."""
        return self.dark == self.tried

    @property
    def could_gain(self) -> float:
        """How much brighter any other layout tried could be at its worst face, as a share.

        Largest upper bound of the others over the lower bound of the best, less 1 (definition).
        """
        return self.upper_of_others / self.best.lower - 1.0 if self.best.lower > 0.0 else np.inf


@dataclass(frozen=True)
class HookPoint(Figures):
    """A single respirator on one hook point: time (s) from the estimate of its worst face.

    No finite one where a face was found too dark to wait for.
    """

    hang: Hang
    time: float
    fate: Fate


@dataclass(frozen=True)
class HookStudy(Figures):
    """Everything found about hooks.

    Attributes
    ----------
    points : tuple of HookPoint
        Every hook point with room, with one respirator alone in the box.
    no_room : Counter
        Points left out, by reason.
    numbers : tuple of NumberResult
    best : NumberResult
        The number with the most respirators per hour.
    beyond : int or None
        The first number of which no layout was found that keeps clear.
    touching : tuple of str
        What `raysim check` would say of contacts in the best layout.
    loading : float
        Seconds between two cycles.
    interrupted : bool
        Whether it was stopped before its end: fewer layouts, and times without a bound.
    """

    load: Load
    seed: int
    points: tuple[HookPoint, ...]
    no_room: Counter[str]
    clearances: Clearances
    numbers: tuple[NumberResult, ...]
    best: NumberResult
    beyond: int | None
    touching: tuple[str, ...]
    loading: float
    rays: int
    interrupted: bool = False
