"""The verdict on a box with its load: its state, its timer, and every reason for it."""

from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum, unique

from raysim.base.figures import Figures


@unique
class State(StrEnum):
    """What may be done with the box."""

    READY = "ready"
    READY_AFTER = "ready after"  # something that a person still has to do or to confirm
    DO_NOT_USE = "do not use"


@unique
class Why(StrEnum):
    """The code of a reason, that programs may rely on; its wording may change."""

    NO_FINITE_TIME = "no_finite_time"
    LONGER_THAN_A_SHIFT = "longer_than_a_shift"
    NO_CYCLE_ALLOWED = "no_cycle_allowed"
    READING_DISAGREES = "reading_disagrees"
    LEAK_ABOVE_LIMIT = "leak_above_limit"
    RUN_INTERRUPTED = "run_interrupted"
    READING_MISSING = "reading_missing"
    READING_UNDATED = "reading_undated"
    READING_OLD = "reading_old"
    LINING_NOT_CHECKED = "lining_not_checked"
    LAMP_NOT_CHECKED = "lamp_not_checked"
    LEAK_NOT_CHECKED = "leak_not_checked"
    PRECISION_NOT_REACHED = "precision_not_reached"
    LAMP_PAST_LIFE = "lamp_past_life"
    TOUCHING = "touching"
    TARGET_BELOW_PRINT = "target_below_print"

    @property
    def forbids(self) -> bool:
        """Whether the box must not be used while this holds; else something is still to be done."""
        return self in FORBIDS


FORBIDS = frozenset(
    {
        Why.NO_FINITE_TIME,
        Why.LONGER_THAN_A_SHIFT,
        Why.NO_CYCLE_ALLOWED,
        Why.READING_DISAGREES,
        Why.LEAK_ABOVE_LIMIT,
    }
)


@dataclass(frozen=True)
class Reason:
    """Why a box is not ready: the code, what is the matter, and the cheapest way to mend it.

    `step` names what has to be done in a few words, such as "a meter check".
    """

    code: Why
    says: str
    mend: str
    step: str


@dataclass(frozen=True)
class HoldsFor:
    """What a verdict belongs to. If anything of it changes, the verdict is stale.

    `scene` is the hash of the scene file and its meshes, `lamps` are names and hours of the lamps
    that burn, `reading_date` is the day of the oldest reading and `seams_date` that of the survey
    of the seams, None without one; `gaps` are names of the gaps whose stray light was calculated.
    """

    scene: str
    lamps: tuple[tuple[str, float], ...]
    reading_date: date | None
    seams_date: date | None = None
    gaps: tuple[str, ...] = ()


@dataclass(frozen=True)
class Verdict(Figures):
    """What everything shows of a run, and the logbook obeys.

    Attributes
    ----------
    timer : float
        The one timer setting, s; inf where there is none, as always with `DO_NOT_USE`.
    made_at : datetime
        When it was made.
    calculated : float
        Exposure time of the cautious case, s, for information; inf if there is none.
    reasons : tuple of Reason
        Those that forbid use first.
    """

    timer: float
    calculated: float
    reasons: tuple[Reason, ...]
    holds_for: HoldsFor
    made_at: datetime

    @property
    def state(self) -> State:
        """The state that follows from the reasons."""
        if any(reason.code.forbids for reason in self.reasons):
            return State.DO_NOT_USE
        return State.READY_AFTER if self.reasons else State.READY

    @property
    def forbids(self) -> bool:
        """Whether the box must not be used (definition)."""
        return self.state is State.DO_NOT_USE
