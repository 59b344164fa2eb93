"""The answer of a run: three lines to act on; below, under labels, where they come from."""

from raysim.dose.result import Result
from raysim.output.words.failures import failure_line
from raysim.output.words.germs import germ_lines
from raysim.output.words.parts import part_rows
from raysim.output.words.poses import pose_lines
from raysim.output.words.readings import reading_lines
from raysim.output.words.sentences import detail_rows, reservations
from raysim.output.words.table import Row, labelled
from raysim.output.words.uncertainty import budget_lines, doubt_line
from raysim.output.words.verdict import (
    headline,
    holds_words,
    reason_lines,
    the_verdict,
    under_timer,
)
from raysim.output.words.wear import reuse_lines

# Below the first lines, while the rest is still being worked out and written.
TO_FOLLOW = (
    "To follow: how far off this may be, report and other files. None of it changes the verdict or "
    "the timer."
)
NOTHING_LEFT = "Hang the card beside the box, and enter every cycle in the logbook (raysim log)."


def first_lines(result: Result) -> list[str]:
    """The verdict with the one number; the one thing to do, and why."""
    first, *others = [*reason_lines(result)] or [NOTHING_LEFT]
    more = f" {len(others)} more to mend below." if others else ""
    return [headline(result), f"{first}{more}"]


def head_lines(result: Result) -> list[str]:
    """The verdict with the one number; the one thing to do, and why; the one doubt."""
    return [*first_lines(result), doubt_line(result)]


def closing_lines(result: Result) -> list[str]:
    """The one doubt, and the verdict again: what stands last."""
    return [doubt_line(result), headline(result)]


def report_lines(result: Result) -> list[str]:
    """The same for the report, where state and timer stand above."""
    return [*filter(None, [under_timer(result)]), *head_lines(result)[1:]]


def rows(result: Result) -> list[Row]:
    """What else is to be mended, and where the time comes from, as (label, sentence)."""
    reasons = zip(the_verdict(result).reasons, reason_lines(result), strict=True)
    failure = failure_line(result)
    return [
        *labelled("taken as out", reservations(result)),
        *((reason.step, line) for reason, line in list(reasons)[1:]),
        *labelled("meter", reading_lines(result)),
        *labelled("poses", pose_lines(result)),
        *detail_rows(result),
        *part_rows(result),
        ("holds for", holds_words(result)),
        *labelled("a lamp fails", [failure] if failure else []),
        *labelled("germs", germ_lines(result)),
        *labelled("reuse", reuse_lines(result)),
    ]


def doubt_rows(result: Result) -> list[Row]:
    """How far off the light may be, and by what; none where it was not worked out."""
    return labelled("doubts", budget_lines(result.budget))
