"""Cells of CSV files."""

from typing import Any


def safe_cell(value: Any) -> Any:
    """A value that a spreadsheet does not take for a formula, even if the text looks like one."""
    return f"'{value}" if isinstance(value, str) and value[:1] in "=+-@\t\r" else value
