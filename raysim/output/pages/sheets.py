"""Sheets to print: the operator's card (HTML and PNG) and the builder's sheet (HTML)."""

from collections.abc import Sequence
from datetime import date
from pathlib import Path

from raysim.assess.cut_list import panels
from raysim.assess.fixings import marks, walls_of
from raysim.assess.lamp_life import lamp_life
from raysim.assess.reuse import reuse
from raysim.dose.result import Result
from raysim.output.pages.environment import write_page
from raysim.output.pictures.pictures import OVERVIEW, Picture
from raysim.output.words.readings import disagreements
from raysim.output.words.sentences import reservations
from raysim.output.words.verdict import (
    DO_NOT_USE,
    reason_lines,
    state_words,
    the_verdict,
    timer_label,
    timer_words,
)

# Steps: Grist et al. review, doi 10.1089/apb.20.0051 (unsoiled, own wearer) [read]; the full time
# after any opening, ordinary practice [from memory].
STEPS = (
    "Unsoiled, undamaged respirators only, each marked with its wearer's initials.",
    "Hang them as in the picture: open, straps spread, nothing touching.",
    "Shut the door. Lamps on, start the timer from cold lamps. See that every lamp burns, by the "
    "indicator outside or the fixed meter; never look in.",
    "Door opened or a lamp out: the cycle does not count. Start the full time again.",
    "Tick one box for each cycle. No box left: discard the respirator.",
    "Each respirator goes back to its own wearer; a failed fit check ends its use.",
)
MOST_BOXES = 12


def card_boxes(result: Result) -> int:
    """Tally boxes of each respirator: its limit of cycles, at most `MOST_BOXES`."""
    found = reuse(result)
    if found is None or the_verdict(result).forbids:
        return 0
    return min(found.cycles, MOST_BOXES)


def card_lines(result: Result) -> tuple[str, str, str]:
    """Timer setting, what the tally boxes stand for, and when the lamps are to be changed."""
    timer = timer_words(result)
    found, life = reuse(result), lamp_life(result)
    if found is None or the_verdict(result).forbids:
        cycles = f"No cycle: {DO_NOT_USE}."
    else:
        noun = "cycle" if found.cycles == 1 else "cycles"
        cycles = f"{found.cycles} {noun} at most. What limits it: {found.binding}."
    lamps = "" if life is None else f"Change the lamps at {life.holds_until:,.0f} h, or on: "
    return timer, cycles, lamps


def card_doubts(result: Result) -> list[str]:
    """What has to be done before the timer is used, or why there is none."""
    disagree = result.readings is not None and not result.readings.agree
    known = disagreements(result) if disagree else []  # without the calculated time: no time here
    return [*reason_lines(result), *known, *reservations(result)]


def card_origin(result: Result, day: date | None = None) -> str:
    """The calculation that a card is based on."""
    return (
        f"Calculated on {(day or date.today()).isoformat()} by raysim {result.raysim_version}, "
        f"scene {result.sha256[:12]}. Holds for that box, lining, lamps and load alone."
    )


def card_steps(result: Result) -> tuple[str, ...]:
    """Steps of the operator, including those between poses; none where use is forbidden."""
    if the_verdict(result).forbids:
        return ()
    if not result.poses:
        return STEPS
    order = ", then ".join(f'"{pose.name}"' for pose in result.poses)
    turn = (
        f"Poses in this order, each with its own timer: {order}.",
        "Between two: lamps off, open, turn the load over, shut, lamps on, next timer.",
        "Door opened while a timer runs, or a lamp out: the cycle does not count. Start all over.",
    )
    return (*STEPS[:3], *turn, *STEPS[4:])


def judged_names(result: Result) -> list[str]:
    """Names of the judged objects (definition)."""
    return [body.name for body in result.triangles.bodies if body.judged]


def write_card(result: Result, pictures: Sequence[Picture], path: Path) -> None:
    """Write the operator's card as one self-contained HTML page (A4)."""
    timer, cycles, lamps = card_lines(result)
    write_page(
        path,
        "card.html.j2",
        kind="Operator's card",
        title=result.title,
        label=timer_label(result),
        timer=timer,
        doubts=card_doubts(result),
        steps=card_steps(result),
        picture=next((one for one in pictures if one.kind == OVERVIEW), None),
        cycles=cycles,
        names=judged_names(result),
        boxes=card_boxes(result),
        lamps=lamps,
        origin=card_origin(result),
    )


def write_builders_sheet(result: Result, path: Path) -> None:
    """Write the verdict, and what to cut and to drill, as HTML (A4); the scene must be known."""
    scene = result.written
    assert scene is not None
    write_page(
        path,
        "builder.html.j2",
        kind="Builder's sheet",
        title=scene.title,
        state=state_words(result),
        forbidden=the_verdict(result).forbids,
        reasons=reason_lines(result),
        thickness=scene.chamber.sheet,
        panels=panels(scene.chamber),
        marks=marks(scene, walls_of(scene, result.triangles)),
        origin=card_origin(result),
    )
