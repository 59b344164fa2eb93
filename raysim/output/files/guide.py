"""Everything that is written of a guide: the page, drawings for a workshop, templates, prices."""

import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

from raysim.assess.tolerances import tolerances
from raysim.base.figures import finite_or_none
from raysim.base.units import to_mm
from raysim.dose.result import Result
from raysim.output.files.dxf import write_dxf
from raysim.output.files.folder import RESULT_FILE, json_text, write_whole
from raysim.output.files.guide_scene import SCENE_FILE, aside
from raysim.output.files.records import built_record
from raysim.output.files.schemas.versions import VERSIONS
from raysim.output.pages.guide import write_guide
from raysim.output.pages.svg import write_svg
from raysim.output.pages.templates_page import write_templates
from raysim.output.pictures.draw import drawn_steps
from raysim.output.pictures.pictures import Picture
from raysim.output.words.cautions import CAUTIONS
from raysim.output.words.verdict import verdict_record
from raysim.workshop.plan import Plan, stock_drawing
from raysim.workshop.prices import blank_prices

PAGE, TEMPLATES = "guide.html", "templates.html"
PRICES, DRAWINGS = "prices_blank.toml", "drawings"


def write(
    plan: Plan,
    result: Result,
    folder: Path,
    *,
    paper: str = "a4",
    pictures: bool = True,
    notice: Callable[[str], None] = lambda what: None,
) -> str:
    """Write the guide of a plan into `folder`, and its scene, which waits there.

    Returns what went wrong with the `pictures`, without which the rest is written; "" if nothing.

    Raises
    ------
    RaysimError
        Where writing fails; what stood there before is still there.
    """
    trouble = ""

    def fill(fresh: Path) -> None:
        nonlocal trouble
        shutil.copyfile(aside(folder), fresh / SCENE_FILE)
        (fresh / RESULT_FILE).write_text(json_text(guide_record(plan, result)), encoding="utf-8")
        (fresh / PRICES).write_text(blank_prices(plan.bill), encoding="utf-8")
        notice("drawing the panels")
        (fresh / DRAWINGS).mkdir()
        drawings = [*plan.drawings, *plan.views, *plan.sections, *plan.things]
        drawings += [stock_drawing(one, n, plan.grid) for n, one in enumerate(plan.stock, 1)]
        for drawing in drawings:
            write_svg(drawing, plan.grid, fresh / DRAWINGS / f"{drawing.name}.svg")
            write_dxf(drawing, plan.grid, fresh / DRAWINGS / f"{drawing.name}.dxf")
        shown: list[Picture] = []
        if pictures:
            notice("drawing pictures")
            shown, trouble = drawn_steps(
                plan.scene.triangles,
                fresh / "pictures",
                None if plan.door is None else plan.door.leaf_in_box(plan.grid),
            )
        if trouble:
            shutil.rmtree(fresh / "pictures", ignore_errors=True)
        notice("writing the guide")
        write_guide(plan, result, shown, fresh / PAGE, paper)
        write_templates(plan, result, fresh / TEMPLATES, paper)

    write_whole(folder, fill)
    aside(folder).unlink(missing_ok=True)
    return trouble


def guide_record(plan: Plan, result: Result) -> dict[str, Any]:
    """The guide as plain data: lengths in the unit that is printed, as whole words."""
    text, scene = plan.grid.text, plan.scene
    return {
        "schema_version": VERSIONS["guide"],
        "study": "guide",
        "scene": built_record(scene),
        "raysim_version": result.raysim_version,
        "verdict": verdict_record(result),
        "unit": plan.grid.unit,
        "moved": [{"key": m.key, "before": m.before, "after": m.after} for m in plan.moved],
        "panels": [
            {
                "wall": panel.wall,
                "sheet": panel.sheet and [*map(text, panel.sheet)],
                "inside": [*map(text, panel.frame.size)],
                "lining": panel.surface,
                "places": [
                    {
                        "tag": place.tag,
                        "thing": place.mark.thing,
                        "end": place.mark.end,
                        "held": place.mark.held,
                        "from_left_edge": text(panel.from_edges(place)[0]),
                        "from_lower_edge": text(panel.from_edges(place)[1]),
                        "off_wall": text(place.off),
                    }
                    for place in panel.places
                ],
            }
            for panel in plan.panels
        ],
        "by_corners": [
            {
                "tag": place.tag,
                "thing": place.mark.thing,
                "end": place.mark.end,
                "held": place.mark.held,
                "from": dict(zip(place.corners, map(text, place.distances), strict=True)),
            }
            for place in plan.corner_places
        ],
        "stock_sheets": len(plan.stock),
        "bill": [
            {"name": line.name, "quantity": line.quantity, "unit": line.unit, "price": line.price}
            for line in plan.bill.lines
        ],
        "cost": plan.bill.cost if plan.bill.currency else None,
        "currency": plan.bill.currency or None,
        "lines_without_price": plan.bill.unpriced,
        "tolerances": [
            {
                "name": one.name,
                "off_mm": to_mm(one.off),
                "share_of_light": one.share,
                "timer_longer_s": finite_or_none(one.more_time),
            }
            for one in tolerances(result)
        ],
        "cautions": list(CAUTIONS),
    }
