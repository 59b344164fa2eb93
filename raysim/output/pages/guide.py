"""The guide: one self-contained page to buy, cut, drill, build and use a box by."""

from collections.abc import Sequence
from pathlib import Path

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
from raysim.output.words.verdict import reason_lines, state_words, the_verdict
from raysim.workshop.net import net_drawing
from raysim.workshop.panel_drawing import FEW
from raysim.workshop.plan import Plan, stock_drawing

PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}  # mm


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
        net=None if plan.inside is None else svg(net_drawing(plan.panels, plan.inside, plan.grid)),
        sheets=[
            (sheet, svg(stock_drawing(sheet, number, plan.grid)))
            for number, sheet in enumerate(plan.stock, 1)
        ],
        views=[(drawing, svg(drawing)) for drawing in plan.views],
        sections=[(drawing, svg(drawing)) for drawing in plan.sections],
        tables=tables,
        few=FEW,
        to_find_out=use.to_find_out(plan),
        moved=use.moved_words(plan),
        limit=words_of_light.limit_words(),
        result=result,
        tools=use.TOOLS,
        tolerances=[use.tolerance_words(one) for one in tolerances(result)],
        steps=words.steps(plan, result),
        after=use.after(result),
        seams=use.seam_rows(plan),
        ozone=(use.OZONE_FREE, use.OZONE_SMELL),
        pictures={picture.kind: picture for picture in pictures},
        origin=card_origin(result),
    )
