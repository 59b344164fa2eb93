"""The whole logbook as CSV files: every row as entered, and the tallies as they stand."""

import csv
import sqlite3
from pathlib import Path
from typing import Any

from raysim.base.csv_cells import safe_cell
from raysim.logbook.respirators import tallies
from raysim.logbook.schema import KEPT

TALLY_COLUMNS = (
    "code",
    "owner",
    "state",
    "cycles_ended",
    "cycles_interrupted",
    "cycles_running",
    "cycles_of_unknown_dose",
    "dose_best_lit_J_cm2",
    "dose_limit_J_cm2",
    "strap_dose_best_lit_J_cm2",
    "strap_dose_limit_J_cm2",
    "donnings_limit",
    "cycles_limit",
)


def export_csv(book: sqlite3.Connection, folder: Path) -> None:
    """Write one CSV file a table, and tallies.csv, into a folder.

    All files show the same moment: another writer has to wait.
    """
    book.execute("BEGIN")
    try:
        for table in KEPT:
            found = book.execute(f"SELECT * FROM {table}")  # noqa: S608 - names of our own
            columns = [column[0] for column in found.description]
            _write(folder / f"{table}.csv", columns, [list(row) for row in found])
        _write(folder / "tallies.csv", list(TALLY_COLUMNS), _tally_rows(book))
    finally:
        book.execute("ROLLBACK")


def _tally_rows(book: sqlite3.Connection) -> list[list[Any]]:
    rows = []
    for t in tallies(book):
        r = t.respirator
        doses = (t.dose, r.dose_limit, t.strap_dose, r.strap_dose_limit)
        counts = (t.ended, t.interrupted, t.running, t.unknown)
        in_J_cm2 = [f"{dose / 1e4:.4g}" for dose in doses]
        rows.append(
            [r.code, r.owner, r.state, *counts, *in_J_cm2, r.donnings_limit, r.cycles_limit]
        )
    return rows


def _write(path: Path, columns: list[str], rows: list[list[Any]]) -> None:
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(columns)
        writer.writerows([["" if v is None else safe_cell(v) for v in row] for row in rows])
