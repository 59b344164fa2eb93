"""Types of lamps as makers list them, from the data table."""

from dataclasses import dataclass
from functools import cache

from raysim.library.tables import data_rows


@dataclass(frozen=True)
class LampType:
    """Typical catalogue figures of one low-pressure mercury lamp type.

    `caps` is 2 for a lamp with a cap at each end, 1 for one with both leads in one cap; `pins` are
    those of each cap.
    """

    name: str
    tube_length_mm: float
    tubes: int
    diameter_mm: float
    arc_mm: float
    cap: str
    pins: int
    caps: int
    weight_g: float
    lamp_W_low: float
    lamp_W_high: float
    uvc_W_low: float
    uvc_W_high: float
    irradiance_1m_low_uW_cm2: float
    irradiance_1m_high_uW_cm2: float
    keitz_W_low: float
    keitz_W_high: float
    source: str
    mark: str
    note: str = ""


@cache
def lamp_types() -> dict[str, LampType]:
    """All lamp types by name."""
    return {row["name"]: LampType(**row) for row in data_rows("lamp", "name")}


SAME_LENGTH, SAME_TUBE = 0.12, 0.15  # shares within which two sizes are alike (our own estimate)


def lamp_like(
    tubes: int, diameter_mm: float, length_mm: float, of: str = "arc_mm"
) -> LampType | None:
    """The catalogue lamp of this tube whose arc, or else `tube_length_mm`, is of this length."""
    near = [
        kind
        for kind in lamp_types().values()
        if kind.tubes == tubes
        and abs(diameter_mm - kind.diameter_mm) < SAME_TUBE * kind.diameter_mm
        and abs(length_mm - getattr(kind, of)) < SAME_LENGTH * getattr(kind, of)
    ]
    return min(near, key=lambda kind: abs(length_mm - getattr(kind, of)), default=None)
