"""How answers are printed: lines to act on, the caution, then tables and what else is said."""

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import click

from raysim.output.words.cautions import CAUTION_LINE

if TYPE_CHECKING:
    from raysim.output.words.table import Table

WIDTH = 92  # letters of a line
NAMES = 26  # letters of a name at the head of a row, before it is broken
SHORT_NAMES = 16  # the same where the other columns need the room
FIGURES = 18  # the same of a figure: a time, or a value with its uncertainty
LABELS = 15  # letters in the column of labels


def tell(lines: Iterable[str]) -> None:
    """Print each line, indented and as wide as a page."""
    for line in lines:
        click.echo(click.wrap_text(line, WIDTH, "  ", "  "))


def tell_rows(rows: Iterable[tuple[str, str]]) -> None:
    """Print what is said under labels, the labels in a column at the left."""
    for label, line in rows:
        indent = " " * (LABELS + 3)
        short = len(label) <= LABELS
        first = f"  {label:<{LABELS}} " if short else indent
        if not short:
            click.echo(f"  {label}")
        click.echo(click.wrap_text(line, WIDTH, first, indent))


def tell_table(table: "Table") -> None:
    """Print a table, as wide as a page; without rows nothing, nor a column without any word."""
    if not table.rows:
        return
    from rich import box
    from rich.console import Console
    from rich.table import Table as Grid
    from rich.text import Text

    kept = [k for k in range(len(table.headings)) if any(row[k] for row in table.rows)]
    longest = {k: max(len(row[k]) for row in table.rows) for k in kept}
    others = sum(longest[k] + 3 for k in kept[1:])
    name = min(longest[0], NAMES, max(SHORT_NAMES, WIDTH - 2 - others))
    grid = Grid(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False)
    for k in kept:
        words = k < table.words
        word = max(map(len, table.headings[k].split()))
        # Fixed, or figures at the right would be cut off where words need the room.
        width = name if k == 0 else max(word, min(longest[k], FIGURES))
        side: Literal["left", "right"] = "left" if words else "right"
        wide = None if 0 < k < table.words else width
        grid.add_column(Text(table.headings[k]), justify=side, overflow="fold", width=wide)
    for row in table.rows:
        grid.add_row(*(Text(row[k]) for k in kept))
    console = Console(width=WIDTH - 2, color_system=None)
    with console.capture() as printed:
        console.print(grid)
    for line in printed.get().splitlines():
        click.echo(f"  {line}".rstrip())


def tell_study(
    title: str, lines: Iterable[str], body: "Table | str", rows: Iterable[tuple[str, str]]
) -> None:
    """Print lines to act on, the caution, a table or a text as it is, and rows with labels."""
    tell_answer(title, lines)
    if isinstance(body, str):
        click.echo(body.strip())
    else:
        tell_table(body)
    click.echo("")
    tell_rows(rows)


def tell_answer(title: str, lines: Iterable[str], rows: Iterable[tuple[str, str]] = ()) -> None:
    """Print lines to act on, the caution, and below it what is said under labels."""
    click.echo(f"\n{title}\n")
    tell(lines)
    click.echo("")
    tell([CAUTION_LINE])
    click.echo("")
    tell_rows(rows)


def tell_json(folder: Path) -> None:
    """Print result.json of the results in `folder`, as it was written."""
    from raysim.output.files.folder import RESULT_FILE

    click.echo((folder / RESULT_FILE).read_text(encoding="utf-8"), nl=False)
