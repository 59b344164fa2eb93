"""A table of ready text, as reports and the terminal show it."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TypeVar

Entry = TypeVar("Entry")
Row = tuple[str, str]  # a label, and what is said under it


@dataclass(frozen=True)
class Table:
    """Headings and rows of text; the first `words` columns are words, the others numbers."""

    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    words: int = 1
    note: str = ""


def table_of(
    entries: Iterable[Entry],
    columns: dict[str, Callable[[Entry], str]],
    words: int = 1,
    note: str = "",
) -> Table:
    """A table with a row for each entry; `columns` gives each heading what stands under it."""
    rows = [tuple(cell(entry) for cell in columns.values()) for entry in entries]
    return Table(tuple(columns), tuple(rows), words, note)


def labelled(label: str, lines: Iterable[str]) -> list[Row]:
    """Rows of one label, which stands at the first of them only."""
    return [("" if k else label, line) for k, line in enumerate(lines)]
