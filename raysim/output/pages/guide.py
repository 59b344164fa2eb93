"""The guide: one self-contained page to buy, cut, drill, build and use a box by."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from raysim.assess.tolerances import tolerances
from raysim.dose.result import Result
from raysim.output.pages.card import card_origin
from raysim.output.pages.environment import write_page
from raysim.output.pages.svg import svg
from raysim.output.pictures.pictures import Picture
from raysim.output.words import guide as words
from raysim.output.words import guide_light as words_of_light
from raysim.output.words import guide_tables as tables
from raysim.output.words import guide_use as use
from raysim.output.words import same_box
from raysim.output.words.verdict import reason_lines, the_verdict
from raysim.workshop.bill import feet_words
from raysim.workshop.net import net_drawing
from raysim.workshop.panel_drawing import gap_words, held_alike
from raysim.workshop.plan import Plan, stock_drawing
from raysim.workshop.tiles import PAPERS, panel_tiles

ROOM, TALL, HALF = 184.0, 128.0, 91.0  # mm: a page across, a drawing up, half a page across


def _widths(plan: Plan) -> list[float]:
    """Width of each drawing of a panel on paper, mm: all have one scale (definition)."""
    sizes = [drawing.size for drawing in plan.drawings]
    if not sizes:
        return []
    widest = max(wide for wide, _ in sizes)
    scale = min(ROOM / widest, TALL / max(tall for _, tall in sizes))
    if HALF < scale * widest < 1.6 * HALF:
        scale = HALF / widest
    return [scale * wide for wide, _ in sizes]


def _drawings(plan: Plan, result: Result) -> list[tuple[Any, ...]]:
    """Each drawing of a panel with what stands about it; the low ones first, which share a page."""
    rows = [
        (drawing, svg(drawing), panel, use.measure_twice(panel, result, plan.grid), wide)
        for drawing, panel, wide in zip(plan.drawings, plan.panels, _widths(plan), strict=True)
    ]
    return sorted(rows, key=lambda row: round(row[0].size[1]))


def _templates(plan: Plan, paper: str) -> int:
    """How many sheets the drilling templates are printed on (definition)."""
    across, up = (0.001 * length for length in PAPERS[paper])
    return sum(len(panel_tiles(panel, plan.grid.step, (across, up))) for panel in plan.panels)


def write_guide(
    plan: Plan, result: Result, pictures: Sequence[Picture], path: Path, paper: str = "a4"
) -> None:
    """Write the guide of a plan with its verdict; one that forbids use heads every page."""
    forbidden = the_verdict(result).forbids
    write_page(
        path,
        "guide.html.j2",
        kind="Guide to build",
        title=result.title,
        forbidden=forbidden,
        state=use.state_of_guide(result),
        reasons=reason_lines(result),
        forbidding=use.forbidding(result),
        plan=plan,
        grid=plan.grid,
        feet=feet_words,
        paper=paper,
        width=PAPERS[paper][0],
        drawings=_drawings(plan, result),
        net=None if plan.inside is None else svg(net_drawing(plan.panels, plan.grid)),
        sheets=[
            (sheet, svg(stock_drawing(sheet, number, plan.grid)))
            for number, sheet in enumerate(plan.stock, 1)
        ],
        views=[(drawing, svg(drawing)) for drawing in plan.views],
        sections=[(drawing, svg(drawing)) for drawing in plan.sections],
        things=[(drawing, svg(drawing, plan.grid)) for drawing in plan.things],
        tables=tables,
        held_alike=held_alike,
        gap_words=gap_words,
        to_find_out=use.to_find_out(plan),
        moved=use.moved_words(plan),
        limit=words_of_light.limit_words(),
        result=result,
        tools=use.TOOLS,
        tolerances=[use.tolerance_words(one, plan.grid) for one in tolerances(result)],
        steps=words.steps(plan, result, _templates(plan, paper)),
        same=same_box.same_box(plan, result),
        fingerprint=same_box.fingerprint(plan),
        after=use.after(result),
        seams=use.seam_rows(plan),
        ozone=(use.OZONE_FREE, use.OZONE_SMELL),
        pictures={picture.kind: picture for picture in pictures},
        origin=card_origin(result),
    )
