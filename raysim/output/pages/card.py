"""The operator's card: what stands on it, and the card as a page to print (HTML, A4)."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from raysim.assess.lamp_life import lamp_life
from raysim.assess.reuse import reuse
from raysim.dose.result import Result
from raysim.output.pages.environment import write_page
from raysim.output.pictures.pictures import LOAD, Picture
from raysim.output.words.readings import disagreements
from raysim.output.words.sentences import reservations
from raysim.output.words.verdict import (
    DO_NOT_USE,
    reason_lines,
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
    "Door opened: start the full time again. A lamp out: stop, and do not use the box.",
    "A smell of ozone: lamps off, leave, air the room. The box has the wrong lamp: do not use it.",
    "Tick one box for each cycle. No box left: discard the respirator.",
    "Each respirator goes back to its own wearer; a failed fit check ends its use.",
)
MOST_BOXES = 12
FEW_BOXES, FEW_ROWS = 5, 8  # with more rows than that, of so few boxes, the tally has two columns


@dataclass(frozen=True)
class Card:
    """All words of a card; `rows` are number and name of each respirator, where use is allowed.

    `boxes` is the number of tally boxes of each: its limit of cycles, at most `MOST_BOXES`.
    """

    title: str
    forbidden: bool
    label: str
    timer: str
    doubts: tuple[str, ...]
    steps: tuple[str, ...]
    cycles: str
    rows: tuple[tuple[int, str], ...]
    boxes: int
    lamps: str
    origin: str

    @property
    def columns(self) -> int:
        """Columns of the tally (definition)."""
        return 2 if self.boxes <= FEW_BOXES and len(self.rows) > FEW_ROWS else 1

    @property
    def in_columns(self) -> list[tuple[tuple[int, str], ...]]:
        """The rows of each column of the tally, one below the other (definition)."""
        each = -(-len(self.rows) // self.columns)
        return [self.rows[k * each : (k + 1) * each] for k in range(self.columns)]


def card_of(result: Result) -> Card:
    """The card of a result; where use is forbidden it has no steps, no rows and no boxes."""
    found, life = reuse(result), lamp_life(result)
    forbidden = the_verdict(result).forbids
    if found is None or forbidden:
        boxes, cycles = 0, f"No cycle: {DO_NOT_USE}."
    else:
        noun = "cycle" if found.cycles == 1 else "cycles"
        boxes = min(found.cycles, MOST_BOXES)
        cycles = f"{found.cycles} {noun} at most. What limits it: {found.binding}."
    return Card(
        result.title,
        forbidden,
        timer_label(result),
        timer_words(result),
        tuple(_doubts(result)),
        _steps(result),
        cycles,
        tuple(enumerate(_judged_names(result), 1)) if boxes else (),
        boxes,
        "" if life is None else f"Change the lamps at {life.holds_until:,.0f} h, or on: ",
        card_origin(result),
    )


def _doubts(result: Result) -> list[str]:
    """What has to be done before the timer is used, or why there is none."""
    # Without the calculated time: no time here.
    known = disagreements(result.readings.rows if result.readings else ())
    return [*reason_lines(result), *known, *reservations(result)]


def card_origin(result: Result, day: date | None = None) -> str:
    """The calculation that a card is based on."""
    return (
        f"Calculated on {(day or date.today()).isoformat()} by raysim {result.raysim_version}, "
        f"scene {result.sha256[:12]}. Holds for that box, lining, lamps and load alone."
    )


def _steps(result: Result) -> tuple[str, ...]:
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


def _judged_names(result: Result) -> list[str]:
    """Names of the judged objects, in the order of their numbers in the picture (definition)."""
    triangles = result.triangles
    return [triangles.bodies[k].name for k in triangles.judged_bodies]


def picture_of(pictures: Sequence[Picture]) -> Picture | None:
    """The picture of the load, if it was drawn."""
    return next((one for one in pictures if one.kind == LOAD), None)


def write_card(result: Result, pictures: Sequence[Picture], path: Path) -> None:
    """Write the operator's card as one self-contained HTML page (A4)."""
    card = card_of(result)
    write_page(
        path,
        "card.html.j2",
        kind="Operator's card",
        title=card.title,
        card=card,
        picture=picture_of(pictures),
    )
