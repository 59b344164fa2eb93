"""The page by which two stations find out whether they have the same box."""

import hashlib
import math
from collections.abc import Iterator

from raysim.assess.tolerances import tolerances
from raysim.dose.agreement import compare
from raysim.dose.readings_together import COVERAGE, error_between_boxes, ratio_error
from raysim.dose.result import Result
from raysim.output.words import guide_tables as tables
from raysim.output.words.guide_light import limit_words
from raysim.output.words.readings import predicted_words
from raysim.output.words.survey import facing_words
from raysim.output.words.table import Table
from raysim.scene.sides import sides_of
from raysim.workshop.fixings import Mark
from raysim.workshop.grid import Grid
from raysim.workshop.panels import surface_name, tags
from raysim.workshop.plan import Plan

# m: own choice, as what a careful hand keeps with rule and square. What more does: Measure twice.
INSIDE, PLACE, TWICE = 0.002, 0.002, 0.001
LETTERS = "ABCDEFGHJKLMNPQRTUVWXY346789"  # none that is heard or read as another
GROUPS, EACH = 3, 4
SPARE = 3  # rows for what else is measured


def tolerance_words(grid: Grid) -> str:
    """How exact the work has to be, in words."""
    inside, place, twice = (_within(length, grid) for length in (INSIDE, PLACE, TWICE))
    return (
        f"How exact: insides and diagonals {inside}, places {place}, those under Measure twice "
        f"{twice}, a seam never wider than drawn (own choice); {grid.step_words} is only how "
        "numbers are rounded."
    )


def fingerprint(plan: Plan) -> str:
    """Letters that two stations read to each other: they are alike if all printed tables are.

    Over the words of the tables of lamps, things, places, meter points, cuts and seams, and so
    over the unit that they are printed in. Not over what was measured, nor over prices.

    Source: SHA-256 (FIPS 180-4), 58 bits of it.
    """
    rows = [*_printed(plan)]
    number = int.from_bytes(hashlib.sha256("\n".join(rows).encode()).digest(), "big")
    found = ""
    for _ in range(GROUPS * EACH):
        number, rest = divmod(number, len(LETTERS))
        found += LETTERS[rest]
    return " ".join(found[k : k + EACH] for k in range(0, len(found), EACH))


def _printed(plan: Plan) -> Iterator[str]:
    yield plan.grid.unit
    for table in (tables.lamps(plan), tables.things(plan), tables.cut_list(plan)):
        yield from (" | ".join(row) for row in table.rows)
    for drawing in plan.drawings:
        yield from (f"{drawing.name}: {words}" for words in drawing.notes)
    for place in plan.corner_places:
        distances = (plan.grid.text(steps) for steps in place.distances)
        yield f"{place.tag}: {place.mark.what} {place.corners} {', '.join(distances)}"
    for gap in plan.scene.written.gap:
        yield f"{gap.name} {plan.grid.told(gap.width)}"
    sides = sides_of(plan.scene.triangles)
    for point in plan.scene.triangles.meters:
        facing = facing_words(point.facing, sides)
        yield f"{point.name} {tables.place_words(plan, point.at)} {facing}"


def same_box(plan: Plan, result: Result) -> Table:
    """What is measured on the box that was built: nominal, tolerance, and room to write."""
    rows = [(*row, "", "", "") for row in _rows(plan, result)]
    rows += [("", "", "", "", "", "")] * SPARE
    heads = ("what", "nominal", "within", "measured", "other station", "initials")
    return Table(heads, tuple(rows), words=len(heads), note=_between(result))


def _between(result: Result) -> str:
    """How far two stations' readings at a point may be apart, in words; "" without a point."""
    rows = [row for row in compare(result.meters) if math.isfinite(row.predicted_error)]
    if not rows:
        return ""
    apart = COVERAGE * max(error_between_boxes(row) for row in rows)
    return (
        "Two stations: write the other one's figures beside yours. Where readings at one point are "
        f"apart by more than a factor of {1.0 + apart:.2f} (k = 2, two meters, lamps of one type, "
        "one lining), or a ratio is out of its band, find out why: it is not the same box. A ratio "
        "tells more than a reading, since the meter drops out."
    )


def _rows(plan: Plan, result: Result) -> Iterator[tuple[str, str, str]]:
    yield from _sizes(plan)
    yield from _places(plan, result)
    for wall, name in linings_by_wall(plan):
        yield f"lining of {wall}: maker, finish and glue", name, "no other"
    for line in plan.bill.lines:
        if line.name.startswith("lamp, "):
            name = line.name.removeprefix("lamp, ")
            yield f"lamps: maker, type, hours ({line.quantity:g} of them)", name, "no other"
    for gap in plan.scene.written.gap:
        width = plan.grid.told(gap.width)
        yield f'seam "{gap.name}", widest, by feeler', f"{width} {plan.grid.unit}", "no wider"
    yield "respirators: maker and model", "", "no other"
    rows = compare(result.meters)
    for row in rows:
        yield f'meter at "{row.meter.name}", mW/cm²', predicted_words(row), "as printed"
    lit = [row for row in rows if math.isfinite(row.predicted_error)]
    for row in lit[1:]:
        ratio, off = row.meter.irradiance / lit[0].meter.irradiance, ratio_error(lit[0], row)
        told = f'reading at "{row.meter.name}" over that at "{lit[0].meter.name}"'
        yield told, f"{ratio:.2f}", f"± {COVERAGE * off * ratio:.2f}"
    yield "highest reading of the survey outside", "", limit_words()


def linings_by_wall(plan: Plan) -> Iterator[tuple[str, str]]:
    """Walls that share a lining, and its name; of a vessel its named parts (definition)."""
    lined = [(panel.wall, panel.surface) for panel in plan.panels]
    if not lined:
        chamber, triangles = plan.scene.written.chamber, plan.scene.triangles
        parts = list(filter(None, (triangles.bodies[k].wall for k in triangles.walls)))
        lined = [(part, surface_name(chamber, part)) for part in parts]
    for name in plan.linings:
        walls = [wall for wall, surface in lined if surface == name]
        yield ", ".join(walls) or "the inside", name


def _sizes(plan: Plan) -> Iterator[tuple[str, str, str]]:
    grid, inside = plan.grid, plan.inside
    if inside is None:
        return
    near = _within(INSIDE, grid)
    for name, steps in zip(("width", "depth", "height"), inside, strict=True):
        yield f"inside, {name}", f"{grid.text(steps)} {grid.unit}", near
    w, d, h = inside
    for name, a, b in (("front and back", w, h), ("left and right", d, h), ("floor", w, d)):
        both = grid.words(grid.step * math.hypot(a, b))
        yield f"both diagonals, {name}", both, near
    sheet = plan.scene.written.chamber.sheet
    yield "thickness t, and what of", "" if sheet is None else grid.words(sheet), ""


def _places(plan: Plan, result: Result) -> Iterator[tuple[str, str, str]]:
    """Every place that the scene gives, as the tables have it; those that share one in one row."""
    twice = {one.name for one in tolerances(result)}
    seen: dict[str, list[tuple[str, Mark]]] = {}
    for tag, mark in zip(tags(), plan.marks, strict=False):
        if mark.is_of_scene:
            seen.setdefault(tables.place_words(plan, mark.at), []).append((tag, mark))
    for at, found in seen.items():
        told = ", ".join(f"{tag}: {mark.what}" for tag, mark in found)
        rooms = [mark.room for _, mark in found if mark.room is not None and mark.room > 0.0]
        off = f"; lamp's end {plan.grid.words(rooms[0])} off" if rooms else ""
        names = {name for _, mark in found for name in (mark.thing, *mark.carries)}
        yield told, at + off, _within(TWICE if names & twice else PLACE, plan.grid)
    yield "every respirator faces as in What hangs where", "", "yes"


def _within(length: float, grid: Grid) -> str:
    return f"± {grid.text(max(grid.steps(length), 1))} {grid.unit}"
