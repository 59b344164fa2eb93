"""Drilling templates: each panel at its true size, on sheets of paper that are joined."""

from pathlib import Path
from typing import Any

from raysim.dose.result import Result
from raysim.output.pages.card import card_origin
from raysim.output.pages.environment import write_page
from raysim.output.pages.svg import LINE, svg
from raysim.output.words import guide_use as use
from raysim.output.words.verdict import the_verdict
from raysim.workshop.plan import Plan
from raysim.workshop.template import template_drawing
from raysim.workshop.tiles import HEAD, MARGIN, PAPERS, panel_tiles


def write_templates(plan: Plan, result: Result, path: Path, paper: str = "a4") -> None:
    """Write the templates of all panels with places on them; the verdict heads every sheet."""
    forbidden = the_verdict(result).forbids
    write_page(
        path,
        "templates.html.j2",
        kind="Drilling templates",
        title=result.title,
        forbidden=forbidden,
        state=use.state_of_guide(result),
        reasons=use.forbidding(result),
        panels=_panels(plan, paper),
        open_edges=any(any(panel.open_edges) for panel in plan.panels),
        grid=plan.grid,
        mm=1000.0 * plan.grid.step,
        paper=paper,
        size=PAPERS[paper],
        margin=1000.0 * MARGIN,
        head=1000.0 * HEAD,
        origin=card_origin(result),
    )


def _panels(plan: Plan, paper: str) -> list[dict[str, Any]]:
    """Each panel with its drawing, and its tiles."""
    found = []
    across, up = (0.001 * length for length in PAPERS[paper])
    for panel in plan.panels:
        if cut := panel_tiles(panel, plan.grid.step, (across, up)):
            drawing = template_drawing(panel, plan.grid)
            found.append(
                {
                    "drawing": drawing,
                    "svg": svg(drawing, line=LINE / plan.grid.step),
                    "tiles": cut,
                    "open": any(panel.open_edges),
                }
            )
    return found
