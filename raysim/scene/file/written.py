"""The scene as the user wrote it: the keys of the scene file, validated, in SI units."""

import difflib
import math
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, model_validator

from raysim.base import units
from raysim.library.assumptions import assumptions
from raysim.library.lamps import LampType, lamp_like
from raysim.library.meter_heads import CORRECTED, AngularResponse, as_response
from raysim.library.organisms import find_organism
from raysim.library.surfaces import Surface, UnknownSurface, find_surface, folded_name
from raysim.library.temperature import OutputCurve, as_air, as_curve, default_curve
from raysim.scene.file.fields import (
    LARGEST_HOURS,
    SMALLEST_ARC,
    Area,
    Count,
    Day,
    Direction,
    Dose,
    GivenName,
    Hours,
    Irradiance,
    MeasuredIrradiance,
    MeshPath,
    Name,
    Number,
    Point,
    PositiveLength,
    PositiveShare,
    Power,
    Scale,
    Share,
    Switch,
    Table,
    Time,
    assumed,
)
from raysim.scene.file.rows import Row
from raysim.scene.file.seams import Gap, Seams
from raysim.scene.file.things import (
    MOST_POSES,
    Object,
    Pose,
    SurfaceChoice,
    SurfaceTable,
    refuse_unfit_poses,
)

Rows = list[tuple[float, float]]  # how a curve is written
MOST_OBJECTS = 1000  # of a scene


class Chamber(Table):
    """Inside of the box: a rectangular box from its size, or any closed mesh."""

    inside: tuple[PositiveLength, PositiveLength, PositiveLength] | None = None
    mesh: MeshPath | None = None
    scale: Scale = 1.0
    lining: SurfaceChoice
    walls: Annotated[dict[str, SurfaceChoice], Field(max_length=1000)] = {}
    edge: PositiveLength = 0.05
    sheet: PositiveLength | None = None  # thickness of the panels, for the guide

    @model_validator(mode="after")
    def _one_shape(self) -> "Chamber":
        if (self.inside is None) == (self.mesh is None):
            raise ValueError("a chamber needs either inside = [width, depth, height] or mesh")
        if self.mesh is not None and self.sheet is not None:
            raise ValueError(
                "sheet is for the panels of a box given by inside; leave it out with mesh: nothing "
                "is cut for one"
            )
        return self


class Lamp(Table):
    """One lamp: one or more cylinders that emit light and also block it."""

    name: GivenName
    start: Point = Field(alias="from")
    end: Point = Field(alias="to")
    diameter: PositiveLength
    tubes: Annotated[int, Field(ge=1, le=8)] = 1
    spacing: PositiveLength | None = None
    spread: Direction | None = None
    uvc: Power | None = None
    irradiance_at_1m: Irradiance | None = None
    electrical: Power | None = None
    hours: Hours = 0.0
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
        if math.dist(self.start, self.end) < SMALLEST_ARC:
            raise ValueError("from and to are the same point, so the lamp has no length")
        if (self.tubes > 1) != (self.spacing is not None):
            raise ValueError("tubes above 1 and spacing (between tube axes) go together")
        if self.spacing is not None and self.spacing <= self.diameter:
            raise ValueError("spacing must exceed diameter, or the tubes cut each other")
        return self

    @property
    def kind(self) -> LampType | None:
        """The type of the catalogue that has the size of this lamp, or None (definition)."""
        arc = 1000.0 * math.dist(self.start, self.end)
        return lamp_like(self.tubes, 1000.0 * self.diameter, arc)

    @property
    def beyond(self) -> float | None:
        """How far a lamp of its `kind` reaches beyond an end of the arc with a cap, m, or None.

        Source: length over all, the arc in its middle; a single cap has all of the rest.
        """
        if self.kind is None:
            return None
        rest = 0.001 * self.kind.tube_length_mm - math.dist(self.start, self.end)
        return max(rest, 0.0) / self.kind.caps


class Target(Table):
    """What every judged face-side must receive: a dose, or that for a log reduction."""

    given_dose: Dose | None = Field(default=None, alias="dose")
    organism: Name | None = None
    carrier: Literal["water", "steel", "fabric"] = "fabric"
    log_reduction: Annotated[Number, Field(gt=0, le=12)] | None = None
    allow_below_default: Switch = False
    safety_factor: Annotated[Number, Field(ge=1, le=10)] = assumed("safety_factor")
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


class WarmUp(Table):
    """Output after switch-on as a share of full output."""

    start: Share = assumed("warm_up_start_fraction")
    full_after: Time | None = None
    time_constant: Annotated[Time, Field(gt=0)] | None = None
    curve: Annotated[list[tuple[Time, Share]], Field(max_length=1000)] | None = None

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


class LampsBehaviour(Table):
    """What lowers the output of a lamp in use; defaults are listed with their sources."""

    warm_up: WarmUp = Field(default_factory=WarmUp)
    ageing: PositiveShare = assumed("ageing_factor_rated_life")
    rated_hours: Annotated[Number, Field(ge=1, le=LARGEST_HOURS)] = assumed("rated_life_h")
    temperature: PositiveShare = assumed("temperature_factor")
    # Coldest and hottest air in the box during a cycle, degrees C; in place of `temperature`.
    air: Annotated[
        tuple[float, float] | None,
        BeforeValidator(as_air, json_schema_input_type=str | tuple[str, str]),
    ] = None
    air_curve: Annotated[
        OutputCurve | None, BeforeValidator(as_curve, json_schema_input_type=Rows)
    ] = None
    dirt: PositiveShare = assumed("lamp_dirt_clean")
    supply: PositiveShare = assumed("supply_factor")

    @model_validator(mode="after")
    def _one_temperature(self) -> "LampsBehaviour":
        if self.air is not None:
            if "temperature" in self.model_fields_set:
                raise ValueError("temperature (a factor) and air (degrees) say the same: give one")
            self.output_curve.least(*self.air)  # ValueError if the curve does not reach so far
        return self

    @property
    def output_curve(self) -> OutputCurve:
        """Output against air temperature: that of the scene, or the default."""
        return default_curve() if self.air_curve is None else self.air_curve


class Wear(Table):
    """How much treatment a respirator may take; defaults are listed with their sources."""

    material_dose: Dose | None = None
    strap_dose: Dose | None = None
    donnings: Count | None = None
    policy_cycles: Count | None = None
    source: Annotated[str, Field(min_length=1, max_length=400)] | None = (
        None  # of the limits given here
    )


class Meter(Table):
    """A point where a meter is held, and the direction of its head, which is cosine-corrected.

    `response` names another kind of head, or is a table of [degrees, response]. `lamp_hours` is the
    age of the lamps at the reading, one number for all or one for each; default: their present age.
    """

    name: GivenName
    at: Point
    facing: Direction
    reading: MeasuredIrradiance | None = None
    read_on: Day | None = None
    lamp_hours: Hours | Annotated[list[Hours], Field(min_length=1, max_length=64)] | None = None
    response: Annotated[
        AngularResponse, BeforeValidator(as_response, json_schema_input_type=str | Rows)
    ] = CORRECTED

    @model_validator(mode="after")
    def _of_a_reading(self) -> "Meter":
        if self.lamp_hours is not None and self.reading is None:
            raise ValueError("lamp_hours is the age of the lamps at the reading: give reading too")
        if self.read_on is not None and self.reading is None:
            raise ValueError("read_on is the day of the reading: give reading too")
        return self


class SceneAsWritten(Table):
    """All keys of a scene file; lengths in metres. `object` holds those of the rows as well."""

    title: GivenName
    units: Literal["mm", "cm", "m", "in", "inch", "ft"] = "mm"
    repair: Switch = True
    chamber: Chamber
    lamp: Annotated[list[Lamp], Field(min_length=1, max_length=64)]
    object: Annotated[list[Object], Field(max_length=MOST_OBJECTS)] = []
    row: Annotated[list[Row], Field(max_length=100)] = []
    surface: Annotated[list[SurfaceTable], Field(max_length=200)] = []
    target: Target = Field(default_factory=Target)
    lamps_behaviour: LampsBehaviour = Field(default_factory=LampsBehaviour)
    wear: Wear = Field(default_factory=Wear)
    meter: Annotated[list[Meter], Field(max_length=200)] = []
    pose: Annotated[list[Pose], Field(max_length=MOST_POSES)] = []
    gap: Annotated[list[Gap], Field(max_length=64)] = []
    seams: Seams | None = None

    @model_validator(mode="after")
    def _rows_are_objects(self) -> "SceneAsWritten":
        if not self.row:
            return self
        every = self.object + [entry for row in self.row for entry in row.objects()]
        if len(every) > MOST_OBJECTS:
            raise ValueError(
                f"{len(every):,} objects with those of the rows, {MOST_OBJECTS:,} at most"
            )
        return self.model_copy(update={"object": every})

    @model_validator(mode="after")
    def _names_differ(self) -> "SceneAsWritten":
        if any(table.name is None for table in self.surface):
            raise ValueError("every [[surface]] needs a name")
        for kind in ("lamp", "row", "object", "meter", "pose", "surface"):
            seen: set[str] = set()
            for entry in getattr(self, kind):
                folded = " ".join(entry.name.casefold().split())
                if folded in seen:
                    raise ValueError(
                        f'two entries of {kind} are called "{entry.name}". Mend: name each one '
                        "otherwise"
                    )
                seen.add(folded)
        return self

    @model_validator(mode="after")
    def _readings_are_of_these_lamps(self) -> "SceneAsWritten":
        for meter in self.meter:
            hours = self.hours_when_read(meter)
            if hours is None:
                continue
            if len(hours) != len(self.lamp):
                raise ValueError(
                    f'meter "{meter.name}": lamp_hours has {len(hours)} numbers for '
                    f"{len(self.lamp)} lamps; give one for each, or one for all"
                )
            for lamp, then in zip(self.lamp, hours, strict=True):
                if then > lamp.hours:
                    raise ValueError(
                        f'meter "{meter.name}": lamp "{lamp.name}" had {then:g} h when it was '
                        f"read, and has {lamp.hours:g} h now; correct the hours of the lamp, or "
                        "read the meter again after a change of lamps"
                    )
        return self

    def find_surface(self, name: str) -> Surface:
        """The surface of this name: one of its own tables, or one of the library.

        Raises
        ------
        UnknownSurface
            Where neither has it; it knows the nearest names.
        """
        own = {folded_name(table.name or ""): table for table in self.surface}
        table = own.get(folded_name(name))
        if table is not None:
            return table.surface()
        try:
            return find_surface(name)
        except UnknownSurface as error:
            close = difflib.get_close_matches(folded_name(name), own, n=2, cutoff=0.5)
            raise UnknownSurface(name, [*close, *error.nearest]) from None

    def object_key(self, number: int) -> str:
        """Key of an object as the user would find it, such as `object 3 "respirator 1"`.

        That of one from a row names the row.
        """
        name = self.object[number].name
        for place, row in enumerate(self.row, 1):
            if name in {entry.name for entry in row.objects()}:
                return f'row {place} "{row.name}": "{name}"'
        return f'object {number + 1} "{name}"'

    def hours_when_read(self, meter: Meter) -> tuple[float, ...] | None:
        """Age of each lamp at the reading, h; None if it is the present age (definition)."""
        if meter.lamp_hours is None:
            return None
        if isinstance(meter.lamp_hours, list):
            return tuple(meter.lamp_hours)
        return (meter.lamp_hours,) * len(self.lamp)

    @model_validator(mode="after")
    def _poses_fit(self) -> "SceneAsWritten":
        refuse_unfit_poses(self.pose, self.object)
        return self

    @property
    def pose_shares(self) -> tuple[float, ...]:
        """Share of the cycle of each pose, adding up to 1; (1.0,) without poses (definition)."""
        given = [pose.share if pose.share is not None else 1.0 for pose in self.pose] or [1.0]
        whole = sum(given)
        return tuple(share / whole for share in given)
