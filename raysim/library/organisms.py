"""Organisms and the doses that inactivate them, by carrier, from the data table."""

import difflib
from dataclasses import dataclass
from functools import cache
from typing import Any

from raysim.base.units import J_M2_PER_MJ_CM2
from raysim.library.survival import Kinetics
from raysim.library.tables import data_rows

WATER, STEEL, FABRIC = "water", "steel", "fabric"
CARRIERS = (WATER, STEEL, FABRIC)


@dataclass(frozen=True)
class Organism:
    """One organism on one carrier; doses per factor of ten (D90) in J/m2."""

    name: str
    carrier: str
    d90_low: float
    d90: float
    d90_high: float
    tail: float
    tail_d90: float
    targets: float
    source: str
    mark: str
    note: str

    def kinetics(self, end: str = "high") -> Kinetics:
        """Survival law at the "low", "expected" or "high" end of the range of D90."""
        d90 = {"low": self.d90_low, "expected": self.d90, "high": self.d90_high}[end]
        return Kinetics(d90, self.tail, self.tail_d90, self.targets)


@cache
def organisms() -> tuple[Organism, ...]:
    """All organisms of the data table."""
    return tuple(_organism(row) for row in data_rows("organism", "name", "carrier"))


def _organism(row: dict[str, Any]) -> Organism:
    low, middle, high = (row[key] * J_M2_PER_MJ_CM2 for key in ("D90_low", "D90", "D90_high"))
    if not 0.0 < low <= middle <= high or row["carrier"] not in CARRIERS:
        raise ValueError(f"{row['name']}, {row['carrier']}: range or carrier not understood")
    return Organism(
        row["name"],
        row["carrier"],
        low,
        middle,
        high,
        row.get("tail", 0.0),
        row.get("tail_D90", float("inf")) * J_M2_PER_MJ_CM2,
        row.get("targets", 1.0),
        row["source"],
        row["mark"],
        row.get("note", ""),
    )


def find_organism(name: str, carrier: str) -> Organism:
    """The organism of this name on this carrier; ValueError says which there are instead."""
    wanted = name.casefold().strip()
    of_name = [o for o in organisms() if o.name.casefold() == wanted]
    if not of_name:
        names = sorted({o.name for o in organisms()})
        folded = {n.casefold(): n for n in names}
        near = difflib.get_close_matches(wanted, folded, n=1, cutoff=0.5)
        known = f"did you mean {folded[near[0]]}?" if near else f"known: {', '.join(names)}"
        raise ValueError(f'no organism is called "{name}"; {known}')
    for organism in of_name:
        if organism.carrier == carrier:
            return organism
    known = " or ".join(f'"{o.carrier}"' for o in of_name)
    raise ValueError(
        f'there is no figure for {of_name[0].name} on carrier "{carrier}", only on {known}; on '
        "fabric germs die far more slowly than in water or on steel"
    )
