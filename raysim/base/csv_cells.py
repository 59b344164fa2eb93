"""Cells of CSV files."""

import re
from typing import Any

# What a spreadsheet takes for the beginning of a formula, the wide forms of Japanese keyboards too,
# at the beginning of a cell or after what it may take for the end of one: in many countries that is
# a semicolon. Source: OWASP, "CSV Injection" (from memory).
_FORMULA = re.compile(r"(?<![^,;|\t\r\n\"'])(?=\s*[=+\-@\uff1d\uff0b\uff0d\uff20\t\r])")


def safe_cell(value: Any) -> Any:
    """A value that a spreadsheet does not take for a formula, even if the text looks like one.

    >>> safe_cell("=1+1"), safe_cell("left; =1+1"), safe_cell("rear-left"), safe_cell(-1.5)
    ("'=1+1", "left;' =1+1", 'rear-left', -1.5)
    """
    return _FORMULA.sub("'", value) if isinstance(value, str) else value
