"""Surfaces at 254 nm, from the data table."""

import difflib
import re
from dataclasses import dataclass
from functools import cache
from typing import Any

from raysim.library.tables import data_rows


@dataclass(frozen=True)
class Surface:
    """Optical behaviour of one surface at 254 nm; all numbers are ratios, 0 to 1.

    `specular` is the share of the reflectance sent in the mirror direction, the rest is
    Lambertian. A surface with a `refractive_index` follows the Fresnel equations with
    n + i `extinction`; its three reflectances then hold the value at normal incidence.
    `model` and `numbers` are for other ways to send light back, see kernels/models.py; `specular`
    is then the share that goes the sharp way of that model.
    """

    name: str
    reflectance_low: float
    reflectance: float
    reflectance_high: float
    specular: float
    refractive_index: float | None = None
    extinction: float = 0.0
    transmittance_low: float = 0.0
    transmittance: float = 0.0
    transmittance_high: float = 0.0
    source: str = ""
    mark: str = ""
    quality: str = ""
    note: str = ""
    looks_bright: bool = False
    aliases: tuple[str, ...] = ()
    loose: tuple[str, ...] = ()  # aliases that fit surfaces which reflect less as well
    specular_mark: str = "estimate, no source"
    model: str = ""  # "" for a mirror, or for Fresnel's equations
    numbers: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        for quantity in ("reflectance", "transmittance"):
            low, expected, high = (getattr(self, quantity + end) for end in ("_low", "", "_high"))
            if not 0.0 <= low <= expected <= high <= 1.0:
                raise ValueError(f"{self.name}: {quantity} range {low}, {expected}, {high}")
        if not 0.0 <= self.specular <= 1.0:
            raise ValueError(f"{self.name}: specular share {self.specular} is not within 0 to 1")
        if self.reflectance_high + self.transmittance_high > 1.0 + 1e-12:
            raise ValueError(f"{self.name}: reflectance_high + transmittance_high exceeds 1")

    @property
    def is_fresnel(self) -> bool:
        """True where the reflectance follows the Fresnel equations instead of a constant."""
        return self.refractive_index is not None

    @property
    def is_plain(self) -> bool:
        """True where the table of reflectance and mirror share says all (definition)."""
        return not self.is_fresnel and not self.model

    def is_loosely(self, name: str) -> bool:
        """Whether this name of it fits surfaces which reflect less as well (definition)."""
        return folded_name(name) in map(folded_name, self.loose)


class UnknownSurface(KeyError):
    """No surface has this name or alias; `nearest` lists the closest library names.

    `mend` says what to do about it, in one line.
    """

    def __init__(self, name: str, nearest: list[str]) -> None:
        hint = f"; nearest: {', '.join(nearest)}" if nearest else ""
        super().__init__(f"no surface named '{name}'{hint}")
        self.nearest = nearest
        close = " or ".join(f'"{one}"' for one in nearest[:3])
        self.mend = f"did you mean {close}?" if close else "'raysim materials' lists all"

    __str__ = Exception.__str__  # KeyError would quote the message


def normal_reflectance(n: float, k: float) -> float:
    """Reflectance at normal incidence of a refractive index n + i k (Fresnel's equations)."""
    return ((n - 1.0) ** 2 + k**2) / ((n + 1.0) ** 2 + k**2)


def _surface(row: dict[str, Any]) -> Surface:
    fields = {**row, **{name: tuple(row.get(name, ())) for name in ("aliases", "loose", "numbers")}}
    if "refractive_index" in row:
        value = normal_reflectance(row["refractive_index"], row["extinction"])
        fields |= dict.fromkeys(("reflectance_low", "reflectance", "reflectance_high"), value)
    return Surface(**fields)


@cache
def surfaces() -> dict[str, Surface]:
    """All surfaces by name."""
    return {row["name"]: _surface(row) for row in data_rows("surface", "name")}


def folded_name(name: str) -> str:
    """Name in small letters without extra blanks, and "aluminum" spelt as in the library."""
    return " ".join(name.casefold().replace("aluminum", "aluminium").split())


@cache
def _names() -> dict[str, str]:
    """Library name by folded name or alias."""
    return {folded_name(name): s.name for s in surfaces().values() for name in (s.name, *s.aliases)}


def _nearest(folded: str) -> list[str]:
    """Library names that share most words with a name, or are spelt most like it."""
    index, asked = _names(), set(re.findall(r"\w+", folded))
    shared = {name: len(asked & set(re.findall(r"\w+", folded_name(name)))) for name in surfaces()}
    close = [index[match] for match in difflib.get_close_matches(folded, index, n=5, cutoff=0.5)]
    most = max(shared.values())
    alike = [name for name in surfaces() if most and shared[name] == most]
    alike.sort(key=lambda name: -difflib.SequenceMatcher(None, folded, folded_name(name)).ratio())
    return list(dict.fromkeys([*alike, *close]))[:5]


def find_surface(name: str) -> Surface:
    """Surface of this name or alias, in capitals or not; `UnknownSurface` if there is none.

    >>> paint = find_surface("White Paint")
    >>> paint.reflectance_low < paint.reflectance < paint.reflectance_high < 0.15
    True
    >>> find_surface("wite paint")
    Traceback (most recent call last):
    raysim.library.surfaces.UnknownSurface: no surface named 'wite paint'; nearest: white paint...
    """
    index = _names()
    found = index.get(folded_name(name))
    if found is None:
        raise UnknownSurface(name, _nearest(folded_name(name)))
    return surfaces()[found]
