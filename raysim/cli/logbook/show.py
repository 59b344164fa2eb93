"""`raysim log list`, `tallies`, `lamps`, `export`: show the logbook."""

from collections.abc import Sequence
from datetime import datetime
from functools import partial
from pathlib import Path

import click

from raysim.base.units import minutes_seconds
from raysim.cli.given import PLACE
from raysim.cli.groups import with_examples
from raysim.cli.logbook.json import JSON, cycle_record, lamp_record, print_json, tally_record
from raysim.cli.logbook.options import BOOK
from raysim.library.assumptions import assumptions
from raysim.logbook.book import open_logbook
from raysim.logbook.cycles import cycles
from raysim.logbook.export import export_csv
from raysim.logbook.lamps import lamp_ages
from raysim.logbook.respirators import Tally, tallies
from raysim.output.words.cautions import CAUTION_LINE


def _table(headings: Sequence[str], rows: Sequence[Sequence[object]], note: str = "") -> None:
    """Print columns as wide as their widest cell, a note, and the caution."""
    lines = [[str(cell) for cell in row] for row in (headings, *rows)]
    widths = [max(map(len, column)) for column in zip(*lines, strict=True)]
    for line in lines:
        cells = (cell.ljust(width) for cell, width in zip(line, widths, strict=True))
        click.echo("  ".join(cells).rstrip())
    if not rows:
        click.echo("Nothing is entered yet.")
    if note:
        click.echo(f"\n{note}")
    _cautions()


def _cautions() -> None:
    click.echo("\n" + click.wrap_text(CAUTION_LINE, 92))


def _shown(moment: datetime) -> str:
    """A moment in the local time of this machine."""
    return moment.astimezone().strftime("%Y-%m-%d %H:%M")


@with_examples("list", "raysim log list", "raysim log list --json")
@JSON
@BOOK
def listing(*, book: Path, as_json: bool) -> None:
    """Every cycle, as it stands after corrections."""
    with open_logbook(book) as opened:
        found = cycles(opened)
    if as_json:
        print_json(cycles=[cycle_record(cycle) for cycle in found])
        return
    rows = [
        (
            c.number,
            _shown(c.started),
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


@with_examples("tallies", "raysim log tallies", "raysim log tallies --json")
@JSON
@BOOK
def tallies_command(*, book: Path, as_json: bool) -> None:
    """Each respirator: cycles and dose so far, against its limits."""
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
    note = "Doses are those of the best-lit face, with new lamps; broken-off cycles included."
    _table(headings, [_tally_cells(tally) for tally in found], note)


def _tally_cells(tally: Tally) -> tuple[object, ...]:
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


@with_examples("lamps", "raysim log lamps", "raysim log lamps --json")
@JSON
@BOOK
def ages(*, book: Path, as_json: bool) -> None:
    """Hours of the lamps that are in place."""
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
            _shown(lamp.since),
            "CHANGE IT" if lamp.hours >= life.value else "",
        )
        for lamp in found
    ]
    headings = ("box", "lamp", "hours", "cycles since", "counted since", "")
    note = f"Rated life {life.value:g} h ({life.source}; {life.mark}). Frequent switching shortens "
    _table(headings, rows, note + "it; the meter decides.")


@with_examples("export", "raysim log export logbook_csv")
@click.argument("folder", type=PLACE)
@BOOK
def export(*, folder: Path, book: Path) -> None:
    """Write everything as CSV files into FOLDER, which must be new or empty."""
    from raysim.output.files.folder import write_new_folder

    with open_logbook(book) as opened:
        write_new_folder(folder, partial(export_csv, opened))
    click.echo(f"{folder}: {', '.join(sorted(file.name for file in folder.iterdir()))}")
    _cautions()
