"""Prices of a bill, from a file of the user; a price that is missing stays missing."""

import difflib
import json
import math
import re
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

from raysim.base.errors import RaysimError
from raysim.workshop.bill import Bill, Line

LARGEST = 1_000_000  # bytes of a file of prices
_PRICE = re.compile(r"(\d+(?:\.\d+)?) ?(\S{1,12})")


def priced(lines: tuple[Line, ...], path: Path | None, *, others: bool = False) -> Bill:
    """The bill with the prices of a file: a table [price], NAME = 12.5 or NAME = "12.5 EUR".

    `currency` at the top of the file is that of plain numbers. A name left out has no price;
    with `others` the file may price more than what is on the bill.

    Raises
    ------
    RaysimError
        Where the file cannot be read, names what is not on the bill, has a price that is none, or
        prices in two currencies, which cannot be added.
    """
    if path is None:
        return Bill(lines)
    data = _parsed(path)
    table, plain = data.get("price", {}), data.get("currency", "")
    stray = sorted(set(data) - {"price", "currency"})
    if stray or not isinstance(table, dict) or not isinstance(plain, str):
        key = stray[0] if stray else ("currency" if isinstance(table, dict) else "price")
        raise _refused(path, key, "is not what stands there", 'write [price], then "NAME" = 12.5')
    known = {line.name: line for line in lines}
    found: dict[str, tuple[float, str]] = {}
    for name, value in table.items():
        if name not in known and not others:
            close = difflib.get_close_matches(name, known, n=1, cutoff=0.3)
            mend = f'did you mean "{close[0]}"?' if close else "write it as on the bill"
            raise _refused(path, f'price."{name}"', "is not on the bill", mend)
        found[name] = _price(path, name, value, plain)
    currencies = sorted({currency for _, currency in found.values()})
    if len(currencies) > 1:
        what = f"prices in {' and '.join(currencies)} cannot be added"
        raise _refused(path, "price", what, "give all prices in one currency")
    prices = {name: price for name, (price, _) in found.items()}
    rows = tuple(replace(line, price=prices.get(line.name)) for line in lines)
    return Bill(rows, *currencies)


def blank_prices(bill: Bill) -> str:
    """A file of prices to be filled in: every line of the bill, without a price switched off."""
    head = (
        "# Copy this file, take away the # where you know a price; what is left out is not priced."
    )
    rows = []
    for line in bill.lines:
        off, price = ("#", 0.0) if line.price is None else ("", line.price)
        name = json.dumps(line.name, ensure_ascii=False)
        rows.append(f"{off}{name} = {price!r}  # {line.unit}")
    currency = json.dumps(bill.currency or "EUR", ensure_ascii=False)
    return "\n".join([head, f"currency = {currency}", "", "[price]", *rows]) + "\n"


def _price(path: Path, name: str, value: Any, plain: str) -> tuple[float, str]:
    key = f'price."{name}"'
    if isinstance(value, str):
        match = _PRICE.fullmatch(value.strip())
        if match is None:
            raise _refused(path, key, f'"{value[:40]}" is no price', 'write "12.50 EUR"')
        return float(match[1]), match[2]
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise _refused(path, key, "is no price", 'write 12.5, or "12.50 EUR"')
    if not (math.isfinite(value) and value >= 0.0):
        raise _refused(path, key, f"{value} is no price", "write 0 or more, or leave it out")
    if not plain:
        what = "the number has no currency"
        raise _refused(path, key, what, 'write currency = "EUR" at the top, or "12.50 EUR"')
    return float(value), plain


def _parsed(path: Path) -> dict[str, Any]:
    try:
        if not path.is_file() or path.stat().st_size > LARGEST:
            raise _refused(path, "file", "no file of prices is there", "check the name")
        return tomllib.loads(path.read_text("utf-8-sig"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise _refused(path, "file", f"not TOML ({error})", 'write "NAME" = 12.5') from None
    except OSError as error:
        raise _refused(path, "file", f"cannot be read ({error.strerror})", "check it") from None


def _refused(path: Path, key: str, what: str, mend: str) -> RaysimError:
    return RaysimError(f"{path}: {key}: {what}. Mend: {mend}")
