"""Sheets to print: the operator's card (HTML and PNG) and the builder's sheet (HTML)."""

import base64
from collections.abc import Sequence
from datetime import date
from html import escape
from pathlib import Path

from raysim.assess.cut_list import marks, panels
from raysim.assess.lamp_life import lamp_life
from raysim.assess.reuse import reuse
from raysim.base.units import to_mm
from raysim.dose.result import Result
from raysim.output.pictures.pictures import OVERVIEW, Picture
from raysim.output.words.cautions import CAUTION_LINE
from raysim.output.words.readings import reading_lines
from raysim.output.words.sentences import reservations
from raysim.output.words.verdict import reason_lines, timer_words
from raysim.scene.file.written import SceneAsWritten

STYLE = """
body { font: 11pt/1.4 "Helvetica Neue", Arial, "Liberation Sans", sans-serif; margin: 1.5rem auto;
  max-width: 46rem; color: #1b1f24; }
h1 { font-size: 1.3rem; margin: 0 0 .3rem; } h2 { font-size: 1.05rem; margin: 1rem 0 .3rem; }
.timer { border: 3px solid #17465a; padding: .4rem .8rem; font-size: 2rem; font-weight: bold; }
.timer small { display: block; font-size: .9rem; font-weight: normal; }
img { max-width: 100%; max-height: 85mm; display: block; margin: .5rem auto; }
table { border-collapse: collapse; width: 100%; }
th, td { border: 1px solid #888; padding: .25rem .4rem; text-align: left; }
td.box { width: 2rem; height: 1.7rem; }
ol { margin: .3rem 0; padding-left: 1.3rem; }
.caution { border: 2px solid #8f1d1d; padding: .4rem .7rem; margin: .7rem 0; }
@media screen and (max-width: 34rem) { body { margin: 1rem; }
  table { display: block; overflow-x: auto; } }
@page { size: A4; margin: 12mm; }
@media print { body { margin: 0; font-size: 10pt; } tr { break-inside: avoid; } }
"""
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
    return 0 if found is None else min(found.cycles, MOST_BOXES)


def card_lines(result: Result) -> tuple[str, str, str]:
    """Timer setting, what the tally boxes stand for, and when the lamps are to be changed."""
    timer = timer_words(result)
    found, life = reuse(result), lamp_life(result)
    if found is None:
        cycles = "No cycle is allowed: there is no finite timer setting."
    elif found.cycles == 0:
        cycles = "No box: by the wear limit not even one cycle is allowed; see the report."
    else:
        noun = "cycle" if found.cycles == 1 else "cycles"
        cycles = f"{found.cycles} {noun} at most. What limits it: {found.binding}."
    lamps = "" if life is None else f"Change the lamps at {life.holds_until:,.0f} h, or on: "
    return timer, cycles, lamps


def card_doubts(result: Result) -> list[str]:
    """What has to be done before the timer is used, or why there is none."""
    disagree = result.readings is not None and not result.readings.agree
    known = reading_lines(result) if disagree else []
    return [*reason_lines(result), *known, *reservations(result)]


def card_origin(result: Result, day: date | None = None) -> str:
    """The calculation that a card is based on."""
    return (
        f"Calculated on {(day or date.today()).isoformat()} by raysim {result.raysim_version}, "
        f"scene {result.sha256[:12]}. Holds for that box, lining, lamps and load alone."
    )


def card_steps(result: Result) -> tuple[str, ...]:
    """Steps of the operator, including those between poses."""
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
    shown = next((p for p in pictures if p.kind == OVERVIEW), None)
    picture = ""
    if shown is not None:
        data = base64.b64encode(shown.file.read_bytes()).decode("ascii")
        picture = f'<img alt="the load" src="data:image/png;base64,{data}">'
    boxes = '<td class="box"></td>' * card_boxes(result)
    rows = "".join(
        f"<tr><th>{escape(name)}</th><td>owner: ______</td>{boxes}</tr>"
        for name in judged_names(result)
    )
    doubts = "".join(
        f'<p class="caution"><b>{escape(words)}</b></p>\n' for words in card_doubts(result)
    )
    steps = "".join(f"<li>{escape(step, quote=False)}</li>" for step in card_steps(result))
    body = (
        f"<h1>{escape(result.title)}</h1>\n"
        f'<p class="timer"><small>Timer setting, from cold lamps</small>{timer}</p>\n'
        f"{doubts}"
        f'<p class="caution"><b>Caution.</b> {CAUTION_LINE}</p>\n'
        f"<ol>{steps}</ol>\n{picture}\n<h2>Tally</h2><p>{escape(cycles)}</p><table>{rows}</table>\n"
        f"<p>{lamps}____________ &nbsp; Lamps fitted on: ____________ &nbsp; "
        "Meter check on: ____________</p>\n"
        f"<p><small>{card_origin(result)}</small></p>"
    )
    path.write_text(page(f"Operator's card: {result.title}", body), encoding="utf-8")


def page(title: str, body: str, style: str = STYLE) -> str:
    """A whole HTML page, in the style of the sheets unless another is given."""
    return (
        f'<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(title)}</title><style>{style}</style></head>\n<body>\n{body}\n"
        "</body></html>\n"
    )


def write_builders_sheet(scene: SceneAsWritten, path: Path) -> None:
    """Write cut list, linings and drill coordinates of a rectangular box as HTML (A4)."""
    cut = panels(scene.chamber)
    rows = "".join(
        f"<tr><td>{p.wall}</td><td>{_size(p.sheet)}</td><td>{_size(p.lining)}</td>"
        f"<td>{escape(p.surface)}</td></tr>"
        for p in cut
    )
    drill = "".join(
        f"<tr><td>{escape(m.what)}</td><td>{m.wall}</td>"
        f"<td>{', '.join(f'{to_mm(v):.0f} {words}' for words, v in m.measures)}</td>"
        f"<td>{'' if m.off_wall is None else f'{to_mm(m.off_wall):.0f}'}</td></tr>"
        for m in marks(scene)
    )
    sheet = scene.chamber.sheet
    joints = (
        f"Sheet {to_mm(sheet):g} mm thick, butt joints: left and right stand between floor and "
        "ceiling; front (door) and back cover all edges."
        if sheet is not None
        else "Give sheet = ... (thickness) under [chamber] for the sizes of the panels."
    )
    body = (
        f"<h1>Builder's sheet: {escape(scene.title)}</h1>\n"
        f'<p class="caution"><b>Caution.</b> {CAUTION_LINE}</p>\n'
        f"<h2>Panels and linings, mm</h2><p>{joints}</p>"
        "<table><tr><th>wall</th><th>panel, width x height</th><th>lining, width x height</th>"
        f"<th>lining</th></tr>{rows}</table>\n"
        "<h2>Lamp ends, hooks and fittings, mm, measured on the inside</h2>"
        "<table><tr><th>what</th><th>wall</th><th>middle of the hole, or place of the hook</th>"
        "<th>off that wall</th>"
        f"</tr>{drill}</table>\n"
        "<p>Lamp ends are the ends of the glowing arc: the sockets lie beyond them. The place of "
        "anything else is its <code>at</code> in the scene, where the origin of its mesh lies. "
        "Keep plastic, cable and glue out of the light; every seam overlaps and is checked from "
        "outside with a meter.</p>"
    )
    path.write_text(page(f"Builder's sheet: {scene.title}", body), encoding="utf-8")


def _size(size: tuple[float, float] | None) -> str:
    return "" if size is None else f"{to_mm(size[0]):.0f} x {to_mm(size[1]):.0f}"
