"""`raysim log list`, `tallies`, `lamps`, `export`: show the logbook."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from raysim.base.errors import RaysimError
from raysim.base.units import minutes_seconds
from raysim.cli.given import PLACE
from raysim.cli.groups import examples
from raysim.cli.logbook.json import JSON, cycle_record, lamp_record, print_json, tally_record
from raysim.cli.logbook.options import BOOK, shown
from raysim.output.words.cautions import CAUTION_LINE

if TYPE_CHECKING:
    from raysim.logbook.respirators import Tally


def _table(headings: Sequence[str], rows: Sequence[Sequence[object]]) -> None:
    """Print columns as wide as their widest cell."""
    lines = [[str(cell) for cell in row] for row in (headings, *rows)]
    widths = [max(map(len, column)) for column in zip(*lines, strict=True)]
    for line in lines:
        cells = (cell.ljust(width) for cell, width in zip(line, widths, strict=True))
        click.echo("  ".join(cells).rstrip())


def _cautions() -> None:
    click.echo("\n" + click.wrap_text(CAUTION_LINE, 92))


@click.command(name="list", epilog=examples("raysim log list", "raysim log list --json"))
@JSON
@BOOK
def listing(*, book: Path, as_json: bool) -> None:
    """Every cycle, as it stands after corrections."""
    from raysim.logbook.book import open_logbook
    from raysim.logbook.cycles import cycles

    with open_logbook(book) as opened:
        found = cycles(opened)
    if as_json:
        print_json(cycles=[cycle_record(cycle) for cycle in found])
        return
    rows = [
        (
            c.number,
            shown(c.started),
            c.operator,
            c.setting.box,
            minutes_seconds(c.setting.timer),
            c.outcome,
            minutes_seconds(c.ran) if c.outcome == "interrupted" else "",
            c.setting.scene_sha256[:12],
            " ".join(c.codes),
            c.note,
        )
        for c in found
    ]
    headings = ("cycle", "started", "by", "box", "timer", "went", "after", "scene", "load", "note")
    _table(headings, rows)
    _cautions()


@click.command(name="tallies", epilog=examples("raysim log tallies", "raysim log tallies --json"))
@JSON
@BOOK
def tallies_command(*, book: Path, as_json: bool) -> None:
    """Each respirator: cycles and dose so far, against its limits."""
    from raysim.logbook.book import open_logbook
    from raysim.logbook.respirators import tallies

    with open_logbook(book) as opened:
        found = tallies(opened)
    if as_json:
        print_json(respirators=[tally_record(tally) for tally in found])
        return
    headings = (
        "respirator",
        "owner",
        "cycles",
        "of",
        "broken off",
        "dose, J/cm2",
        "of",
        "straps, J/cm2",
        "of",
        "",
    )
    _table(headings, [_tally_cells(tally) for tally in found])
    click.echo(
        "\nDoses are those of the best-lit face, with new lamps; broken-off cycles included."
    )
    _cautions()


def _tally_cells(tally: "Tally") -> tuple[object, ...]:
    r = tally.respirator
    least = "at least " if tally.unknown else ""
    limit = min(r.donnings_limit, r.cycles_limit or r.donnings_limit)
    word = r.state if r.state == "retired" else "LIMIT PASSED" if tally.reached() else ""
    if not word and tally.reached(cycles=1):
        word = "LIMIT REACHED"
    if tally.running:
        word = f"{word} in a cycle".strip()
    doses = (tally.dose, r.dose_limit, tally.strap_dose, r.strap_dose_limit)
    dose, dose_limit, strap, strap_limit = (f"{value / 1e4:.3g}" for value in doses)
    return (
        r.code,
        r.owner,
        tally.cycles,
        limit,
        tally.interrupted,
        least + dose,
        dose_limit,
        least + strap,
        strap_limit,
        word,
    )


@click.command(name="lamps", epilog=examples("raysim log lamps", "raysim log lamps --json"))
@JSON
@BOOK
def ages(*, book: Path, as_json: bool) -> None:
    """Hours of the lamps that are in place."""
    from raysim.library.assumptions import assumptions
    from raysim.logbook.book import open_logbook
    from raysim.logbook.lamps import lamp_ages

    with open_logbook(book) as opened:
        found = lamp_ages(opened)
    life = assumptions()["rated_life_h"]
    if as_json:
        print_json(lamps=[lamp_record(lamp, life.value) for lamp in found])
        return
    rows = [
        (
            lamp.box,
            lamp.name,
            f"{lamp.hours:.1f}",
            lamp.cycles,
            shown(lamp.since),
            "CHANGE IT" if lamp.hours >= life.value else "",
        )
        for lamp in found
    ]
    _table(("box", "lamp", "hours", "cycles since", "counted since", ""), rows)
    click.echo(
        f"\nRated life {life.value:g} h ({life.source}; {life.mark}). Frequent switching shortens "
        "it; the meter decides."
    )
    _cautions()


@click.command(name="export", epilog=examples("raysim log export logbook_csv"))
@click.argument("folder", type=PLACE)
@BOOK
def export(*, folder: Path, book: Path) -> None:
    """Write everything as CSV files into FOLDER, which must be new or empty."""
    from raysim.logbook.book import open_logbook
    from raysim.logbook.export import export_csv

    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise RaysimError(f"{folder}: something stands there. Mend: name a new folder")
    with open_logbook(book) as opened:
        try:
            files = export_csv(opened, folder)
        except OSError as error:
            raise RaysimError(
                f"{folder}: cannot be written ({error.strerror}). Mend: name another folder"
            ) from None
    click.echo(f"{folder}: {', '.join(file.name for file in files)}")
    _cautions()
