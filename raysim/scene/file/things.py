"""Surfaces, objects and poses as the user wrote them."""

import difflib
from typing import Annotated, Any, Literal

from pydantic import Discriminator, Field, Tag, model_validator

from raysim.library.surfaces import Surface, normal_reflectance
from raysim.scene.file.fields import (
    Angle,
    GivenName,
    MeshPath,
    Name,
    Number,
    Point,
    PositiveLength,
    PositiveShare,
    Scale,
    Share,
    Switch,
    Table,
)

GIVEN = "given in the scene"  # mark of a surface that the user wrote
MOST_POSES = 8
SHARES_SLACK = 0.005  # allowed error of the sum of shares: three times 0.333 is not 1


class SurfaceTable(Table):
    """A surface written out in the scene: reflectance at 254 nm or a refractive index."""

    name: GivenName | None = None
    reflectance: Share | None = None
    reflectance_low: Share | None = None
    reflectance_high: Share | None = None
    specular: Share = 0.0
    refractive_index: Annotated[Number, Field(gt=0, le=10)] | None = None
    extinction: Annotated[Number, Field(ge=0, le=20)] = 0.0
    transmittance: Share = 0.0
    source: Annotated[str, Field(max_length=1000)] = "scene file"

    @model_validator(mode="after")
    def _one_kind(self) -> "SurfaceTable":
        if (self.reflectance is None) == (self.refractive_index is None):
            raise ValueError(
                "a surface needs either reflectance (0 to 1 at 254 nm) or refractive_index"
            )
        if self.reflectance is not None:
            low, expected, high = self.reflectances
            if not low <= expected <= high:
                raise ValueError("reflectance_low, reflectance and reflectance_high must not fall")
            if high + self.transmittance > 1.0:
                raise ValueError(
                    f"reflectance {high:g} and transmittance {self.transmittance:g} together "
                    "send back more than arrives"
                )
            if "extinction" in self.model_fields_set:
                raise ValueError("extinction goes with refractive_index, which is missing")
        elif self._has_other_shares():
            raise ValueError("a surface with a refractive_index takes no other share of light")
        return self

    def _has_other_shares(self) -> bool:
        given = self.model_fields_set & {"transmittance", "reflectance_low", "reflectance_high"}
        return bool(given) or ("specular" in self.model_fields_set and self.specular != 1.0)

    @property
    def reflectances(self) -> tuple[float, float, float]:
        """Low, expected and high reflectance; an end that is not given is the expected value."""
        expected = self.reflectance
        if expected is None:
            expected = normal_reflectance(self.refractive_index or 1.0, self.extinction)
        low = expected if self.reflectance_low is None else self.reflectance_low
        high = expected if self.reflectance_high is None else self.reflectance_high
        return low, expected, high

    def surface(self) -> Surface:
        """The same as a record of the library."""
        if self.refractive_index is not None:
            label, specular = f"own surface (refractive index {self.refractive_index:g})", 1.0
        else:
            label = f"own surface ({self.reflectance:g}, specular share {self.specular:g})"
            specular = self.specular
        return Surface(
            self.name or label,
            *self.reflectances,
            specular,
            self.refractive_index,
            self.extinction,
            transmittance_low=self.transmittance,
            transmittance=self.transmittance,
            transmittance_high=self.transmittance,
            source=self.source,
            mark=GIVEN,
            quality="-",
        )


def _which(value: Any) -> str:
    return "a table" if isinstance(value, dict | SurfaceTable) else "a name"


SurfaceChoice = Annotated[
    Annotated[Name, Tag("a name")] | Annotated[SurfaceTable, Tag("a table")], Discriminator(_which)
]


class Object(Table):
    """Anything in the box: a respirator, a hook, a shelf."""

    name: GivenName
    mesh: MeshPath
    surface: SurfaceChoice
    parts: Annotated[dict[str, SurfaceChoice], Field(max_length=1000)] = {}
    at: Point = (0.0, 0.0, 0.0)
    turn: tuple[Angle, Angle, Angle] = (0.0, 0.0, 0.0)
    scale: Scale = 1.0
    judged: Switch = False
    sides: Literal["both", "outside"] | None = None
    edge: PositiveLength | None = None
    thin: PositiveLength | None = None


class PosedObject(Table):
    """An object that in one pose hangs differently from its own table."""

    name: Name
    at: Point | None = None
    turn: tuple[Angle, Angle, Angle] | None = None

    @model_validator(mode="after")
    def _differs(self) -> "PosedObject":
        if self.at is None and self.turn is None:
            raise ValueError("give at or turn, or leave this object out of the pose")
        return self


class Pose(Table):
    """How the load hangs for a share of the cycle.

    `turn` is added, angle by angle, to the `turn` of every judged object that is not listed under
    `object`; an object in that list hangs as the list says.
    """

    name: GivenName
    share: PositiveShare | None = None
    turn: tuple[Angle, Angle, Angle] = (0.0, 0.0, 0.0)
    object: Annotated[list[PosedObject], Field(max_length=1000)] = []

    def applied(self, entries: list[Object]) -> list[Object]:
        """Objects as they hang in this pose."""
        own = {entry.name.casefold(): entry for entry in self.object}
        return [self._hung(entry, own.get(entry.name.casefold())) for entry in entries]

    def _hung(self, entry: Object, own: PosedObject | None) -> Object:
        if own is None:
            if not (entry.judged and any(self.turn)):
                return entry
            a, b, c = (old + more for old, more in zip(entry.turn, self.turn, strict=True))
            return entry.model_copy(update={"turn": (a, b, c)})
        given = {"at": own.at, "turn": own.turn}
        return entry.model_copy(update={k: v for k, v in given.items() if v is not None})


def refuse_unfit_poses(poses: list[Pose], objects: list[Object]) -> None:
    """Refuse poses of unknown objects, and shares whose sum is not 1.

    Raises
    ------
    ValueError
        With what is wrong and how to mend it.
    """
    known = {entry.name.casefold(): entry.name for entry in objects}
    for pose in poses:
        names = [entry.name.casefold() for entry in pose.object]
        for name, entry in zip(names, pose.object, strict=True):
            if name not in known:
                close = difflib.get_close_matches(name, known, n=1, cutoff=0.4)
                mend = f', did you mean "{known[close[0]]}"?' if close else ""
                raise ValueError(f'pose "{pose.name}": no object is called "{entry.name}"{mend}')
            if names.count(name) > 1:
                raise ValueError(f'pose "{pose.name}": "{entry.name}" is listed twice')
    given = [pose.share for pose in poses if pose.share is not None]
    if given and len(given) < len(poses):
        raise ValueError("give every pose its share, or none, and all get the same")
    if given and abs(sum(given) - 1.0) > SHARES_SLACK:
        raise ValueError(f"the shares of the poses add up to {sum(given):g}, not to 1")
