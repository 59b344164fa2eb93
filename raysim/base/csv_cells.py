"""Cells of CSV files."""

from typing import Any


def safe_cell(value: Any) -> Any:
    """A value that a spreadsheet will not take for a formula, whatever a text begins with."""
    return f"'{value}" if isinstance(value, str) and value[:1] in "=+-@\t\r" else value
