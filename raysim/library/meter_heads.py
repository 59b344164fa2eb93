"""Response of a meter's head to light from the side, by angle, relative to normal incidence.

A head is calibrated with light at normal incidence. In light from all sides it shows

    reading = int L(w) R(theta) dw        R(0) = 1, theta from the direction that the head faces

with L the radiance from direction w. That is the irradiance only if R is the cosine. All heads here
are symmetric about their axis.

Source: CIE quality terms of radiometers: directional response function f2 = R / cosine - 1.
"""

import difflib
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np

from raysim.library.tables import data_rows

COSINE = "cosine"
FEWEST = 3  # rows of a table
LARGEST = 2.0  # of a relative response: a larger one is a typing error


@dataclass(frozen=True)
class AngularResponse:
    """Response of a head by angle.

    Attributes
    ----------
    name : str
        Name of the kind of head, or "given table".
    degrees, relative : tuple of float
        Rows of the table: degrees from 0 up to 90 at most, response from 1 down to 0 at the last.
        Empty for the cosine.
    source : str
        Where the table is from, with its mark.
    """

    name: str
    degrees: tuple[float, ...]
    relative: tuple[float, ...]
    source: str

    @property
    def is_cosine(self) -> bool:
        """Whether the head is cosine-corrected without error (definition)."""
        return not self.degrees

    def over_cosine(self, cosine: np.ndarray) -> np.ndarray:
        """R(theta) / cos(theta) at directions of these cosines, a ratio.

        A monotone cubic between the rows, symmetric about normal incidence.

        Source: interpolation of Fritsch and Carlson (1980), by scipy.
        """
        if self.is_cosine:
            return np.ones_like(cosine)
        from scipy.interpolate import PchipInterpolator

        angle, value = np.array(self.degrees), np.array(self.relative)
        curve = PchipInterpolator(
            np.concatenate([-angle[:0:-1], angle]), np.concatenate([value[:0:-1], value])
        )
        cosine = np.clip(cosine, 1e-9, 1.0)
        theta = np.degrees(np.arccos(cosine))
        return np.where(theta < angle[-1], curve(np.minimum(theta, angle[-1])), 0.0) / cosine


CORRECTED = AngularResponse(COSINE, (), (), "cosine law (definition)")


def table_response(rows: Any, name: str = "given table", source: str = "scene file") -> Any:
    """Response from a table of [degrees, response]; ValueError says what is wrong with it."""
    try:
        degrees, values = (tuple(map(float, column)) for column in zip(*rows, strict=True))
    except (TypeError, ValueError):
        raise ValueError("a response is a name or rows of [degrees, response]") from None
    if len(degrees) < FEWEST or degrees[0] != 0.0:
        raise ValueError(f"a response needs at least {FEWEST} rows, the first at 0 degrees")
    if any(b <= a for a, b in zip(degrees, degrees[1:], strict=False)) or degrees[-1] > 90.0:
        raise ValueError("the degrees of a response must rise, to 90 at most")
    if not (np.isfinite(values).all() and values[0] > 0.0 and min(values) >= 0.0):
        raise ValueError("a response must be above 0 at 0 degrees and nowhere below 0")
    if values[-1] != 0.0:
        raise ValueError(
            f"the response at the last row, {degrees[-1]:g} degrees, is {values[-1]:g}: end the "
            "table where the head sees nothing any more, such as [90, 0]"
        )
    relative = tuple(value / values[0] for value in values)
    if max(relative) > LARGEST:
        raise ValueError(f"a response of {max(relative):g} times that at 0 degrees is not credible")
    return AngularResponse(name, degrees, relative, source)


@cache
def known_responses() -> dict[str, AngularResponse]:
    """Kinds of head by name: the cosine, and those of the data table."""
    found = {
        row["name"]: table_response(row["table"], row["name"], f"{row['source']} ({row['mark']})")
        for row in data_rows("meter_head", "name")
    }
    return {COSINE: CORRECTED, **found}


def as_response(value: Any) -> AngularResponse:
    """Response by name or by table, as a scene gives it; ValueError where it is neither."""
    if isinstance(value, AngularResponse):
        return value
    if not isinstance(value, str):
        return table_response(value)
    known, wanted = known_responses(), value.casefold().strip()
    if wanted not in known:
        near = difflib.get_close_matches(value.casefold(), known, n=1, cutoff=0.4)
        meant = f"did you mean {near[0]}?" if near else f"known: {', '.join(known)}"
        raise ValueError(f'no response is called "{value}"; {meant}')
    return known[wanted]
