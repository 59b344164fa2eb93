"""Every number that is assumed unless the user gives it, from the data table."""

from dataclasses import dataclass
from functools import cache

from raysim.library.tables import data_rows


@dataclass(frozen=True)
class Assumption:
    """One stated default: its value, unit, meaning and where it comes from."""

    key: str
    value: float
    unit: str
    meaning: str
    source: str
    mark: str


@cache
def assumptions() -> dict[str, Assumption]:
    """All stated assumptions by key."""
    return {row["key"]: Assumption(**row) for row in data_rows("assumption", "key")}
