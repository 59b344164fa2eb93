"""The answer of a dose run first, then everything else; each is told when it is there.

The verdict is told once nothing can change it any more: after the trace and the light that gets
out, before the uncertainty budget, the pictures and the report. It stands last again.
"""

from collections.abc import Callable
from contextlib import nullcontext
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click

from raysim.base.fault_codes import Code
from raysim.cli.answers import tell, tell_answer, tell_rows
from raysim.cli.common import Teller
from raysim.cli.resume import writing
from raysim.dose.checkpoint import Checkpoint
from raysim.dose.result import Result
from raysim.output.words.answer import (
    TO_FOLLOW,
    closing_lines,
    doubt_rows,
    first_lines,
    rows,
)

ANSWER_FILES = "result.json and card.html"


@dataclass
class Ending:
    """How far it came: whether Ctrl-C broke it off, whether all files are `whole`.

    `trouble` is what went wrong with the pictures, "" if nothing did.
    """

    broken_off: bool = False
    whole: bool = False
    trouble: str = ""


def answered(
    result: Result,
    folder: Path,
    teller: Teller,
    checkpoint: Checkpoint,
    *,
    budget: Callable[[], Result],
    case: str,
    pictures: bool,
    **how: Any,
) -> Ending:
    """Tell and write a result; what was written before Ctrl-C stays, whole.

    `budget` returns it with its uncertainty budget, meanwhile the pictures are drawn; the rest is
    as in `write_results`.

    Raises
    ------
    RaysimError
        Where results cannot be written.
    """
    from raysim.output.files.results import write_answer, write_results
    from raysim.output.pictures.draw import Drawing

    ending = Ending()
    _tell_verdict(result, teller)
    try:
        with writing(checkpoint):
            write_answer(result, folder, case)
        if not teller.quiet:
            click.echo(f"\n  Written: {ANSWER_FILES} in {folder}")
        with Drawing(result, case) if pictures else nullcontext() as drawing:
            if not result.interrupted:
                teller.notice("working out how far off the light may be")
                result = budget()
            how |= {"case": case, "pictures": pictures, "drawing": drawing}
            with writing(checkpoint):
                ending.trouble = write_results(result, folder, notice=teller.notice, **how)
                ending.whole = True
    except KeyboardInterrupt:
        ending.broken_off = True
    if ending.whole and not teller.quiet:
        _tell_end(result, folder)
    return ending


def _tell_verdict(result: Result, teller: Teller) -> None:
    """The verdict as it stays, the one thing to do, what is still to come; then the rest."""
    shown = (Code.PRECISION_NOT_REACHED, Code.JUDGED_AGAIN)
    teller.warn(sorted({f for f in result.warnings if f.code in shown}, key=str))
    if not teller.quiet:
        tell_answer(result.title, [*first_lines(result), TO_FOLLOW], rows(result))


def _tell_end(result: Result, folder: Path) -> None:
    """The doubts, the report, and the verdict once more where the eye falls."""
    click.echo(f"  Report:  {folder / 'report.html'}\n")
    tell_rows(doubt_rows(result))
    click.echo("")
    tell(closing_lines(result))
