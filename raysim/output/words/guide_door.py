"""The step of the door in words: its trap, its frame, its hinges, its switches."""

from collections.abc import Iterator

from raysim.base.units import to_mm
from raysim.dose.result import Result
from raysim.dose.verdict_record import Why
from raysim.output.words.guide_use import Step
from raysim.output.words.numbers import number
from raysim.output.words.verdict import the_verdict
from raysim.scene.file.seams import Gap
from raysim.scene.rabbet import closing_step
from raysim.workshop.fixings import DOOR
from raysim.workshop.plan import Plan

_HINGED = (
    "Hinges on the left as one stands before it, on the outside, bolted through; a stop all "
    "round, against which the door shuts; a latch that pulls it home."
)
_LID = (
    "A lid or a door that shuts against a stop all round, with a collar that overlaps the vessel, "
    "and a clamp or a latch that pulls it home the same way each time."
)


def door(plan: Plan, result: Result) -> Step:
    """The step of the door of a box, or of the lid of a vessel."""
    gaps = [gap for gap in plan.scene.written.gap if not plan.is_box or gap.wall == DOOR]
    lines = [_HINGED if plan.is_box else _LID, *(_trap(gap, plan, result) for gap in gaps)]
    lines += _framed(plan)
    if not gaps:
        lines.append(
            "No seam of the door is drawn in the scene, so that nothing is known of its light: "
            "draw it as a [[gap]] and run the guide again, or survey it by meter."
        )
    where = "far from the hinges or clamps, apart from each other"
    if plan.is_box:
        where = "on the frame at the latch side, one high and one low"
    # IEC PAS 63313:2021, a closed enclosure that opens without tools needs an automatic switch
    # [read]; two of them, hard-wired, ordinary practice [from memory].
    lines.append(
        f"Two switches of hardware, outside, {where}, under covers that no hand gets into; no hole "
        f"into the box is drilled for them. Each cuts the lamps' power by itself, {trips(plan)}, "
        "and does not let it in again when a door slams or sags. No program takes their place."
    )
    lines.append("The warning sign on the outside of the door.")
    return Step("The door", tuple(lines), "Without these switches no lamp is ever lit.", "door")


def trips(plan: Plan) -> str:
    """When a switch cuts: half of what the leaf sits in the frame is our own choice."""
    found = plan.door
    if found is None or not found.step:
        return "before light gets past the stop"
    laps = (found.depth - found.width) // 2
    half, whole, unit = plan.grid.text(laps // 2), plan.grid.text(laps), plan.grid.unit
    return (
        f"before the leaf has come out by {half} {unit} (half of the {whole} {unit} that its inner "
        "layer sits in the frame; own choice)"
    )


def _framed(plan: Plan) -> Iterator[str]:
    found, grid = plan.door, plan.grid
    if found is None:
        return
    sheet = plan.scene.written.chamber.sheet
    more = " + t" if sheet is None else ""
    thick = 0 if sheet is None else grid.steps(sheet)
    inside, outside = (
        f"{grid.text(found.ring(step) + thick)}{more}" for step in (0, found.halves[-1])
    )
    unit = grid.unit
    wide = f"{inside} {unit} wide inside, {outside} {unit} outside"
    yield (
        f"The frame is narrow: {wide} at its narrowest. Legs of the angle, hinges and latch on it "
        "are no wider, so that the leaf is free; where screws do not hold, a block outside on the "
        "side panel, or a front that reaches beyond the box. "
        "All else of frame, leaf and hinge pin stands at its section."
    )
    if found.step:
        yield (
            "Seal: black foam or rubber with a skin, on the stop all round, no wider than "
            f"{grid.text(found.step - found.width)} {unit}, when free two to three times as thick "
            f"as the {grid.text(found.width)} {unit} that it is pressed to (common practice). "
            "Shut, it grips a strip of paper everywhere."
        )


def _trap(gap: Gap, plan: Plan, result: Result) -> str:
    grid = plan.grid
    width, depth = (grid.told(x) for x in (gap.width, gap.depth))
    size = f"{width} {grid.unit} wide and {depth} {grid.unit} deep"
    if gap.step is None:
        least = number(to_mm(closing_step(gap.width, gap.depth)))
        return (
            f'Seam "{gap.name}": {size}, straight through, see its section. A rabbet (two bends) '
            "of a step above "
            f"{least} mm would let no line of sight through."
        )
    step = f"a step of {grid.words(gap.step)}"
    verdict = the_verdict(result)
    above = any(reason.code is Why.LEAK_ABOVE_LIMIT for reason in verdict.reasons)
    if gap.name not in verdict.holds_for.gaps:
        found = "Its light was not calculated"
    elif above:
        found = "By calculation the box lets out more than is allowed: see the reasons"
    else:
        found = (
            "This trap alone was calculated: its light is below the limit for a shift. The survey "
            "must confirm it, and look at every other seam"
        )
    return (
        f'Light trap "{gap.name}": a rabbet {size} with {step}, as its section shows, matt black '
        f"inside. {found}."
    )
