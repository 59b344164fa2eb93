"""`raysim log`: the logbook."""

from pathlib import Path
from typing import Any

import click

from raysim.cli.given import COUNT, TEXT, FiniteRange
from raysim.cli.groups import SETTINGS, Commands, examples, together, with_examples
from raysim.cli.logbook.cycles import end, interrupted, start, void
from raysim.cli.logbook.options import AT, BOOK, BOX, DOSE, ENTRY, OPERATOR
from raysim.cli.logbook.show import ages, export, listing, tallies_command
from raysim.logbook.book import new_logbook, open_logbook
from raysim.logbook.lamps import enter_lamp, the_box
from raysim.logbook.respirators import RETIRED, Respirator, add_respirator, correct_respirator, get
from raysim.output.words.cautions import CAUTION_LINE


@click.group(
    name="log",
    cls=Commands,
    context_settings=SETTINGS,
    epilog=examples(
        "raysim log new",
        "raysim log add R1 --owner AB --operator CD",
        "raysim log start R1 --result results/clinic_locker --lamps-burn indicator --operator CD",
        "raysim log end 2 --operator CD",
        "raysim log tallies",
    ),
)
def command() -> None:
    """The logbook: respirators, cycles, lamp hours, in one file.

    Nothing is ever changed or deleted: a correction is a new entry, and the last one counts. A
    cycle that would pass a limit of a respirator is refused.
    """


@with_examples("new", "raysim log new", "raysim log new --book ward3.db")
@BOOK
def new(*, book: Path) -> None:
    """Make an empty logbook."""
    new_logbook(book)
    click.echo(f"{book}: an empty logbook. Keep copies of it.")
    click.echo(click.wrap_text(CAUTION_LINE, 92))


_with_limits = together(
    click.option("--model", type=TEXT, help="Make and model."),
    click.option("--donnings", "donnings_limit", type=COUNT, help="Limit of donnings [5]."),
    click.option(
        "--cycles", "cycles_limit", type=COUNT, help="Limit of cycles of the local policy."
    ),
    click.option("--dose-limit", type=DOSE, help="Of the best-lit face [120 J/cm2]."),
    click.option("--strap-dose-limit", type=DOSE, help="Of the straps, sides added [240 J/cm2]."),
)


def _given(options: dict[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in options.items() if value is not None}


@with_examples(
    "add",
    "raysim log add R1 --owner AB --operator CD",
    'raysim log add R2 --owner EF --operator CD --donnings 5 --dose-limit "10 J/cm2"',
)
@click.argument("code", type=TEXT)
@click.option("--owner", type=TEXT, required=True, help="Initials of its one wearer.")
@_with_limits
@ENTRY
def add(*, code: str, owner: str, operator: str, note: str, book: Path, **limits: Any) -> None:
    """Enter a new respirator by its CODE, as it stands on it."""
    respirator = Respirator(code, owner, **_given(limits))
    with open_logbook(book) as opened:
        number = add_respirator(opened, respirator, operator, note)
        kept = get(opened, code)
    click.echo(
        f"Entry {number}: respirator {kept.code} of {kept.owner}; limits: {kept.donnings_limit} "
        f"donnings, {kept.dose_limit / 1e4:g} J/cm2 on the facepiece, "
        f"{kept.strap_dose_limit / 1e4:g} J/cm2 on the straps."
    )


@with_examples("correct", 'raysim log correct R1 --owner EF --note "misread" --operator CD')
@click.argument("code", type=TEXT)
@click.option("--owner", type=TEXT, help="Initials of its one wearer.")
@_with_limits
@click.option("--note", type=TEXT, required=True, help="Why.")
@OPERATOR
@BOOK
def correct(*, code: str, note: str, operator: str, book: Path, **options: Any) -> None:
    """Correct the owner, model or limits of respirator CODE by a new entry."""
    fields = _given(options)
    if not fields:
        raise click.UsageError("nothing to correct; give --owner, --model or a limit")
    with open_logbook(book) as opened:
        number = correct_respirator(opened, code, operator, note, **fields)
    click.echo(f"Entry {number}: respirator {code} corrected; the earlier entry stays.")


@with_examples("retire", 'raysim log retire R1 --note "strap torn" --operator CD')
@click.argument("code", type=TEXT)
@click.option(
    "--note", type=TEXT, required=True, help="Why: limit reached, soiled, damaged, fit failed."
)
@OPERATOR
@BOOK
def retire(*, code: str, note: str, operator: str, book: Path) -> None:
    """Take respirator CODE out of use for good."""
    with open_logbook(book) as opened:
        number = correct_respirator(opened, code, operator, note, state=RETIRED)
    click.echo(f"Entry {number}: respirator {code} is retired.")


@with_examples(
    "lamp",
    'raysim log lamp left fitted --box "My box" --operator CD',
    "raysim log lamp left read --hours 412 --operator CD",
)
@click.argument("name", type=TEXT)
@click.argument("event", type=click.Choice(["fitted", "read", "removed"]))
@click.option(
    "--hours", type=FiniteRange(0, 1e6), default=0.0, help="Hours that the lamp has burnt by then."
)
@BOX
@AT
@ENTRY
def lamp(*, name: str, event: str, hours: float, box: str | None, book: Path, **entry: Any) -> None:
    """Enter that lamp NAME was fitted (with its hours so far), its hours read, or removed."""
    with open_logbook(book) as opened:
        box = the_box(opened, box)
        number = enter_lamp(opened, box, name, event, hours=hours, **entry)
    click.echo(f"Entry {number}: lamp {name} of {box} {event}, {hours:g} h.")


# In the order of a respirator's life.
for sub in (
    *(new, add, start, end, interrupted, void),
    *(tallies_command, listing, correct, retire, lamp, ages, export),
):
    command.add_command(sub)
