"""Types of lamps as makers list them, from the data table."""

from dataclasses import dataclass
from functools import cache

from raysim.library.tables import data_rows


@dataclass(frozen=True)
class LampType:
    """Typical catalogue figures of one low-pressure mercury lamp type."""

    name: str
    tube_length_mm: float
    tubes: int
    diameter_mm: float
    arc_mm: float
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
