"""Rows of a data table: each with its source and its mark."""

import tomllib
from importlib import resources
from typing import Any

MARKS = {"read", "read second-hand", "from memory", "computed"}
MARKS |= {"estimate, no source", "common practice, no source"}


def data_rows(table: str, *labels: str) -> list[dict[str, Any]]:
    """Read one table; every row needs a unique label, a source, and only known marks."""
    text = resources.files("raysim.library").joinpath(table + "s.toml").read_text(encoding="utf-8")
    rows: list[dict[str, Any]] = tomllib.loads(text)[table]
    if len({tuple(row[label] for label in labels) for row in rows}) < len(rows):
        raise ValueError(f"{table}s: a {' and '.join(labels)} stands twice")
    for row in rows:
        if not row["source"].strip() or not set(row["mark"].split(" + ")) <= MARKS:
            known = ", ".join(sorted(MARKS))
            what = f"source missing or mark not understood; marks: {known}"
            raise ValueError(f"{row[labels[0]]}: {what}")
    return rows
