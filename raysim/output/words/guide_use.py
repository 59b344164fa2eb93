"""What the guide says beside the steps of building: tools, tolerances, and all that follows."""

import math
from dataclasses import dataclass

from raysim.assess.tolerances import Tolerance, tolerances
from raysim.dose.result import Result
from raysim.output.words.uncertainty import doubt_line
from raysim.output.words.verdict import headline, reason_lines, state_words, the_verdict
from raysim.workshop.fixings import DOOR, Held
from raysim.workshop.grid import Grid
from raysim.workshop.panels import Panel, tags
from raysim.workshop.plan import Plan

NOT_TO_BE_BUILT = "NOT TO BE BUILT"
_WITH_HOLE = {Held.HOLE, Held.HOOK, Held.ENTRY}
LACKS = (
    "Its mesh has no named parts: floor, lid, door and walls cannot be told apart, so that lining "
    "and seams are those of the whole, and no door is known. Draw it with named parts (objects of "
    "an OBJ or GLB file) and run the guide again."
)
TOOLS = (
    "saw with a guide, for the sheet that you have; file or sandpaper for the edges",
    "drill with bits of the diameters on the drawings; centre punch; clamps",
    "steel rule, tape, square; scriber or sharp pencil; knife and scissors for the lining",
    "screwdrivers, spanners, feeler gauge",
)


@dataclass(frozen=True)
class Step:
    """A step: its heading, what to do line by line, what to beware of, and the picture of it."""

    title: str
    lines: tuple[str, ...]
    caution: str = ""
    picture: str = ""


# Ozone: ordinary germicidal glass stops the line of 185 nm, clear synthetic quartz lets it out
# [read in lamp makers' texts].
OZONE_FREE = (
    "Ozone-free lamps only: low-pressure mercury lamps of glass that stops 185 nm. Lamps of clear "
    "quartz make ozone, a gas that harms the lungs. Ask the seller, and do not fit a lamp of which "
    "nobody knows it."
)
# Common practice; any smell of ozone points to the wrong lamp [from memory].
OZONE_SMELL = (
    "A smell of ozone, sharp as after lightning: switch off, leave, air the room, do not use the "
    "box. It has the wrong lamp; change it before anything else."
)


def after(result: Result) -> tuple[Step, ...]:
    """All that follows building: operating, tally, change of lamps, what breaks, disposal."""
    rated = result.written.lamps_behaviour.rated_hours if result.written else 0.0
    return (
        _operating(),
        Step(
            "Tally",
            (
                "'raysim log' counts cycles, doses and lamp hours; on paper, the boxes of the "
                "card. Each respirator goes back to its own wearer, and is discarded when its "
                "boxes are full or its fit check fails.",
            ),
        ),
        Step(
            "Change of lamps",
            (
                f"At {rated:,.0f} h at the latest, or when the meter says so. Plug out and in your "
                "pocket, tubes cold. Same type, ozone-free; clean gloves.",
                "Take the card down: its verdict is stale. Read every meter point again; at the "
                "computer give the hours (hours = 0) and the readings, and work out the exposure "
                "time anew.",
            ),
            "Glass and mercury, see below. A tube that is fitted wrongly, or another type, is "
            "another box.",
        ),
        # Practice for mercury: air the room, no vacuum cleaner, sealed container [from memory].
        Step(
            "A broken lamp",
            (
                "Plug out. Everybody out of the room, its windows open, its door shut, for a "
                "quarter of an hour. Then, with nitrile gloves: pick up glass with stiff paper, "
                "dust with sticky tape, all into a jar that closes tightly. No broom, no vacuum "
                "cleaner: they spread the mercury.",
                "Discard the respirators that were in the box; wipe the box with damp paper, into "
                "the jar as well.",
            ),
            "Lamps hold mercury, a poison that evaporates. Glass cuts.",
        ),
        Step(
            "Disposal",
            (
                "Spent and broken lamps are mercury waste: to the collection point that local "
                "rules name, never into household waste. Tell them that the lamp is of the UVC "
                "kind.",
            ),
        ),
        # Ozone dulls the nose: from memory.
        Step(
            "A smell of ozone",
            (OZONE_SMELL,),
            "The nose soon stops smelling it: what one no longer smells may still be there.",
        ),
    )


def _operating() -> Step:
    return Step(
        "Operating",
        (
            "By the operator's card of 'raysim dose' alone; it holds the exposure time. It "
            "hangs beside the box.",
            "Door opened: the cycle does not count, start the full time again. A lamp out: "
            "stop, do not use the box; Change of lamps first.",
            "Worn respirators are soiled: gloves, hold them by their straps, then wash your "
            "hands; clean hands take them out (common practice). Let the box cool between "
            "cycles.",
            "Each day, before the first load: the door eased open cuts the lamps, by their "
            "indicators; seal, lining and tubes are whole. After a repair, a move or a year: "
            "white light and survey anew (common practice, no source).",
        ),
        "Never look at a lit lamp, never reach in, never bridge the switch of the door.",
    )


def to_find_out(plan: Plan) -> list[str]:
    """What a builder needs and this guide does not say (definition)."""
    found = [] if plan.is_box or plan.is_named else [LACKS]
    if plan.is_box and not plan.stock:
        found.append(
            "Thickness of the panels: your choice, t below. At the computer: sheet = ... under "
            "[chamber] draws the panels, and the sheets that they are cut from."
        )
    free = [mark.what for mark in plan.marks if mark.held is Held.FREE]
    if free:
        found.append(
            f"What carries {', '.join(free)}: no wall is near, and nothing is drawn. At the "
            "computer: draw a rail or a rod, for it shades, and run the guide again."
        )
    long = [mark.what for mark in plan.marks if mark.is_too_long]
    if long:
        found.append(
            f"How {', '.join(long)} fits: a lamp of this type, with its pins, is longer than its "
            "place. Measure yours; at the computer: move it, or make the box larger, and run the "
            "guide again."
        )
    if any(mark.held is Held.BRACKET for mark in plan.marks):
        found.append(
            "Where the cable of a lamp end on a bracket leaves the box: by an entry near it, with "
            "a row of its own on the survey sheet."
        )
    if not plan.scene.written.gap:
        found.append(
            "Section of the door: no seam is drawn ([[gap]]), so that its light is unknown."
        )
    found.append(
        "Wiring, ballasts, and the screw holes of hinges, latch and switches: the electrician and "
        "the parts in your hand say it."
    )
    found.append(
        "An exposure time: none is in this guide. It stands on the operator's card, which whoever "
        "keeps the computer file makes from your readings (raysim dose)."
    )
    return found


def forbidding(result: Result) -> list[str]:
    """What forbids to build the box, a line each; none where nothing does."""
    return [reason.says for reason in the_verdict(result).reasons if reason.code.forbids]


def state_of_guide(result: Result) -> str:
    """The state of a box that is still to be built: never one that reads as if it were ready."""
    if the_verdict(result).forbids:
        return NOT_TO_BE_BUILT
    return state_words(result).replace("READY AFTER", "NOT READY BEFORE", 1)


def answer(plan: Plan, result: Result) -> list[str]:
    """Whether to build it; the one thing to do; the one doubt."""
    found = the_verdict(result)
    if found.forbids:
        return [f"{NOT_TO_BE_BUILT}. {headline(result)}", *reason_lines(result)]
    cost = ""
    if plan.bill.currency:
        cost = f", {plan.bill.cost:.2f} {plan.bill.currency} for what has a price"
    missing = f"{plan.bill.unpriced} of {len(plan.bill.lines)} lines of the bill have no price"
    return [
        f"{headline(result)}",
        f"Read the guide through before you buy{cost}; {missing}.",
        doubt_line(result),
    ]


def rows(plan: Plan, result: Result) -> list[tuple[str, str]]:
    """What else is said of a guide, under labels."""
    found = [("rounded to", f"{plan.grid.step_words}. {moved_words(plan)}")]
    if plan.stock:
        sheets = "1 sheet" if len(plan.stock) == 1 else f"{len(plan.stock)} sheets"
        found.append(("stock", f"{sheets} for {len(plan.panels)} panels"))
    if not plan.is_box and not plan.is_named:
        found.append(("what it lacks", LACKS))
    found += [("measure twice", tolerance_words(one, plan.grid)) for one in tolerances(result)[:2]]
    return found


def moved_words(plan: Plan) -> str:
    """What rounding moved, in a sentence."""
    if not plan.is_box:
        return "Places were moved to where their printed measures put them."
    if not plan.moved:
        return "Rounding moved nothing."
    lengths = "1 length" if len(plan.moved) == 1 else f"{len(plan.moved)} lengths"
    return f"Rounding moved {lengths}, none by more than half a step."


def tolerance_words(one: Tolerance, grid: Grid) -> str:
    """What a thing that is off its place does to the timer, in words."""
    return f"{one.name}: {_slip_words(one, grid)}"


def _slip_words(one: Tolerance, grid: Grid) -> str:
    words = f"{grid.words(one.off)} off takes up to {one.share:.1%} of the light at the worst spot"
    if math.isinf(one.more_time):
        return f"{words}; no time would then be long enough. Measure twice."
    return f"{words}, and the exposure time would have to be about as much longer."


def measure_twice(panel: Panel, result: Result, grid: Grid) -> list[str]:
    """What a thing of a panel that is off its place does to the light at the worst spot.

    The lamp that matters most stands for all lamps: at another spot, another lamp matters most.
    """
    here: dict[str, list[str]] = {}
    for place in panel.places:
        for name in (place.mark.thing, *place.mark.carries):
            here.setdefault(name, []).append(place.tag)
    lamps = {lamp.name for lamp in result.written.lamp} if result.written else set()
    most: dict[bool, Tolerance] = {}
    found: dict[bool, list[str]] = {}
    for one in tolerances(result):
        first = most.setdefault(one.name in lamps, one)
        if one.name in here:
            found.setdefault(first.name in lamps, []).extend(here[one.name])
    return [
        f"{', '.join(sorted(letters))}: {_slip_words(most[kind], grid)}"
        for kind, letters in found.items()
    ]


def seam_rows(plan: Plan) -> tuple[str, ...]:
    """Every seam to be surveyed from outside, a row each."""
    rows = []
    if plan.is_box:
        rows = [f"{first} and {second}" for first, second in _edges()]
        rows += [f"door, {side} side" for side in ("left", "right", "upper", "lower")]
    gaps = [gap for gap in plan.scene.written.gap if not plan.is_box or gap.wall != DOOR]
    rows += [f'gap "{gap.name}"' for gap in gaps]
    lettered = zip(tags(), plan.marks, strict=False)
    rows += [f"hole {tag}: {mark.what}" for tag, mark in lettered if mark.held in _WITH_HOLE]
    rows += ["cable entries and ballasts", "bolts, earth screws, hinges, latch"]
    if not plan.is_box:
        rows += ["entry of the meter's cable", "lid or door, all round"]
        rows += ["every weld, rim and dent of the vessel"]
    return tuple(rows)


def _edges() -> list[tuple[str, str]]:
    """All twelve edges of a box; at the front its frame meets the other panels."""
    sides, levels = ("left", "right"), ("floor", "ceiling")
    found = [(one, other) for one in ("front frame", "back") for other in (*sides, *levels)]
    return [*found, *((side, level) for side in sides for level in levels)]
