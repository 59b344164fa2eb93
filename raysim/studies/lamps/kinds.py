"""Lamps that may be chosen, of the scene or of the library, with the room they need."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from raysim.base.errors import RaysimError
from raysim.library.lamps import LampType, lamp_types
from raysim.scene.file.written import Lamp, SceneAsWritten
from raysim.workshop.bill import lamp_name

SOCKET = 0.015  # m beyond a cap: holder and bend of the cable [estimate, no source]
ALONE = 0.005  # m beyond an end without a cap [estimate, no source]
ARC_ENDS = 0.080  # m that a tube of no known type is longer than its arc [estimate, no source]


@dataclass(frozen=True)
class LampKind:
    """A lamp that may be chosen, as a record of the scene file that lies along x.

    Attributes
    ----------
    name : str
        As one asks for it in a shop.
    lamp : Lamp
        Its tubes, watts and surface; `from` and `to` say how long the arc is.
    before, behind : float
        Room (m) for cap and socket before `from` and behind `to`.
    """

    name: str
    lamp: Lamp
    before: float
    behind: float

    @property
    def arc(self) -> float:
        """Length of the arc, m (definition)."""
        return float(np.linalg.norm(np.subtract(self.lamp.end, self.lamp.start)))

    @property
    def reach(self) -> float:
        """Radius (m) of a cylinder about the axis that holds all its tubes (definition)."""
        apart = (self.lamp.tubes - 1) * (self.lamp.spacing or 0.0)
        return 0.5 * (apart + self.lamp.diameter)


def kinds_of(scene: SceneAsWritten, names: Sequence[str] = ()) -> tuple[LampKind, ...]:
    """Types of the library by their `names`, or without names those of the lamps of the scene.

    Raises
    ------
    RaysimError
        For a name that the library does not have.

    Examples
    --------
    >>> import raysim
    >>> scene = raysim.load_scene("scenes/touching_wall.toml")
    >>> [kind.name for kind in kinds_of(scene.written, ["T8 15 W", "T8 30 W"])]
    ['T8 15 W', 'T8 30 W']
    """
    if names:
        return tuple(_from_library(name) for name in dict.fromkeys(names))
    found: dict[tuple[object, ...], LampKind] = {}
    for lamp in scene.lamp:
        kind = _from_scene(lamp)
        own = kind.lamp
        rating = (own.uvc, own.irradiance_at_1m, own.reflectance, round(kind.arc, 4))
        found.setdefault((own.diameter, own.tubes, own.spacing, *rating), kind)
    return tuple(found.values())


def _from_scene(lamp: Lamp) -> LampKind:
    arc = float(np.linalg.norm(np.subtract(lamp.end, lamp.start)))
    like = lamp.kind
    ends = ARC_ENDS if like is None else 0.001 * like.tube_length_mm - arc
    new = lamp.model_copy(update={"start": (0.0, 0.0, 0.0), "end": (arc, 0.0, 0.0), "hours": 0.0})
    return _with_room(lamp_name(lamp), new, max(ends, 0.0), like.caps if like else 2)


def _from_library(name: str) -> LampKind:
    import difflib

    types = {known.casefold(): kind for known, kind in lamp_types().items()}
    kind = types.get(name.casefold())
    if kind is None:
        near = difflib.get_close_matches(name.casefold(), types, n=1, cutoff=0.4)
        known = f'did you mean "{types[near[0]].name}"?' if near else " or ".join(lamp_types())
        raise RaysimError(f'--lamp "{name}": the library has no such lamp. Mend: {known}')
    ends = 0.001 * (kind.tube_length_mm - kind.arc_mm)
    return _with_room(kind.name, _lamp_of_type(kind), ends, kind.caps)


def _lamp_of_type(kind: LampType) -> Lamp:
    """The low end of the catalogue; twin tubes stand apart by half their thickness [estimate]."""
    spacing = {} if kind.tubes == 1 else {"spacing": f"{1.5 * kind.diameter_mm} mm"}
    return Lamp.model_validate(
        {
            "name": kind.name,
            "from": (0, 0, 0),
            "to": (f"{kind.arc_mm} mm", 0, 0),
            "diameter": f"{kind.diameter_mm} mm",
            "tubes": kind.tubes,
            "uvc": f"{kind.uvc_W_low} W",
            "electrical": f"{kind.lamp_W_high} W",
            **spacing,
        }
    )


def _with_room(name: str, lamp: Lamp, ends: float, caps: int) -> LampKind:
    if caps == 2:
        return LampKind(name, lamp, 0.5 * ends + SOCKET, 0.5 * ends + SOCKET)
    return LampKind(name, lamp, ends + SOCKET, ALONE)
