"""Numbers, places and times as people read them."""

import math
from typing import Any

import numpy as np

from raysim.base.figures import number as number
from raysim.base.units import minutes_seconds, to_mm, to_mW_cm2
from raysim.dose.exposure import LONGEST_TIME
from raysim.dose.result import Spot
from raysim.workshop.grid import INCH, grid_of

FAINT = 1e-4  # mW/cm2: of less than this no more is told (own choice)
OVER_A_WEEK = "more than a week"  # words for a time beyond `LONGEST_TIME`


def milliwatts(irradiance: Any, figures: int = 3) -> str:
    """An irradiance (W/m2) as a number of mW/cm2."""
    return number(to_mW_cm2(irradiance), figures)


def irradiance_words(value: float, error: float) -> str:
    """Irradiance in three figures with its standard error in two, mW/cm2; no powers of ten."""
    if 0.0 < to_mW_cm2(value) < FAINT and to_mW_cm2(error) < FAINT:
        return f"under {FAINT:g}"
    return f"{milliwatts(value)} ± {milliwatts(error, 2)}"


def spot_irradiance(spot: Spot) -> str:
    """Irradiance of a spot with its standard error, mW/cm2."""
    return irradiance_words(spot.irradiance, spot.standard_error)


def length(metres: float, units: str, decimals: int = 1) -> str:
    """A length in the `unit_of` a scene: mm, or sixteenths of an inch.

    >>> length(0.1234, "mm"), length(0.1234, "in")
    ('123.4', '4 7/8')
    """
    grid = grid_of(units)
    if grid is INCH:
        return grid.told(metres)
    return f"{round(float(to_mm(metres)), decimals):g}"


def length_words(metres: float, units: str) -> str:
    """A length with its unit, as `length` tells it (definition)."""
    return f"{length(metres, units)} {unit_of(units)}"


def unit_of(units: str) -> str:
    """Unit in which lengths of a scene are told: "mm", or "in" for one in inches or feet."""
    return grid_of(units).unit


def xyz(at: np.ndarray, units: str) -> tuple[str, str, str]:
    """A place (3,), m, in whole mm or sixteenths of an inch."""
    x, y, z = (length(value, units, 0) for value in at)
    return x, y, z


def place_words(at: np.ndarray, *named: str, units: str) -> str:
    """The names that there are, and where it is."""
    x, y, z = xyz(at, units)
    return f"{', '.join(filter(None, named))} (at x {x}, y {y}, z {z} {unit_of(units)})"


def spot_words(spot: Spot) -> str:
    """Which face-side this is, in words and numbers."""
    named = spot.object, spot.part, spot.side, spot.place
    return place_words(spot.centroid, *named, units=spot.units)


def spread_words(low: float, high: float) -> str:
    """Both ends of what a figure may be, or the one (definition)."""
    return f"{low:g}" if low == high else f"{low:g} to {high:g}"


def told_time(seconds: float) -> str:
    """An exposure time in words: no minutes on days, and "more than a week" for all that is longer.

    To set a timer by, `minutes_seconds` tells it to the second.
    """
    if seconds > LONGEST_TIME:
        return OVER_A_WEEK
    hours = math.ceil(seconds / 3600.0 - 1e-9)
    return minutes_seconds(seconds) if hours <= 24 else f"{hours // 24} d {hours % 24:02d} h"


def about_time(seconds: float) -> str:
    """An estimated time in words: no seconds from ten minutes on, rounded up."""
    whole = 60.0 * math.ceil(seconds / 60.0) if 600.0 <= seconds <= LONGEST_TIME else seconds
    return told_time(whole).removesuffix(" 00 s")


def least_time(seconds: float) -> str:
    """A time that is the least it takes, in whole minutes or hours: "over 95 min", "over 51 h"."""
    if seconds > LONGEST_TIME:
        return OVER_A_WEEK
    hours, minutes = int(seconds // 3600), int(seconds // 60)
    return f"over {minutes} min" if hours < 2 else f"over {hours} h"
