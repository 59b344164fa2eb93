"""The scene as the user wrote it: the keys of the scene file, validated, in SI units."""

import math
from typing import Annotated, Any, Literal

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Discriminator,
    Field,
    Tag,
    ValidationInfo,
    field_validator,
    model_validator,
)

from raysim import units
from raysim.library import assumptions
from raysim.organisms import find_organism
from raysim.output_curve import OutputCurve, as_air, as_curve, default_curve
from raysim.response import CORRECTED, AngularResponse, as_response

LARGEST_LENGTH = 1000.0  # m: what is longer is a slip of the unit or of the pen
UNIT_METRES = {"mm": 0.001, "cm": 0.01, "m": 1.0, "in": 0.0254, "inch": 0.0254, "ft": 0.3048}


def _number(value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError(f"{value!r} is not a number")
    try:
        number = float(value)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        raise ValueError(f"{str(value)[:40]} is not a finite number")
    return number


def _length(value: Any, info: ValidationInfo) -> float:
    """Metres of a plain number in the scene's `units` or of a string with a unit."""
    if isinstance(value, str):
        metres = units.parse_quantity(value, units.LENGTH)
    else:
        metres = _number(value) * (info.context or {}).get("metres_per_unit", 0.001)
    if abs(metres) > LARGEST_LENGTH:
        raise ValueError(f"{value} is {metres:.3g} m, which is no length in or about a box")
    return metres


def _quantity(quantity: str) -> BeforeValidator:
    def parse(value: Any) -> float:
        if not isinstance(value, str):
            raise ValueError(f"{value!r} lacks its unit, such as {units.EXAMPLE[quantity]}")
        return units.parse_quantity(value, quantity)

    return BeforeValidator(parse)


Number = Annotated[float, BeforeValidator(_number)]
Length = Annotated[float, BeforeValidator(_length)]
PositiveLength = Annotated[Length, Field(gt=0)]
Power = Annotated[float, _quantity(units.POWER), Field(gt=0)]
Irradiance = Annotated[float, _quantity(units.IRRADIANCE), Field(gt=0)]
MeasuredIrradiance = Annotated[float, _quantity(units.IRRADIANCE), Field(ge=0)]
Dose = Annotated[float, _quantity(units.DOSE), Field(gt=0)]
Time = Annotated[float, _quantity(units.TIME), Field(ge=0)]
Area = Annotated[float, _quantity(units.AREA), Field(gt=0)]
Share = Annotated[Number, Field(ge=0, le=1)]
PositiveShare = Annotated[Number, Field(gt=0, le=1)]
Name = Annotated[str, Field(min_length=1, max_length=80)]
Point = tuple[Length, Length, Length]
Triple = tuple[Number, Number, Number]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class SurfaceTable(_Table):
    """A surface written out in the scene: reflectance at 254 nm or a refractive index."""

    name: Name | None = None
    reflectance: Share | None = None
    reflectance_low: Share | None = None
    reflectance_high: Share | None = None
    specular: Share = 0.0
    refractive_index: Annotated[Number, Field(gt=0, le=10)] | None = None
    extinction: Annotated[Number, Field(ge=0, le=20)] = 0.0
    transmittance: Share = 0.0
    source: str = "scene file"

    @model_validator(mode="after")
    def _one_kind(self) -> "SurfaceTable":
        if (self.reflectance is None) == (self.refractive_index is None):
            raise ValueError(
                "a surface needs either reflectance (0 to 1 at 254 nm) or refractive_index"
            )
        if self.reflectance is not None:
            low = self.reflectance if self.reflectance_low is None else self.reflectance_low
            high = self.reflectance if self.reflectance_high is None else self.reflectance_high
            if not low <= self.reflectance <= high:
                raise ValueError("reflectance_low, reflectance and reflectance_high must not fall")
            if high + self.transmittance > 1.0:
                raise ValueError(
                    f"reflectance {high:g} and transmittance {self.transmittance:g} together "
                    "send back more than arrives"
                )
        elif self.transmittance or self.reflectance_low or self.reflectance_high:
            raise ValueError("a surface with a refractive_index takes no other share of light")
        return self


NAMED_SURFACE, WRITTEN_SURFACE = "surface by name", "surface table"
SurfaceChoice = Annotated[
    Annotated[Name, Tag(NAMED_SURFACE)] | Annotated[SurfaceTable, Tag(WRITTEN_SURFACE)],
    Discriminator(
        lambda value: WRITTEN_SURFACE if isinstance(value, dict | SurfaceTable) else NAMED_SURFACE
    ),
]


class Chamber(_Table):
    """Inside of the box: a rectangular box from its size, or any closed mesh."""

    inside: tuple[PositiveLength, PositiveLength, PositiveLength] | None = None
    mesh: str | None = None
    scale: Annotated[Number, Field(gt=0)] = 1.0
    lining: SurfaceChoice
    walls: dict[str, SurfaceChoice] = {}
    edge: PositiveLength = 0.05
    sheet: PositiveLength | None = None  # thickness of the panels, for the builder's sheet

    @model_validator(mode="after")
    def _one_shape(self) -> "Chamber":
        if (self.inside is None) == (self.mesh is None):
            raise ValueError("a chamber needs either inside = [width, depth, height] or mesh")
        return self


class Lamp(_Table):
    """One lamp: one or more cylinders that glow, and that stand in the way."""

    name: Name
    start: Point = Field(alias="from")
    end: Point = Field(alias="to")
    diameter: PositiveLength
    tubes: Annotated[int, Field(ge=1, le=8)] = 1
    spacing: PositiveLength | None = None
    spread: Triple | None = None
    uvc: Power | None = None
    irradiance_at_1m: Irradiance | None = None
    electrical: Power | None = None
    hours: Annotated[Number, Field(ge=0)] = 0.0
    reflectance: Share | None = None

    @model_validator(mode="after")
    def _rating(self) -> "Lamp":
        low, high = (assumptions()[f"uvc_share_{end}"].value for end in ("low", "high"))
        if self.uvc is None and self.irradiance_at_1m is None:
            has = ""
            if self.electrical is not None:
                has = (
                    f"electrical watts are not UVC watts: of {self.electrical:g} W some "
                    f"{low * self.electrical:.2g} to {high * self.electrical:.2g} W leave at "
                    f"254 nm ({low:.0%} to {high:.0%}, typical of low-pressure tubes); "
                )
            raise ValueError(
                has + "give uvc from the maker's data sheet, or irradiance_at_1m measured"
            )
        if self.uvc is not None and self.irradiance_at_1m is not None:
            raise ValueError("give uvc or irradiance_at_1m, not both")
        if self.start == self.end:
            raise ValueError("from and to are the same point, so the lamp has no length")
        if (self.tubes > 1) != (self.spacing is not None):
            raise ValueError("tubes above 1 and spacing (between tube axes) go together")
        if self.spacing is not None and self.spacing <= self.diameter:
            raise ValueError("spacing must exceed diameter, or the tubes cut each other")
        return self


class Object(_Table):
    """Anything in the box: a respirator, a hook, a shelf."""

    name: Name
    mesh: str
    surface: SurfaceChoice
    parts: dict[str, SurfaceChoice] = {}
    at: Point = (0.0, 0.0, 0.0)
    turn: Triple = (0.0, 0.0, 0.0)
    scale: Annotated[Number, Field(gt=0)] = 1.0
    judged: bool = False
    sides: Literal["both", "outside"] | None = None
    edge: PositiveLength | None = None


class Target(_Table):
    """What every judged face-side must receive: a dose, or what an organism takes."""

    given_dose: Dose | None = Field(default=None, alias="dose")
    organism: Name | None = None
    carrier: Literal["water", "steel", "fabric"] = "fabric"
    log_reduction: Annotated[Number, Field(gt=0, le=12)] | None = None
    allow_below_default: bool = False
    safety_factor: Annotated[Number, Field(ge=1, le=10)] = Field(
        default_factory=lambda: assumptions()["safety_factor"].value
    )
    judge_area: Area | None = None

    @model_validator(mode="after")
    def _one_way(self) -> "Target":
        if self.organism is None:
            stray = {"log_reduction", "carrier", "allow_below_default"} & self.model_fields_set
            if stray:
                raise ValueError(f"{min(stray)} goes with organism, which is missing")
            return self
        if self.given_dose is not None:
            raise ValueError("give dose, or organism and log_reduction, not both")
        if self.log_reduction is None:
            raise ValueError("organism needs log_reduction, such as 3")
        if not math.isfinite(self.organism_dose or 0.0):
            raise ValueError(f"no dose gives {self.log_reduction:g} logs of {self.organism}")
        return self

    @property
    def organism_dose(self) -> float | None:
        """Dose (J/m2) for the log reduction at the high end of the organism's range, or None."""
        if self.organism is None or self.log_reduction is None:
            return None
        found = find_organism(self.organism, self.carrier)
        return found.kinetics("high").dose_for(self.log_reduction)

    @property
    def dose(self) -> float:
        """Dose (J/m2) that every judged face-side must receive.

        An organism never makes it less than the default unless `allow_below_default` is set.
        """
        if self.given_dose is not None:
            return self.given_dose
        default = assumptions()["target_dose_J_cm2"].value * units.J_M2_PER_J_CM2
        needed = self.organism_dose
        if needed is None:
            return default
        return needed if self.allow_below_default else max(needed, default)


class WarmUp(_Table):
    """Output after switch-on as a share of full output."""

    start: Share = Field(default_factory=lambda: assumptions()["warm_up_start_fraction"].value)
    full_after: Time | None = None
    time_constant: Annotated[Time, Field(gt=0)] | None = None
    curve: list[tuple[Time, Share]] | None = None

    @model_validator(mode="after")
    def _one_law(self) -> "WarmUp":
        given = [self.full_after, self.time_constant, self.curve]
        if sum(value is not None for value in given) > 1:
            raise ValueError("give one of full_after, time_constant, curve")
        if self.curve is not None:
            times = [time for time, _ in self.curve]
            if len(times) < 2 or times[0] != 0 or sorted(set(times)) != times:
                raise ValueError("curve needs rising times that start at zero")
            if self.curve[-1][1] != 1.0:
                raise ValueError("curve must end at 1.0, the full output")
        return self


class LampsBehaviour(_Table):
    """What takes output from a lamp in use; defaults are listed with their sources."""

    warm_up: WarmUp = Field(default_factory=WarmUp)
    ageing: PositiveShare = Field(
        default_factory=lambda: assumptions()["ageing_factor_rated_life"].value
    )
    rated_hours: Annotated[Number, Field(gt=0)] = Field(
        default_factory=lambda: assumptions()["rated_life_h"].value
    )
    temperature: PositiveShare = Field(
        default_factory=lambda: assumptions()["temperature_factor"].value
    )
    # Coldest and hottest air in the box during a cycle, degrees C; in place of `temperature`.
    air: Annotated[tuple[float, float] | None, BeforeValidator(as_air)] = None
    air_curve: Annotated[OutputCurve | None, BeforeValidator(as_curve)] = None
    dirt: PositiveShare = Field(default_factory=lambda: assumptions()["lamp_dirt_clean"].value)
    supply: PositiveShare = Field(default_factory=lambda: assumptions()["supply_factor"].value)

    @model_validator(mode="after")
    def _one_temperature(self) -> "LampsBehaviour":
        if self.air is not None:
            if "temperature" in self.model_fields_set:
                raise ValueError("temperature (a factor) and air (degrees) say the same: give one")
            self.output_curve.least(*self.air)  # a ValueError where the curve ends before
        return self

    @property
    def output_curve(self) -> OutputCurve:
        """Output against air temperature: that of the scene, or the default."""
        return default_curve() if self.air_curve is None else self.air_curve


class Wear(_Table):
    """How much a respirator may take; defaults are listed with their sources."""

    material_dose: Dose | None = None
    strap_dose: Dose | None = None
    donnings: Annotated[int, Field(ge=1)] | None = None
    policy_cycles: Annotated[int, Field(ge=1)] | None = None
    source: Annotated[str, Field(min_length=1, max_length=400)] | None = None  # of what is given


class Meter(_Table):
    """A point where a meter is held, and the way its head faces; heads are cosine-corrected.

    `response` names another kind of head, or is a table of [degrees, response].
    """

    name: Name
    at: Point
    facing: Triple
    reading: MeasuredIrradiance | None = None
    response: Annotated[AngularResponse, BeforeValidator(as_response)] = CORRECTED

    @field_validator("facing")
    @classmethod
    def _direction(cls, value: tuple[float, float, float]) -> tuple[float, float, float]:
        if not any(value):
            raise ValueError("facing is a direction and must not be all zero")
        return value


class Gap(_Table):
    """A slit through a wall: `from` and `to` end its middle line on the inside of the wall.

    A "rabbet" goes half the depth, `step` sideways and on to the outside: two bends.
    """

    name: Name = "gap"
    wall: Name
    start: Point = Field(alias="from")
    end: Point = Field(alias="to")
    width: PositiveLength
    depth: PositiveLength
    distance: PositiveLength
    kind: Literal["plain", "rabbet"] = "plain"
    step: PositiveLength | None = None
    reflectance: Share | None = None

    @model_validator(mode="after")
    def _passage(self) -> "Gap":
        if self.start == self.end:
            raise ValueError("from and to are the same point, so the gap has no length")
        if (self.kind == "rabbet") != (self.step is not None):
            raise ValueError('kind = "rabbet" and step (how far it goes sideways) go together')
        if self.step is not None and self.depth < 2.0 * self.width:
            raise ValueError("a rabbet must be at least two widths deep, or it has no bends")
        if self.step is not None and self.step < self.width:
            raise ValueError("a step below the width leaves an open corner to look through")
        return self


class SceneAsWritten(_Table):
    """All keys of a scene file; lengths in metres."""

    title: Name
    units: Literal["mm", "cm", "m", "in", "inch", "ft"] = "mm"
    chamber: Chamber
    lamp: Annotated[list[Lamp], Field(min_length=1, max_length=64)]
    object: Annotated[list[Object], Field(max_length=1000)] = []
    surface: list[SurfaceTable] = []
    target: Target = Field(default_factory=Target)
    lamps_behaviour: LampsBehaviour = Field(default_factory=LampsBehaviour)
    wear: Wear = Field(default_factory=Wear)
    meter: list[Meter] = []
    gap: list[Gap] = []

    @model_validator(mode="after")
    def _names_differ(self) -> "SceneAsWritten":
        for kind, entries in (("lamp", self.lamp), ("object", self.object), ("meter", self.meter)):
            seen: set[str] = set()
            for entry in entries:
                folded = entry.name.casefold()
                if folded in seen:
                    raise ValueError(f'two entries of {kind} are called "{entry.name}"')
                seen.add(folded)
        if any(table.name is None for table in self.surface):
            raise ValueError("every [[surface]] needs a name")
        return self
