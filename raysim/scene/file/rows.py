"""Rows: a number of hooks at a spacing along a line, what hangs on them, and the rail behind.

A row is short for objects, `Row.objects`; from there on nothing knows of rows.
"""

import math
from collections.abc import Mapping, Sequence
from typing import Annotated, Any

from pydantic import BeforeValidator, Field, model_validator

from raysim.scene.file.fields import (
    UNIT_METRES,
    Angle,
    Direction,
    GivenName,
    MeshPath,
    Point,
    PositiveLength,
    Scale,
    Switch,
    Table,
)
from raysim.scene.file.things import Object, SurfaceChoice

MOST_HOOKS = 200  # of a row
DIGITS = 9  # decimals of a metre that places are kept to, so that 0.1 + 0.2 is written as 0.3
# The parts of the respirators of `raysim start`, and what they are made of.
USUAL_PARTS: Mapping[str, SurfaceChoice] = {
    "straps": "strap",
    "nose clip": "aluminium sheet, mill finish",
}


def _as_list(value: Any) -> Any:
    return [value] if isinstance(value, str) else value


class Row(Table):
    """Hooks along a line: the first at `from`, the others at `spacing` in the direction `along`.

    Meshes hang in turn, all with the same `turn`. `rail_at` leads from the middle of the row to
    the origin of the rail, whose x lies along the row.
    """

    name: GivenName
    count: Annotated[int, Field(ge=1, le=MOST_HOOKS)]
    start: Point = Field(alias="from")
    spacing: PositiveLength | None = None
    along: Direction = (1.0, 0.0, 0.0)
    mesh: Annotated[
        list[MeshPath], BeforeValidator(_as_list), Field(min_length=1, max_length=MOST_HOOKS)
    ]
    surface: SurfaceChoice = "respirator fabric"
    parts: Annotated[dict[str, SurfaceChoice], Field(max_length=1000)] = dict(USUAL_PARTS)
    turn: tuple[Angle, Angle, Angle] = (0.0, 0.0, 0.0)
    scale: Scale = 1.0
    judged: Switch = True
    edge: PositiveLength | None = None
    thin: PositiveLength | None = None
    hook: MeshPath | None = None
    rail: MeshPath | None = None
    rail_at: Point = (0.0, 0.054, 0.0)
    metal: SurfaceChoice = "stainless steel"

    @model_validator(mode="after")
    def _spaced(self) -> "Row":
        if self.count > 1 and self.spacing is None:
            raise ValueError(f"{self.count} hooks need a spacing, such as spacing = 165")
        if self.rail is None and "rail_at" in self.model_fields_set:
            raise ValueError("rail_at goes with rail, which is missing")
        return self

    @property
    def _way(self) -> tuple[float, ...]:
        """Unit vector along the row."""
        length = math.hypot(*self.along)
        return tuple(part / length for part in self.along)

    def _place(self, steps: float) -> Point:
        """The point so many steps of `spacing` after the first hook, m."""
        far = steps * (self.spacing or 0.0)
        x, y, z = (round(a + far * d, DIGITS) for a, d in zip(self.start, self._way, strict=True))
        return x, y, z

    def objects(self) -> list[Object]:
        """The objects that a row is short for: its rail, then every hook and what hangs there."""
        found = [] if self.rail is None else [self._rail(self.rail)]
        for number in range(self.count):
            at = self._place(number)
            if self.hook is not None:
                name = f"{self.name} hook {number + 1}"
                found.append(self._fitting(name, self.hook, at, self.turn))
            found.append(
                Object.model_construct(
                    name=f"{self.name} {number + 1}",
                    mesh=self.mesh[number % len(self.mesh)],
                    surface=self.surface,
                    parts=self.parts,
                    at=at,
                    turn=self.turn,
                    scale=self.scale,
                    judged=self.judged,
                    edge=self.edge,
                    thin=self.thin,
                )
            )
        return found

    def _rail(self, mesh: str) -> Object:
        dx, dy, dz = self._way
        turn = (0.0, -math.degrees(math.asin(dz)), math.degrees(math.atan2(dy, dx)))
        middle = self._place(0.5 * (self.count - 1))
        x, y, z = (round(a + b, DIGITS) for a, b in zip(middle, self.rail_at, strict=True))
        return self._fitting(f"{self.name} rail", mesh, (x, y, z), turn)

    def _fitting(self, name: str, mesh: str, at: Point, turn: tuple[float, float, float]) -> Object:
        return Object.model_construct(
            name=name, mesh=mesh, surface=self.metal, at=at, turn=turn, scale=self.scale
        )


def spread(data: dict[str, Any], objects: Sequence[Object]) -> dict[str, Any]:
    """The tables of a scene file with the objects of its rows in place of the rows.

    Parameters
    ----------
    data : dict
        The scene file as TOML reads it; it is left as it is.
    objects : sequence of Object
        All objects of the same scene, those of its rows behind its own.
    """
    if not data.get("row"):
        return data
    per_unit = UNIT_METRES[data.get("units", "mm")]
    own = data.get("object", [])
    tables = [as_table(entry, per_unit) for entry in objects[len(own) :]]
    return {key: value for key, value in data.items() if key != "row"} | {"object": own + tables}


def as_table(entry: Object, per_unit: float) -> dict[str, Any]:
    """An object as a table of a scene file whose unit of length is `per_unit` m."""
    table = entry.model_dump(by_alias=True, exclude_none=True, exclude_defaults=True)
    for key in ("edge", "thin"):
        if key in table:
            table[key] = _written(table[key], per_unit)
    if "at" in table:
        table["at"] = [_written(value, per_unit) for value in table["at"]]
    return {key: list(v) if isinstance(v, tuple) else v for key, v in table.items()}


def _written(metres: float, per_unit: float) -> Any:
    """A length as a number in the unit where that reads back to the last bit, else with its own."""
    plain = round(metres / per_unit, 6)
    if plain * per_unit != metres:
        return f"{metres!r} m"
    return int(plain) if plain == int(plain) else plain
