"""The guide: one self-contained page to buy, cut, drill, build and use a box by."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from raysim.assess.tolerances import tolerances
from raysim.dose.result import Result
from raysim.library.lamps import LampType, lamp_like
from raysim.output.pages.card import card_origin
from raysim.output.pages.environment import write_page
from raysim.output.pages.svg import svg
from raysim.output.pictures.pictures import Picture
from raysim.output.words import guide as words
from raysim.output.words import guide_use as use
from raysim.output.words.verdict import reason_lines, state_words, the_verdict
from raysim.scene.file.written import Lamp
from raysim.workshop.drawing import Drawing
from raysim.workshop.net import net_drawing
from raysim.workshop.plan import Plan, stock_drawing

PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}  # mm


@dataclass(frozen=True)
class LampRow:
    """A lamp of the scene, and the catalogue's type of its size if there is one."""

    name: str
    lamp: Lamp
    kind: LampType | None


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
        state=use.NOT_TO_BE_BUILT if forbidden else state_words(result),
        reasons=reason_lines(result),
        forbidding=use.forbidding(result),
        plan=plan,
        grid=plan.grid,
        paper=paper,
        width=PAPERS[paper][0],
        drawings=[
            (drawing, svg(drawing), use.measure_twice(panel, result))
            for drawing, panel in zip(plan.drawings, plan.panels, strict=True)
        ],
        net=None if plan.inside is None else svg(_net(plan)),
        sheets=[
            (sheet, svg(stock_drawing(sheet, number, plan.grid)))
            for number, sheet in enumerate(plan.stock, 1)
        ],
        lamps=_lamps(plan),
        lacks=use.LACKS,
        tools=use.TOOLS,
        tolerances=[use.tolerance_words(one) for one in tolerances(result)],
        steps=words.steps(plan, result),
        after=use.after(result),
        seams=use.seam_rows(plan),
        ozone=(use.OZONE_FREE, use.OZONE_SMELL),
        pictures={picture.kind: picture for picture in pictures},
        origin=card_origin(result),
    )


def _net(plan: Plan) -> Drawing:
    assert plan.inside is not None
    return net_drawing(plan.panels, plan.inside, plan.grid, plan.scene.written.lamp)


def _lamps(plan: Plan) -> list[LampRow]:
    rows = []
    for lamp, rating in zip(plan.scene.written.lamp, plan.scene.triangles.lamps, strict=True):
        start, end = lamp.start, lamp.end
        arc = sum((a - b) ** 2 for a, b in zip(start, end, strict=True)) ** 0.5
        kind = lamp_like(lamp.tubes, 1000.0 * lamp.diameter, 1000.0 * arc)
        rows.append(LampRow(rating.name, lamp, kind))
    return rows
