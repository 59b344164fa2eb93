"""What the verdict asks of meter readings: that there are fresh ones, and one of the lining."""

from collections.abc import Iterator
from datetime import date

from raysim.base.cases import CAUTIOUS
from raysim.dose.agreement import loss_by_lining
from raysim.dose.readings_together import lamps_not_told_of
from raysim.dose.result import Result
from raysim.dose.verdict_record import Reason, Why
from raysim.library.assumptions import assumptions

# Own choice: a point that gets less of its light by reflection says little of the lining, and where
# the lining is worth less than this at the worst-lit spot, there is little to say.
MOSTLY_REFLECTED = 0.5
LINING_COUNTS = 0.05


def reading_reasons(result: Result) -> Iterator[Reason]:
    """What is missing or wrong with the readings of a run.

    The place to read is chosen so that it tells of the lining as well: one reading is enough.
    """
    points = result.written.meter if result.written else []
    if result.readings is None:
        best = max(result.meters, key=lambda meter: meter.reflected, default=None)
        tells = best is not None and best.reflected >= MOSTLY_REFLECTED
        where = (
            f'at every [[meter]] point ("{best.name}" tells of the lining)'
            if best and tells
            else "at each place that 'raysim meter --places' proposes"
        )
        yield Reason(
            Why.READING_MISSING,
            "no meter was read in this box",
            f"clamp the head of a calibrated 254 nm meter {where}, lamps off; door shut, read it "
            "from outside; give reading and read_on under [[meter]]",
            "a meter check",
        )
        return
    if not result.readings.agree:
        alone = not all(row.agrees for row in result.readings.rows)
        yield Reason(
            Why.READING_DISAGREES,
            "a meter reading does not agree with the calculation"
            if alone
            else "the meter readings do not fit each other",
            "find out why ('raysim meter'), mend it, read again, and run 'raysim dose' anew",
            "a reading that agrees",
        )
        return
    days = [point.read_on for point in points if point.reading is not None]
    if any(no_day(day) for day in days):
        says = "a meter reading has no date, or one that has not come"
        mend = "give its day, read_on, under [[meter]]"
        yield Reason(Why.READING_UNDATED, says, mend, "the date of the reading")
    elif old := [day for day in days if day is not None and too_old(day)]:
        says = f"a meter reading is of {min(old)}, more than a year ago"
        mend = "read again with a meter whose calibration is not overdue, and give reading, read_on"
        yield Reason(Why.READING_OLD, says, mend, "a fresh reading")
    yield from _lining(result)
    yield from _lamps(result)


def _lining(result: Result) -> Iterator[Reason]:
    """Readings that agree by the lamps alone leave open what the lining reflects."""
    rows = result.readings.rows if result.readings else ()
    most = max((row.meter.reflected for row in rows), default=1.0)
    worst = result.cases[CAUTIOUS].worst
    if most >= MOSTLY_REFLECTED or loss_by_lining(result, worst) < LINING_COUNTS:
        return
    yield Reason(
        Why.LINING_NOT_CHECKED,
        f"the lining is not checked: every reading is mainly light straight from the lamps (at "
        f"most {most:.0%} of it came by reflection)",
        "read at a place lit mainly by reflection as well ('raysim meter --places' proposes one)",
        "a reading of the lining",
    )


def _lamps(result: Result) -> Iterator[Reason]:
    """A lamp that hardly adds to any reading may be dim, and nobody would know."""
    rows = result.readings.rows if result.readings else ()
    unseen = lamps_not_told_of([row.meter for row in rows], result.triangles.lamps)
    if not unseen:
        return
    names = " and ".join(f'"{name}"' for name in unseen)
    yield Reason(
        Why.LAMP_NOT_CHECKED,
        f"no reading tells of lamp {names}: too little of the light at the points that were read "
        "comes from there",
        "read at a point that faces it from some 100 mm as well ('raysim meter --places' proposes "
        "points that tell of every lamp)",
        "a reading of every lamp",
    )


def no_day(day: date | None) -> bool:
    """Whether a day is missing, or lies in the future by the clock of this computer."""
    return day is None or day > date.today()


def too_old(day: date | None) -> bool:
    """Whether a day is longer ago than a reading or a survey is trusted (stated assumption)."""
    limit = assumptions()["reading_age_limit_d"].value
    return day is not None and (date.today() - day).days > limit
