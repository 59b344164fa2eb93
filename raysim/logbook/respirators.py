"""Respirators of a logbook: owners, cycles and doses so far, limits."""

import difflib
import sqlite3
from dataclasses import asdict, dataclass, field, replace
from typing import Any

from raysim.base.units import J_M2_PER_J_CM2
from raysim.library.assumptions import assumptions
from raysim.logbook.book import LogbookError, add_entry, writing

IN_USE, RETIRED = "in use", "retired"
ENDED, INTERRUPTED, VOID, RUNNING = "ended", "interrupted", "void", "running"


def _stated_dose(key: str) -> Any:
    """A field in J/m2; a stated assumption in J/cm2 is its default."""
    return field(default_factory=lambda: assumptions()[key].value * J_M2_PER_J_CM2)


@dataclass(frozen=True)
class Respirator:
    """A respirator and its limits; doses in J/m2 on its best-lit face, one side.

    The default limits are stated assumptions.
    """

    code: str
    owner: str  # initials
    model: str = ""
    state: str = IN_USE
    donnings_limit: int = field(default_factory=lambda: int(assumptions()["donnings_limit"].value))
    # By the local policy, or nominal practice.
    cycles_limit: int | None = field(
        default_factory=lambda: int(assumptions()["cycles_limit"].value)
    )
    dose_limit: float = _stated_dose("material_dose_J_cm2")
    strap_dose_limit: float = _stated_dose("strap_dose_J_cm2")


@dataclass(frozen=True)
class Tally:
    """Cycles and doses of a respirator so far.

    `ended`, `interrupted`, `running` count cycles; `dose` and `strap_dose` (J/m2) add up the
    best-lit face over all cycles that ran, including interrupted and running ones; `unknown` counts
    cycles without a dose, for which the sums are too low.
    """

    respirator: Respirator
    ended: int
    interrupted: int
    running: int
    dose: float
    strap_dose: float
    unknown: int

    @property
    def cycles(self) -> int:
        """Cycles that count as treatments, a running one included."""
        return self.ended + self.running

    def reached(self, dose: float = 0.0, strap_dose: float = 0.0, cycles: int = 0) -> list[str]:
        """Limits that would be passed by `cycles` more cycles with these doses (J/m2)."""
        limits = self.respirator
        after = self.cycles + cycles
        passed = []
        if limits.cycles_limit is not None and after > limits.cycles_limit:
            passed.append(f"limit of {limits.cycles_limit} cycles")
        if after > limits.donnings_limit:
            passed.append(f"limit of {limits.donnings_limit} donnings")
        for what, total, limit in (
            ("dose", self.dose + dose, limits.dose_limit),
            ("strap dose", self.strap_dose + strap_dose, limits.strap_dose_limit),
        ):
            if total > limit * (1.0 + 1e-9):
                passed.append(
                    f"{what} limit of {limit / J_M2_PER_J_CM2:g} J/cm2 "
                    f"(it would have {total / J_M2_PER_J_CM2:.3g})"
                )
        return passed


def add_respirator(
    book: sqlite3.Connection, respirator: Respirator, operator: str, note: str = ""
) -> int:
    """Enter a new respirator; returns the number of the entry. Its code must be new."""
    with writing(book):
        if find(book, respirator.code) is not None:
            raise LogbookError(
                f'respirator "{respirator.code}" is in the logbook already. Mend: take another '
                "code, or correct it with 'raysim log correct'"
            )
        return _insert(book, respirator, operator, note)


def correct_respirator(
    book: sqlite3.Connection, code: str, operator: str, note: str, **changes: object
) -> int:
    """Enter a new row about a known respirator, with other values for some of its fields."""
    with writing(book):
        known = get(book, code)
        return _insert(book, replace(known, **changes), operator, note)  # type: ignore[arg-type]


def _insert(book: sqlite3.Connection, r: Respirator, operator: str, note: str) -> int:
    for what, text in (("code", r.code), ("owner", r.owner)):
        if not text.strip():
            raise LogbookError(f"a respirator needs its {what}. Mend: give one")
    texts = {"code": r.code.strip(), "owner": r.owner.strip(), "model": r.model.strip()}
    return add_entry(book, "respirator", operator, note, None, **asdict(r) | texts)


def find(book: sqlite3.Connection, code: str) -> Respirator | None:
    """The respirator of this code as it stands now, or None; capitals do not matter."""
    row = book.execute("SELECT * FROM respirator_now WHERE code = ?", (code.strip(),)).fetchone()
    return None if row is None else _respirator(row)


def get(book: sqlite3.Connection, code: str) -> Respirator:
    """The respirator of this code; an unknown code is refused, and the nearest one named."""
    found = find(book, code)
    if found is None:
        codes = [row["code"] for row in book.execute("SELECT code FROM respirator_now")]
        near = difflib.get_close_matches(code, codes, n=1, cutoff=0.5)
        mend = f"did you mean {near[0]}?" if near else "enter it with 'raysim log add'"
        raise LogbookError(f'no respirator "{code}" in the logbook. Mend: {mend}')
    return found


def tally(book: sqlite3.Connection, respirator: Respirator) -> Tally:
    """Cycles and doses of a respirator up to now."""
    row = book.execute(
        "SELECT total(c.outcome = 'ended') AS ended, total(c.outcome = 'running') AS running,"
        " total(c.outcome = 'interrupted') AS interrupted, total(c.worn * c.dose) AS dose,"
        " total(c.worn * c.strap_dose) AS strap_dose,"
        " total(c.worn > 0 AND (c.dose IS NULL OR c.strap_dose IS NULL)) AS unknown"
        " FROM load AS l JOIN cycle_now AS c ON c.entry = l.cycle WHERE l.code = ?",
        (respirator.code,),
    ).fetchone()
    counts = {name: int(row[name]) for name in (ENDED, INTERRUPTED, RUNNING, "unknown")}
    return Tally(respirator, dose=row["dose"], strap_dose=row["strap_dose"], **counts)


def tallies(book: sqlite3.Connection) -> list[Tally]:
    """Tallies of every respirator, by code."""
    rows = book.execute("SELECT * FROM respirator_now ORDER BY code").fetchall()
    return [tally(book, _respirator(row)) for row in rows]


def _respirator(row: sqlite3.Row) -> Respirator:
    return Respirator(**{key: row[key] for key in row.keys() if key != "entry"})  # noqa: SIM118
