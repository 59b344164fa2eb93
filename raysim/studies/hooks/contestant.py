"""One layout in a race, and what became of it."""

from dataclasses import dataclass, field
from enum import Enum, auto
from typing import Any

import numpy as np

from raysim.dose.result import Spot
from raysim.scene.triangles import SceneTriangles
from raysim.studies.hooks.load import Layout
from raysim.studies.tracer import WorstOfCases
from raysim.transport.kernel_scene import KernelScene


class Fate(Enum):
    """What became of a layout in its race."""

    RACING = auto()
    FINALIST = auto()
    WORSE = auto()  # shown to be worse than another one
    ASIDE = auto()  # looked darker, not shown to be worse
    TOO_DARK = auto()  # a face would take longer than anyone waits


@dataclass
class Contestant:
    """One layout on trial; irradiances in W/m2, cautious case.

    Attributes
    ----------
    sites : (dark faces,) int64
        Rows of the judged face-sides that could be the worst.
    mean, error : (dark faces,) float64
        Of the last round at them.
    upper : float
        Upper bound on the worst face.
    lower : float
        Lower bound on the worst face, whichever it is; 0 before all were looked at.
    worst : Spot or None
        The worst face, once all were looked at.
    in_the_way : str
        What of it comes nearer than asked; such a layout is compared, but cannot win.
    cells : (dark cells,) int64
        Rows of the cells that were darkest at the first look at all of them.
    """

    layout: Layout
    triangles: SceneTriangles | None
    arrays: KernelScene | None
    sites: np.ndarray
    mean: np.ndarray
    error: np.ndarray
    upper: float = np.inf
    lower: float = 0.0
    worst: Spot | None = None
    fate: Fate = Fate.RACING
    found: WorstOfCases | None = field(default=None, repr=False)
    in_the_way: str = ""
    cells: np.ndarray = field(default_factory=lambda: np.zeros(0, np.int64))

    def __getstate__(self) -> dict[str, Any]:
        """Sent elsewhere, it leaves behind what it is traced by, which is large."""
        return vars(self) | {"triangles": None, "arrays": None}

    def take(self, other: "Contestant") -> None:
        """What a fresh look at this layout found, wherever that was done."""
        self.mean, self.error, self.upper = other.mean, other.error, other.upper
        self.found, self.worst, self.lower = other.found, other.worst, other.lower

    @property
    def estimate(self) -> float:
        """Irradiance of the worst face, as far as known (definition)."""
        return float(self.mean.min()) if self.worst is None else self.worst.irradiance

    @property
    def estimate_error(self) -> float:
        """Standard error of `estimate`."""
        if self.worst is not None:
            return self.worst.standard_error
        return float(self.error[self.mean.argmin()])

    def leave(self, fate: Fate) -> None:
        """Take no further part in the race: what it is traced by is given up."""
        self.fate, self.triangles, self.arrays = fate, None, None
