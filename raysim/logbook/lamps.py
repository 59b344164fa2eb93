"""Lamps of a logbook: fitted, read, removed; their hours grow with the cycles of their box."""

import sqlite3
from dataclasses import dataclass
from datetime import datetime

from raysim.library.assumptions import assumptions
from raysim.logbook.book import LogbookError, add_entry, stamp, unstamp, writing


@dataclass(frozen=True)
class LampAge:
    """A lamp, its age in h, since when its cycles are counted, and how many there were."""

    box: str
    name: str
    since: datetime
    hours: float
    cycles: int


def enter_lamp(
    book: sqlite3.Connection,
    box: str,
    name: str,
    event: str,
    *,
    hours: float,
    operator: str,
    note: str = "",
    at: datetime | None = None,
) -> int:
    """Enter that a lamp was fitted, its hours read, or that it was removed; returns the number."""
    if not name.strip() or not box.strip():
        raise LogbookError("a lamp needs its name and its box. Mend: give both")
    if not 0.0 <= hours < 1e6:
        raise LogbookError(f"{hours:g} lamp hours cannot be. Mend: give 0 to 1e6")
    with writing(book):
        lamp = {"box": box.strip(), "name": name.strip(), "event": event, "hours": hours}
        return add_entry(book, "lamp", operator, note, at, **lamp)


def known_boxes(book: sqlite3.Connection) -> list[str]:
    """Names of the boxes that have lamps or cycles in a logbook, each once, sorted."""
    rows = book.execute("SELECT box FROM lamp UNION SELECT box FROM cycle ORDER BY 1")
    names = {row["box"].strip().casefold(): row["box"].strip() for row in rows}
    return sorted(names.values())


def the_box(book: sqlite3.Connection, given: str | None) -> str:
    """The box `given`, or else the only one that a logbook knows.

    Raises
    ------
    LogbookError
        Where it knows none or several.
    """
    if given is not None:
        return given
    known = known_boxes(book)
    if len(known) == 1:
        return known[0]
    which = " or ".join(f'"{name}"' for name in known) or "as the title of its scene"
    raise LogbookError(f"which box is meant? Mend: give --box, {which}")


def new_box(book: sqlite3.Connection, box: str) -> list[str]:
    """A warning where a logbook knows other boxes, but not this one: its lamps are not followed."""
    known = known_boxes(book)
    if not known or box.strip().casefold() in map(str.casefold, known):
        return []
    names = " and ".join(f'"{name}"' for name in known)
    return [
        f'this logbook knows {names}, and no box "{box}": if it is one of these, its lamps and '
        "cycles are not joined to this one; enter its lamps under this name"
    ]


def lamp_ages(book: sqlite3.Connection) -> list[LampAge]:
    """Lamps that are in place, with their hours up to now.

    The hours entered last, plus the running time of every cycle of the box that started since then.
    A running cycle counts with its whole timer.
    """
    ages = []
    for row in book.execute("SELECT * FROM lamp_now WHERE event <> 'removed' ORDER BY box, name"):
        ran = book.execute(
            "SELECT total(ran) AS ran, count(*) AS cycles FROM cycle_now"
            " WHERE box = ? COLLATE NOCASE AND outcome <> 'void' AND"
            " (started > ? OR (started = ? AND entry > ?))",
            (row["box"], row["at"], row["at"], row["entry"]),
        ).fetchone()
        hours = row["hours"] + ran["ran"] / 3600.0
        ages.append(LampAge(row["box"], row["name"], unstamp(row["at"]), hours, ran["cycles"]))
    return ages


def changed_since(book: sqlite3.Connection, box: str, moment: datetime) -> list[str]:
    """Names of lamps of a box that were exchanged or removed after a moment, sorted.

    The first entry of a lamp is no exchange.
    """
    rows = book.execute(
        "SELECT DISTINCT l.name FROM lamp AS l JOIN entry AS e ON e.number = l.entry"
        " WHERE l.box = ? COLLATE NOCASE AND l.event <> 'read' AND e.at > ? AND EXISTS"
        " (SELECT 1 FROM lamp AS b WHERE b.box = l.box AND b.name = l.name AND b.entry < l.entry)"
        " ORDER BY l.name",
        (box.strip(), stamp(moment)),
    )
    return [row["name"] for row in rows]


def refuse_past_their_life(
    book: sqlite3.Connection, box: str, timer: float, until: float | None, overridden: str
) -> list[str]:
    """Refuse a cycle of `timer` s in a box with lamps that are older than its timer allows for.

    It holds up to `until` lamp hours, by default the rated life. `overridden`, the reason given by
    the responsible person, turns the refusal into warnings, which are given back.

    Raises
    ------
    LogbookError
        Naming the first such lamp.
    """
    until = assumptions()["rated_life_h"].value if until is None else until
    found = [
        f"lamp {age.name} has {hours:,.1f} h by the end of this cycle, and the timer holds until "
        f"{until:,.0f} h: it may be too short"
        for age in lamp_ages(book)
        if age.box.casefold() == box.strip().casefold()
        and (hours := age.hours + timer / 3600.0) > until
    ]
    if found and not overridden.strip():
        raise LogbookError(
            f"{found[0]}. Mend: change the lamp and enter that, or give its hours in the scene and "
            "run 'raysim dose' again; whoever answers for it can pass this by --override"
        )
    return found
