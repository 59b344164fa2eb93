"""`raysim log start`, `end`, `interrupted`, `void`: the life of a cycle."""

from pathlib import Path
from typing import Any

import click

from raysim.base.units import minutes_seconds
from raysim.cli.given import COUNT, PATH, TEXT
from raysim.cli.groups import with_examples
from raysim.cli.logbook.json import JSON, print_json, setting_record
from raysim.cli.logbook.obeyed import refuse_changed_lamps
from raysim.cli.logbook.options import (
    AT,
    BOOK,
    BOX,
    DOSE,
    ENTRY,
    NOTE,
    OPERATOR,
    TIME,
    setting_of_result,
)
from raysim.logbook.book import open_logbook
from raysim.logbook.cycles import Setting, close_cycle, start_cycle
from raysim.logbook.lamps import known_boxes, new_box, refuse_past_their_life, the_box
from raysim.output.words.cautions import CAUTION_LINE

CORRECT = click.option("--correct", is_flag=True, help="It is closed already; correct that.")
NUMBER = click.argument("number", type=COUNT)


@with_examples(
    "start",
    "raysim log start R1 R2 --result results/my_box --lamps-burn indicator --operator CD",
    'raysim log start R1 --timer 14:20 --dose "2 J/cm2" --lamps-burn meter --operator CD',
)
@click.argument("codes", type=TEXT, nargs=-1, required=True)
@click.option("--result", type=PATH, help="Folder 'raysim dose' wrote.")
@click.option("--timer", type=TIME, help="Timer setting, if there is no --result.")
@click.option("--dose", type=DOSE, help="Best-lit face by the end, if there is no --result.")
@click.option("--strap-dose", type=DOSE, help="Best-lit strap by the end.")
@click.option(
    "--lamps-burn",
    type=click.Choice(["indicator", "meter"]),
    help="What shows that every lamp burns: an indicator outside, or a fixed meter.",
)
@click.option(
    "--done",
    type=TEXT,
    multiple=True,
    help="CODE=WHAT: something the verdict asks for, what was done and by whom; may be repeated.",
)
@click.option(
    "--override",
    "overridden",
    type=TEXT,
    default="",
    show_default=False,
    help="Pass a limit: the reason, and your name to it.",
)
@BOX
@AT
@OPERATOR
@NOTE
@JSON
@BOOK
def start(
    *,
    codes: tuple[str, ...],
    result: Path | None,
    timer: float | None,
    dose: float | None,
    strap_dose: float | None,
    lamps_burn: str | None,
    done: tuple[str, ...],
    note: str,
    box: str | None,
    as_json: bool,
    book: Path,
    **entry: Any,
) -> None:
    """Enter the start of a cycle with the respirators CODES."""
    if (result is None) == (timer is None):
        raise click.UsageError("give either --result or --timer")
    if result is not None and not (dose is None and strap_dose is None):
        raise click.UsageError("--dose and --strap-dose come from --result; leave them out")
    if lamps_burn is None:
        raise click.UsageError(
            "a lamp that is out cannot be seen from outside: look at the indicator or the fixed "
            "meter, and give --lamps-burn indicator or --lamps-burn meter"
        )
    notes = [note, f"every lamp burns, by {lamps_burn}"]
    notes += ["done before: " + ", ".join(done)] if done else []
    note = "; ".join(filter(None, notes))
    with open_logbook(book) as opened:
        until = None
        if result is not None:
            setting, until, since = setting_of_result(result, box, done)
            refuse_changed_lamps(opened, setting.box, since, result)
        else:
            box = the_box(opened, box if known_boxes(opened) else box or "box")
            setting = Setting(box, timer or 0.0, dose=dose, strap_dose=strap_dose)
        doubts = new_box(opened, setting.box)
        doubts += refuse_past_their_life(
            opened, setting.box, setting.timer, until, entry["overridden"]
        )
        number, warnings = start_cycle(opened, codes, setting, note=note, **entry)
        warnings += doubts
    if as_json:
        entered = {"cycle": number, "respirators": codes, "warnings": warnings}
        print_json(**entered, **setting_record(setting))
        return
    for warning in warnings:
        click.echo(f"warning: {warning}", err=True)
    click.echo(
        f"Cycle {number} started: {', '.join(codes)}; timer {minutes_seconds(setting.timer)}."
    )
    click.echo(click.wrap_text(CAUTION_LINE, 92))


@with_examples(
    "end",
    "raysim log end 2 --operator CD",
    'raysim log end 2 --at "2026-03-01 08:30" --operator CD',
)
@NUMBER
@AT
@CORRECT
@ENTRY
def end(*, number: int, **entry: Any) -> None:
    """Enter that cycle NUMBER ran until its timer had run down."""
    _close(number, "ended", **entry)
    click.echo(f"Cycle {number} ended: it counts. Each respirator goes back to its own wearer.")


@with_examples(
    "interrupted", 'raysim log interrupted 2 --ran "6 min" --note "door opened" --operator CD'
)
@NUMBER
@click.option("--ran", type=TIME, required=True, help="How long the lamps had been on.")
@AT
@CORRECT
@ENTRY
def interrupted(*, number: int, ran: float, **entry: Any) -> None:
    """Enter that cycle NUMBER was broken off: door opened, lamp out, power lost."""
    _close(number, "interrupted", ran=ran, **entry)
    click.echo(
        f"Cycle {number} interrupted after {minutes_seconds(ran)}: it does not count as a "
        "treatment, but as wear. Start the full time again."
    )


@with_examples("void", 'raysim log void 2 --note "lamps never came on" --operator CD')
@NUMBER
@click.option(
    "--note", type=TEXT, required=True, help="Why: entered by mistake, lamps never came on."
)
@AT
@CORRECT
@OPERATOR
@BOOK
def void(*, number: int, **entry: Any) -> None:
    """Enter that cycle NUMBER never took place; the entry stays."""
    _close(number, "void", **entry)
    click.echo(f"Cycle {number} is void: it counts neither as a treatment nor as wear.")


def _close(number: int, outcome: str, *, book: Path, **entry: Any) -> None:
    with open_logbook(book) as opened:
        close_cycle(opened, number, outcome, **entry)
