"""What somebody wishes for, as a file: respirators, limits, and what can be had at which price."""

import math
import re
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, model_validator

from raysim.base.errors import Fault, RaysimError, SceneError
from raysim.base.fault_codes import Code
from raysim.library.assumptions import assumptions
from raysim.library.lamps import LampType, lamp_types
from raysim.library.surfaces import Surface, UnknownSurface, find_surface
from raysim.scene.file.fields import Count, GivenName, Number, PositiveLength, Power, Table, Time
from raysim.scene.file.read import read_tables
from raysim.scene.file.written import LampsBehaviour, Target, Wear

MOST_HUNG = 60
LARGEST_PRICE = 1e9
_PRICE = re.compile(r"(\d+(?:\.\d+)?) ?(\S{1,12})")
Money = tuple[float, str]  # an amount, and its currency


def _money(value: Any) -> Money:
    match = _PRICE.fullmatch(value.strip()) if isinstance(value, str) else None
    if match is None:
        raise ValueError('this is no price with its currency, such as "12.50 EUR"')
    if float(match[1]) > LARGEST_PRICE:
        raise ValueError("it is more than can be meant")
    return float(match[1]), match[2]


Price = Annotated[Money, BeforeValidator(_money)]


class Load(Table):
    """How many respirators hang at a time, and which shapes, in turn: names or mesh files."""

    number: Annotated[int, Field(ge=1, le=MOST_HUNG)]
    shapes: Annotated[list[GivenName], Field(min_length=1, max_length=MOST_HUNG)]


class Limits(Table):
    """What the box may be, cost and take at most, and how often a respirator should come back."""

    outside: tuple[PositiveLength, PositiveLength, PositiveLength]
    budget: Price
    longest_cycle: Annotated[Time, Field(gt=0)]
    cycles: Count = 1


class SheetOffer(Table):
    """Sheets of stock to cut the panels from."""

    size: tuple[PositiveLength, PositiveLength]
    thickness: PositiveLength
    price: Price


class LampOffer(Table):
    """A lamp of the library, with the price of all that one of them takes: holders and ballast."""

    kind: GivenName
    price: Price
    most: Annotated[int, Field(ge=1, le=64)] = 64
    uvc: Power | None = None

    @model_validator(mode="after")
    def _known(self) -> "LampOffer":
        if self.kind not in lamp_types():
            raise ValueError(f'no lamp is called "{self.kind}"; known: {", ".join(lamp_types())}')
        share = assumptions()["uvc_share_limit"].value
        if self.uvc is not None and self.uvc > share * self.type.lamp_W_high:
            raise ValueError(
                f"{self.uvc:g} W of UVC from a lamp of {self.type.lamp_W_high:g} electrical watts "
                f"is more than {share:.0%}, the upper limit in print: electrical watts are not UVC "
                "watts"
            )
        return self

    @property
    def type(self) -> LampType:
        """The lamp of the library (definition)."""
        return lamp_types()[self.kind]

    @property
    def watts(self) -> float:
        """UVC of one lamp, W: as given, or the low end of makers' catalogues (definition)."""
        return self.type.uvc_W_low if self.uvc is None else self.uvc


class LiningOffer(Table):
    """A lining of the library, at a price for a square metre."""

    name: GivenName
    price: Price

    @model_validator(mode="after")
    def _known(self) -> "LiningOffer":
        try:
            find_surface(self.name)
        except UnknownSurface as error:
            raise ValueError(f'no surface is called "{self.name}", {error.mend}') from None
        return self

    @property
    def surface(self) -> Surface:
        """The surface of the library (definition)."""
        return find_surface(self.name)


class OtherCost(Table):
    """What every box costs besides: door switches, a timer, seals."""

    name: GivenName
    price: Price


class Wish(Table):
    """All keys of a wish; lengths in metres."""

    title: GivenName
    units: Literal["mm", "cm", "m", "in", "inch", "ft"] = "mm"
    scale: Annotated[Number, Field(gt=0)] = 1.0  # on meshes of one's own
    load: Load
    limits: Limits
    sheet: Annotated[list[SheetOffer], Field(min_length=1, max_length=10)]
    lamp: Annotated[list[LampOffer], Field(min_length=1, max_length=10)]
    lining: Annotated[list[LiningOffer], Field(min_length=1, max_length=12)]
    other: Annotated[list[OtherCost], Field(max_length=50)] = []
    target: Target = Field(default_factory=Target)
    lamps_behaviour: LampsBehaviour = Field(default_factory=LampsBehaviour)
    wear: Wear = Field(default_factory=Wear)

    @model_validator(mode="after")
    def _one_currency(self) -> "Wish":
        known = sorted({currency for _, currency in self._prices()})
        if len(known) > 1:
            raise ValueError(
                f"prices in {' and '.join(known)} cannot be added: give all in one currency"
            )
        return self

    @model_validator(mode="after")
    def _no_contradiction(self) -> "Wish":
        donnings = self.wear.donnings or int(assumptions()["donnings_limit"].value)
        policy = self.wear.policy_cycles or int(assumptions()["cycles_limit"].value)
        if self.limits.cycles > min(donnings, policy):
            raise ValueError(
                f"limits.cycles asks for {self.limits.cycles} cycles, but no respirator may go "
                f"through more than {min(donnings, policy)} ({donnings} donnings, {policy} "
                "cycles): ask for fewer, or give limits of your own under [wear]"
            )
        least = sum(self.money(other.price) for other in self.other)
        least += min(self.money(one.price) for one in self.sheet)
        least += min(self.money(one.price) for one in self.lamp)
        if least > self.money(self.limits.budget):
            raise ValueError(
                f"limits.budget is {self.told(self.money(self.limits.budget))}, but one sheet, one "
                f"lamp and all under [[other]] cost {self.told(least)} already"
            )
        thick = max(one.thickness for one in self.sheet)
        if min(self.limits.outside) <= 2.0 * thick:
            raise ValueError("limits.outside is no more than twice the thickness of a sheet")
        return self

    def _prices(self) -> list[Money]:
        found = [self.limits.budget, *(sheet.price for sheet in self.sheet)]
        found += [lamp.price for lamp in self.lamp] + [lining.price for lining in self.lining]
        return found + [other.price for other in self.other]

    @staticmethod
    def money(price: Money) -> float:
        """The amount of a price (definition)."""
        return price[0]

    @property
    def currency(self) -> str:
        """The one currency of all prices (definition)."""
        return self.limits.budget[1]

    def told(self, amount: float) -> str:
        """An amount of money in words, rounded up to whole units.

        Source: definition.
        """
        return f"{math.ceil(amount - 1e-9):,} {self.currency}"


def read_wish(path: str | Path) -> Wish:
    """The wish of a TOML file.

    Raises
    ------
    SceneError
        With every fault found in the file, one line each.

    Examples
    --------
    >>> read_wish("raysim/starter/wish.toml").load.number
    6
    """
    return read_tables(Path(path), Wish)


def refused(path: Path, key: str, what: str, mend: str) -> RaysimError:
    """A wish that cannot be worked on, in one line."""
    return SceneError([Fault(Code.BAD_VALUE, str(path), key, what, mend)])
