"""The builder's sheet (HTML, A4): what to cut, and where lamps and hooks are fixed."""

from pathlib import Path

from raysim.assess.cut_list import panels
from raysim.assess.fixings import marks, walls_of
from raysim.dose.result import Result
from raysim.output.pages.card import card_origin
from raysim.output.pages.environment import write_page
from raysim.output.words.verdict import reason_lines, state_words, the_verdict


def write_builders_sheet(result: Result, path: Path) -> None:
    """Write the verdict, and what to cut and to drill; the scene of the result must be known."""
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
