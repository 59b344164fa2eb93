"""A table of ready text, as reports and the terminal show it."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TypeVar

Entry = TypeVar("Entry")


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
