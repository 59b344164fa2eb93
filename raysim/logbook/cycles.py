"""Cycles of a logbook: started, ended, interrupted, void."""

import sqlite3
from collections.abc import Sequence
from dataclasses import asdict, dataclass, fields
from datetime import UTC, datetime, timedelta

from raysim.base.units import minutes_seconds
from raysim.logbook import respirators
from raysim.logbook.book import LogbookError, add_entry, unstamp, writing
from raysim.logbook.respirators import ENDED, INTERRUPTED, RETIRED, RUNNING, VOID


@dataclass(frozen=True)
class Setting:
    """What a cycle is run with.

    `timer` in s; `dose` and `strap_dose` (J/m2) are those of the best-lit face of a respirator
    and of its straps by the end of the timer, with new lamps; None where nobody knows.
    """

    box: str
    timer: float
    scene: str = ""
    scene_sha256: str = ""
    dose: float | None = None
    strap_dose: float | None = None


@dataclass(frozen=True)
class Cycle:
    """One cycle as it stands now; `ran` in s."""

    number: int
    started: datetime
    operator: str
    setting: Setting
    codes: tuple[str, ...]
    outcome: str
    ran: float
    note: str


def start_cycle(
    book: sqlite3.Connection,
    codes: Sequence[str],
    setting: Setting,
    operator: str,
    *,
    note: str = "",
    at: datetime | None = None,
    overridden: str = "",
) -> tuple[int, list[str]]:
    """Enter the start of a cycle; returns its number and warnings.

    Raises
    ------
    LogbookError
        Where a respirator is unknown, retired, still in a running cycle or past a limit;
        `overridden`, the reason given by the responsible person, turns limits into warnings.
    """
    if not codes:
        raise LogbookError("a cycle needs respirators. Mend: name their codes")
    if not setting.timer > 0.0:
        raise LogbookError("a cycle needs its timer setting. Mend: give --timer or --result")
    if len({code.strip().casefold() for code in codes}) < len(codes):
        raise LogbookError("a respirator is named twice. Mend: name each once")
    with writing(book):
        warnings = _objections(book, codes, setting, bool(overridden.strip()))
        warnings += _still_running(book, setting.box)
        reason = f"limits overridden: {overridden.strip()}" if overridden.strip() else ""
        notes = "; ".join(word for word in (note, reason) if word)
        number = add_entry(book, "cycle", operator, notes, at, **asdict(setting))
        kept = [respirators.get(book, code).code for code in codes]
        book.executemany("INSERT INTO load VALUES (?, ?)", [(number, code) for code in kept])
    return number, warnings


def _still_running(book: sqlite3.Connection, box: str) -> list[str]:
    """A warning of each cycle of a box that has not been closed."""
    rows = book.execute(
        "SELECT entry FROM cycle_now WHERE outcome = ? AND box = ? COLLATE NOCASE", (RUNNING, box)
    )
    return [
        f"{box} is still in cycle {row['entry']} by this logbook: enter how that one went"
        for row in rows
    ]


def _objections(
    book: sqlite3.Connection, codes: Sequence[str], setting: Setting, overridden: bool
) -> list[str]:
    """Refuse respirators that must not be treated; return warnings about the others."""
    warnings = []
    for code in codes:
        known = respirators.get(book, code)
        tally = respirators.tally(book, known)
        if known.state == RETIRED:
            raise LogbookError(f"respirator {known.code} is retired. Mend: leave it out")
        if tally.running:
            raise LogbookError(
                f"respirator {known.code} is in a cycle that was never closed. Mend: enter how it "
                "went with 'raysim log end', 'interrupted' or 'void'"
            )
        added = {"dose": setting.dose or 0.0, "strap_dose": setting.strap_dose or 0.0}
        passed = tally.reached(**added, cycles=1)
        if passed and not overridden:
            raise LogbookError(
                f"respirator {known.code} would pass its {', its '.join(passed)}. Mend: retire it "
                "('raysim log retire'); or enter its own limits, such as [wear] of the scene ("
                "'raysim log correct'); or give --override with the reason and your name to it"
            )
        warnings += [f"{known.code}: passes its {limit}" for limit in passed]
        double = {key: 2.0 * value for key, value in added.items()}
        if not passed and tally.reached(**double, cycles=2):
            warnings.append(f"{known.code}: this is its last cycle within the limits")
        if tally.unknown or setting.dose is None or setting.strap_dose is None:
            warnings.append(
                f"{known.code}: the dose of some cycles is not known; its wear is more than the "
                "sum shows"
            )
    return warnings


def close_cycle(
    book: sqlite3.Connection,
    number: int,
    outcome: str,
    operator: str,
    *,
    ran: float | None = None,
    note: str = "",
    at: datetime | None = None,
    correct: bool = False,
) -> int:
    """Enter how a cycle went; returns the number of the entry.

    Parameters
    ----------
    ran : float, optional
        Seconds the lamps were on; the whole timer if the cycle ended, none if it is void.
    correct : bool
        Whether this replaces an earlier closing of the cycle.
    """
    with writing(book):
        cycle = get_cycle(book, number)
        if cycle.outcome != RUNNING and not correct:
            raise LogbookError(
                f"cycle {number} is closed already ({cycle.outcome}). Mend: give --correct to "
                "enter a correction; the first entry stays"
            )
        if ran is None:
            ran = 0.0 if outcome == VOID else cycle.setting.timer
        moment = at or datetime.now(UTC)
        if outcome == ENDED:
            _check_ended(cycle, ran, moment)
            _check_shut(book, cycle)
        if outcome == INTERRUPTED:
            _check_interrupted(cycle, ran, moment)
        how = {"cycle": number, "outcome": outcome, "ran": ran}
        return add_entry(book, "closing", operator, note, at, **how)


def _check_ended(cycle: Cycle, ran: float, at: datetime) -> None:
    """Refuse an end that comes before the timer can have run down."""
    timer = cycle.setting.timer
    passed = min((at - cycle.started).total_seconds() + 1.0, ran)  # times are kept to the second
    if passed < timer:
        raise LogbookError(
            f"cycle {cycle.number}: only {minutes_seconds(max(passed, 0.0))} of its timer of "
            f"{minutes_seconds(timer)} have passed. Mend: wait, enter it as interrupted, or "
            "correct the times with --at"
        )


def _check_shut(book: sqlite3.Connection, cycle: Cycle) -> None:
    """Refuse an end where another cycle in the same box shows that its door was opened before."""
    until = cycle.started + timedelta(seconds=cycle.setting.timer)
    later = book.execute(
        "SELECT entry, started FROM cycle_now "
        "WHERE entry > ? AND outcome <> ? AND box = ? COLLATE NOCASE",
        (cycle.number, VOID, cycle.setting.box),
    )
    for number, started in later:
        if cycle.started < unstamp(started) < until:
            raise LogbookError(
                f"cycle {cycle.number}: cycle {number} was started in {cycle.setting.box} before "
                "its timer had run down, so the door was opened. Mend: enter it as interrupted; or "
                f"void cycle {number}, if that never took place"
            )


def _check_interrupted(cycle: Cycle, ran: float, at: datetime) -> None:
    """Refuse a time longer than that since the start, or longer than the timer."""
    passed = max((at - cycle.started).total_seconds(), 0.0) + 1.0
    if ran > passed:
        raise LogbookError(
            f"cycle {cycle.number}: it began {minutes_seconds(passed)} before, so its lamps were "
            f"not on for {minutes_seconds(ran)}. Mend: correct --ran, or the times with --at"
        )
    if ran > cycle.setting.timer:
        raise LogbookError(
            f"cycle {cycle.number}: {minutes_seconds(ran)} are more than its timer of "
            f"{minutes_seconds(cycle.setting.timer)}, and wear with them. Mend: correct --ran; if "
            "the lamps did burn so long, void it and start one with that --timer and its --dose"
        )


def get_cycle(book: sqlite3.Connection, number: int) -> Cycle:
    """One cycle as it stands now; one that is not known is refused."""
    row = book.execute("SELECT * FROM cycle_now WHERE entry = ?", (number,)).fetchone()
    if row is None:
        raise LogbookError(f"there is no cycle {number}. Mend: 'raysim log list' shows them")
    return _cycle(book, row)


def cycles(book: sqlite3.Connection) -> list[Cycle]:
    """All cycles as they stand now, in the order of their entry."""
    rows = book.execute("SELECT * FROM cycle_now ORDER BY entry").fetchall()
    return [_cycle(book, row) for row in rows]


def _cycle(book: sqlite3.Connection, row: sqlite3.Row) -> Cycle:
    load = book.execute("SELECT code FROM load WHERE cycle = ? ORDER BY code", (row["entry"],))
    return Cycle(
        row["entry"],
        unstamp(row["started"]),
        row["operator"],
        Setting(**{field.name: row[field.name] for field in fields(Setting)}),
        tuple(r["code"] for r in load),
        row["outcome"],
        row["ran"],
        row["note"],
    )
