"""Unit strings such as "mW/cm2" or "uW s cm-2": their size in SI, and their dimension.

A short table of our own: the few units that are printed on lamps, meters and rulers. A general
library of units takes half a second to start, and every command would have to wait for it.
"""

import re
import unicodedata

Dimension = tuple[int, int, int]  # exponents of metre, kilogram, second

# Exact by definition: BIPM, "The International System of Units", 9th ed. (2019); inch, foot and
# yard by the international yard and pound agreement (1959).
_SYMBOLS: dict[str, tuple[float, Dimension]] = {
    "in": (0.0254, (1, 0, 0)),
    "ft": (0.3048, (1, 0, 0)),
    "yd": (0.9144, (1, 0, 0)),
    "min": (60.0, (0, 0, 1)),
    "h": (3600.0, (0, 0, 1)),
    "d": (86_400.0, (0, 0, 1)),
}
_PREFIXED: dict[str, tuple[float, Dimension]] = {
    "m": (1.0, (1, 0, 0)),
    "s": (1.0, (0, 0, 1)),
    "W": (1.0, (2, 1, -3)),
    "J": (1.0, (2, 1, -2)),
    "Ws": (1.0, (2, 1, -2)),  # the watt-second of older lamp data
}
_PREFIXES = {"n": 1e-9, "u": 1e-6, "m": 1e-3, "c": 1e-2, "d": 1e-1, "k": 1e3, "": 1.0}
_WORDS = {
    "in": "inch inches",
    "ft": "foot feet",
    "yd": "yard yards",
    "min": "minute minutes mins",
    "h": "hr hrs hour hours",
    "d": "day days",
    "s": "sec secs second seconds",
    "m": "metre metres meter meters",
    "W": "watt watts",
    "J": "joule joules",
}
_LONG_PREFIXES = {"nano": "n", "micro": "u", "milli": "m", "centi": "c", "kilo": "k", "": ""}
_FACTOR = re.compile(r"([A-Za-z]+)(?:\^|\*\*)?(-?[1-4])?")


def _table() -> dict[str, tuple[float, Dimension]]:
    known = dict(_SYMBOLS)
    for symbol, (size, dimension) in _PREFIXED.items():
        for prefix, scale in _PREFIXES.items():
            known.setdefault(prefix + symbol, (scale * size, dimension))
    for symbol, words in _WORDS.items():
        long = _LONG_PREFIXES if symbol in _PREFIXED else {"": ""}
        for word in words.split():
            for spelt, prefix in long.items():
                known[spelt + word] = known[prefix + symbol]
    return known


KNOWN = _table()


def plain_text(text: str) -> str:
    """Text with typographic variants replaced: raised digits, micro signs, dashes, primes."""
    plain = unicodedata.normalize("NFKC", text)
    for odd, usual in (("μ", "u"), ("\u2212", "-"), ("·", " "), ("\u22c5", " "), ("\u2032", "'")):
        plain = plain.replace(odd, usual)
    return plain


def unit_value(unit: str) -> tuple[float, Dimension]:
    """SI size and dimension of a unit such as "mW/cm2", "mW/cm^2", "mW cm-2" or "W s/m2".

    Products and quotients are taken from left to right.

    Raises
    ------
    KeyError
        If a part of it is an unknown unit.

    >>> unit_value("mW/cm2")  # W/m2 is kg s-3
    (10.0, (0, 1, -3))
    >>> unit_value("mW cm-2") == unit_value("mW/cm^2")
    True
    """
    size, dimension = 1.0, (0, 0, 0)
    for sign, factor in _factors(plain_text(unit)):
        match = _FACTOR.fullmatch(factor)
        if match is None:
            raise KeyError(factor)
        scale, exponents = _known(match.group(1))
        power = sign * int(match.group(2) or 1)
        size *= scale**power
        m, kg, s = (a + power * b for a, b in zip(dimension, exponents, strict=True))
        dimension = (m, kg, s)
    return size, dimension


def _known(name: str) -> tuple[float, Dimension]:
    """Row of the table; unit words, unlike symbols, may have capitals."""
    return KNOWN[name] if name in KNOWN or len(name) < 4 else KNOWN[name.casefold()]


def _factors(unit: str) -> list[tuple[int, str]]:
    """(1 or -1, factor) for every factor, -1 after a "/"."""
    plain = unit.replace("**", "^")
    words = re.sub(r"([*/])", r" \1 ", plain).split()
    found, sign, open_operator = [], 1, True
    for word in words:
        if word in "*/":
            if open_operator:
                raise KeyError(unit)
            sign, open_operator = (-1 if word == "/" else 1), True
        else:
            found.append((sign, word))
            sign, open_operator = 1, False
    if open_operator:
        raise KeyError(unit)
    return found
