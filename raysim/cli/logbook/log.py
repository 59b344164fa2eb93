"""`raysim log`: the logbook."""

from pathlib import Path
from typing import Any

import click

from raysim.cli.given import COUNT, TEXT, FiniteRange
from raysim.cli.groups import SETTINGS, Commands, examples
from raysim.cli.logbook.cycles import end, interrupted, start, void
from raysim.cli.logbook.options import BOOK, BOX, DOSE, NOTE, OPERATOR
from raysim.cli.logbook.show import ages, export, listing, tallies_command
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


@click.command(name="new", epilog=examples("raysim log new", "raysim log new --book ward3.db"))
@BOOK
def new(*, book: Path) -> None:
    """Make an empty logbook."""
    from raysim.logbook.book import new_logbook

    new_logbook(book)
    click.echo(f"{book}: an empty logbook. Keep copies of it.")
    click.echo(click.wrap_text(CAUTION_LINE, 92))


_LIMITS = (
    click.option("--model", type=TEXT, help="Make and model."),
    click.option("--donnings", type=COUNT, help="Limit of donnings [5]."),
    click.option("--cycles", type=COUNT, help="Limit of cycles of the local policy."),
    click.option("--dose-limit", type=DOSE, help="Of the best-lit face ['10 J/cm2']."),
    click.option("--strap-dose-limit", type=DOSE, help="Of the straps, sides added ['20 J/cm2']."),
)


def _with_limits(function: Any) -> Any:
    for option in reversed(_LIMITS):
        function = option(function)
    return function


def _fields(model: Any, donnings: Any, cycles: Any, dose: Any, strap: Any) -> dict[str, Any]:
    given = {
        "model": model,
        "donnings_limit": donnings,
        "cycles_limit": cycles,
        "dose_limit": dose,
        "strap_dose_limit": strap,
    }
    return {key: value for key, value in given.items() if value is not None}


@click.command(
    name="add",
    epilog=examples(
        "raysim log add R1 --owner AB --operator CD",
        'raysim log add R2 --owner EF --operator CD --donnings 5 --dose-limit "10 J/cm2"',
    ),
)
@click.argument("code", type=TEXT)
@click.option("--owner", type=TEXT, required=True, help="Initials of its one wearer.")
@_with_limits
@OPERATOR
@NOTE
@BOOK
def add(
    *,
    code: str,
    owner: str,
    model: str | None,
    donnings: int | None,
    cycles: int | None,
    dose_limit: float | None,
    strap_dose_limit: float | None,
    operator: str,
    note: str,
    book: Path,
) -> None:
    """Enter a new respirator by its CODE, as it stands on it."""
    from raysim.logbook.book import open_logbook
    from raysim.logbook.respirators import Respirator, add_respirator, get

    fields = _fields(model, donnings, cycles, dose_limit, strap_dose_limit)
    with open_logbook(book) as opened:
        number = add_respirator(opened, Respirator(code, owner, **fields), operator, note)
        kept = get(opened, code)
    click.echo(
        f"Entry {number}: respirator {kept.code} of {kept.owner}; limits: {kept.donnings_limit} "
        f"donnings, {kept.dose_limit / 1e4:g} J/cm2 on the facepiece, "
        f"{kept.strap_dose_limit / 1e4:g} J/cm2 on the straps."
    )


@click.command(
    name="correct",
    epilog=examples('raysim log correct R1 --owner EF --note "misread" --operator CD'),
)
@click.argument("code", type=TEXT)
@click.option("--owner", type=TEXT, help="Initials of its one wearer.")
@_with_limits
@click.option("--note", type=TEXT, required=True, help="Why.")
@OPERATOR
@BOOK
def correct(
    *,
    code: str,
    owner: str | None,
    model: str | None,
    donnings: int | None,
    cycles: int | None,
    dose_limit: float | None,
    strap_dose_limit: float | None,
    note: str,
    operator: str,
    book: Path,
) -> None:
    """Correct the owner, model or limits of respirator CODE by a new entry."""
    from raysim.logbook.book import open_logbook
    from raysim.logbook.respirators import correct_respirator

    fields = _fields(model, donnings, cycles, dose_limit, strap_dose_limit)
    fields |= {} if owner is None else {"owner": owner}
    if not fields:
        raise click.UsageError("nothing to correct; give --owner, --model or a limit")
    with open_logbook(book) as opened:
        number = correct_respirator(opened, code, operator, note, **fields)
    click.echo(f"Entry {number}: respirator {code} corrected; the earlier entry stays.")


@click.command(
    name="retire", epilog=examples('raysim log retire R1 --note "strap torn" --operator CD')
)
@click.argument("code", type=TEXT)
@click.option(
    "--note", type=TEXT, required=True, help="Why: limit reached, soiled, damaged, fit failed."
)
@OPERATOR
@BOOK
def retire(*, code: str, note: str, operator: str, book: Path) -> None:
    """Take respirator CODE out of use for good."""
    from raysim.logbook.book import open_logbook
    from raysim.logbook.respirators import RETIRED, correct_respirator

    with open_logbook(book) as opened:
        number = correct_respirator(opened, code, operator, note, state=RETIRED)
    click.echo(f"Entry {number}: respirator {code} is retired.")


@click.command(
    name="lamp",
    epilog=examples(
        "raysim log lamp left fitted --operator CD",
        "raysim log lamp left read --hours 412 --operator CD",
    ),
)
@click.argument("name", type=TEXT)
@click.argument("event", type=click.Choice(["fitted", "read", "removed"]))
@click.option(
    "--hours",
    type=FiniteRange(0, 1e6),
    default=0.0,
    show_default=True,
    help="Hours that the lamp has burnt by then.",
)
@BOX
@OPERATOR
@NOTE
@BOOK
def lamp(
    *, name: str, event: str, hours: float, box: str, operator: str, note: str, book: Path
) -> None:
    """Enter that lamp NAME was fitted (with its hours so far), its hours read, or removed."""
    from raysim.logbook.book import open_logbook
    from raysim.logbook.lamps import enter_lamp

    with open_logbook(book) as opened:
        number = enter_lamp(opened, box, name, event, hours=hours, operator=operator, note=note)
    click.echo(f"Entry {number}: lamp {name} of {box} {event}, {hours:g} h.")


# In the order of a respirator's life.
for sub in (
    *(new, add, start, end, interrupted, void),
    *(tallies_command, listing, correct, retire, lamp, ages, export),
):
    command.add_command(sub)
