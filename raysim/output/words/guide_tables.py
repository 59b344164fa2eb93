"""Tables of a guide: where all that is fixed, hung and read is; sizes of panels; the lamps."""

from collections.abc import Iterator, Sequence
from pathlib import PurePosixPath

import numpy as np

from raysim.dose.agreement import compare
from raysim.dose.result import Result
from raysim.library.assumptions import assumptions
from raysim.library.lamps import LampType
from raysim.output.words.numbers import spread_words
from raysim.output.words.readings import predicted_words
from raysim.output.words.survey import facing_words
from raysim.output.words.table import Table
from raysim.scene.file.things import Object
from raysim.scene.poses import objects_by_pose
from raysim.scene.sides import sides_of
from raysim.workshop.fixings import ENDS, Held, Mark
from raysim.workshop.panels import Panel, tags
from raysim.workshop.plan import Plan
from raysim.workshop.sections import size_words
from raysim.workshop.shapes import Shape
from raysim.workshop.views import lowest

FRONT = "front, with the door"
AXES = "from the left, from the front, from the floor"


def things(plan: Plan) -> Table:
    """All that is bought and hung: its shape and size, where it hangs and which way it faces."""
    unit = plan.grid.unit
    letters = {
        name: tag
        for tag, mark in zip(tags(), plan.marks, strict=False)
        if mark.end == "at"
        for name in (mark.thing, *mark.carries)
    }
    rows = tuple(_thing(plan, entry, letters) for entry in objects_by_pose(plan.scene.written)[0])
    heads = ("", "what", f"size, {unit}", "at x, y, z", "takes up x; y; z", "outer side faces")
    note = (
        f"x, y, z: {AXES}, {unit}. At: the point of its mesh that its letter marks on the views: a "
        "respirator hangs there by its strap, and what hangs free on the views hangs free. Size: "
        "along the axes of its mesh; respirators differ, take the model that was drawn or one much "
        "like it. What is closed all round has no outer side; a respirator must face as it says "
        "here: another way round is another box."
    )
    return Table(heads, rows, words=len(heads), note=note)


def _thing(plan: Plan, entry: Object, letters: dict[str, str]) -> tuple[str, ...]:
    shape = plan.shapes[entry.name]
    low, high = (_from_corner(plan, end) for end in (shape.low, shape.high))
    size = _size_words(plan, entry, shape)
    sides = sides_of(plan.scene.triangles)
    facing = "" if shape.facing is None else facing_words(np.round(shape.facing, 1), sides)
    kind = PurePosixPath(entry.mesh).stem.replace("_", " ")
    made = entry.name if kind in entry.name else f"{entry.name} ({kind})"
    room = "; ".join(f"{a}\u00a0to\u00a0{b}" for a, b in zip(low, high, strict=True))
    at = ",\u00a0".join(_from_corner(plan, entry.at))
    return letters.get(entry.name, ""), made, size, at, room, facing


def _size_words(plan: Plan, entry: Object, shape: Shape) -> str:
    """Size of a thing; of one that is not turned the difference of what it takes up, as printed."""
    grid, low = plan.grid, lowest(plan.scene)
    sizes = [grid.steps(length) for length in shape.size]
    if not any(entry.turn):
        ends = (
            [grid.steps(float(x)) for x in np.array(end) - low] for end in (shape.low, shape.high)
        )
        sizes = [b - a for a, b in zip(*ends, strict=True)]
    return " x ".join(map(grid.text, sizes))


def lamps(plan: Plan) -> Table:
    """Each lamp: its type, the UVC that was calculated with, its arc and the room at its ends."""
    of = {
        (mark.thing, mark.end): (tag, mark) for tag, mark in zip(tags(), plan.marks, strict=False)
    }
    rows = []
    for lamp, rating in zip(plan.scene.written.lamp, plan.scene.triangles.lamps, strict=True):
        kind, ends = lamp.kind, [of[lamp.name, end] for end in ENDS]
        arc = [",\u00a0".join(_from_corner(plan, at)) for at in (lamp.start, lamp.end)]
        rows.append(
            (
                ", ".join(tag for tag, _ in ends),
                lamp.name,
                kind.name if kind else "none of the catalogue: measure yours",
                f"{rating.uvc_W:.3g}",
                *arc,
                "; ".join(_room(plan, mark) for _, mark in ends),
            )
        )
    heads = (
        "", "lamp", "type", "UVC, W", "arc from x, y, z", "arc to x, y, z",
        f"end of lamp off its wall, {plan.grid.unit}",
    )  # fmt: skip
    note = (
        "UVC: the radiant watts that this box was calculated with; a lamp of less is another box. "
        "The last column is the depth that holder and block together must have at each end: a "
        "deeper holder does not fit; take another, or change the scene. That both ends of a lamp "
        "may have unlike depths is right: the arc stays at its place."
    )
    return Table(heads, tuple(rows), words=len(heads), note=note)


def _room(plan: Plan, mark: Mark) -> str:
    if mark.off_wall is None:
        return "free"
    if mark.held is not Held.HOLE:
        off = plan.grid.told(mark.off_wall)
        return f"{mark.held.split(',')[0]} from {mark.wall}, axis {off} off it"
    if mark.room is None:
        return "measure yours"
    if mark.is_too_long:
        return "too long for this place"
    return f"{plan.grid.told(mark.room)} ({mark.wall})"


def types(plan: Plan) -> Table:
    """The types of lamps, as the catalogue has them (definition)."""
    rows = tuple(
        (
            kind.name,
            f"{kind.diameter_mm:g}",
            f"{kind.tube_length_mm:g}",
            f"{kind.arc_mm:g}",
            f"{kind.caps} x {kind.cap}, {kind.pins} pins",
            f"{kind.weight_g:g}",
            spread_words(kind.lamp_W_low, kind.lamp_W_high),
            spread_words(kind.uvc_W_low, kind.uvc_W_high),
        )
        for kind in _kinds(plan)
    )
    heads = (
        "type", "tube, mm", "over all, mm", "arc, mm", "caps", "g", "mains, W", "UVC, W",
    )  # fmt: skip
    note = (
        "Over all: of two caps without their pins. Measure the white tube of the bill in its "
        "holder before you drill."
    )
    return Table(heads, rows, words=len(heads), note=note)


def _kinds(plan: Plan) -> list[LampType]:
    kinds = (lamp.kind for lamp in plan.scene.written.lamp)
    return list({kind.name: kind for kind in kinds if kind}.values())


def sources(plan: Plan) -> list[str]:
    """Where the sizes and watts of the types of lamps come from (definition)."""
    return [f"{kind.name}: {kind.source} ({kind.mark})." for kind in _kinds(plan)]


def meters(plan: Plan, result: Result) -> Table:
    """Where the head of the meter goes, which way it faces, and what it should read."""
    expected = {row.meter.name: predicted_words(row) for row in compare(result.meters)}
    rows = tuple(
        (
            f"meter {number}",
            point.name,
            place_words(plan, point.at),
            facing_words(point.facing, sides_of(plan.scene.triangles)),
            expected.get(point.name, ""),
        )
        for number, point in enumerate(plan.scene.triangles.meters, 1)
    )
    heads = (
        "",
        "point",
        f"middle of the head at x, y, z, {plan.grid.unit}",
        "faces",
        "must read, mW/cm² (± U, k = 2)",
    )
    note = (
        f"x, y, z: {AXES}. The middle of the head is that of its window, the glass or disc that "
        "light goes in by; a stand or clamp holds it. Read every point. A reading outside its band "
        "means that box and calculation differ: do not use the box, find out why. One inside it "
        "is no proof: all lamps burn, and each ratio on the page Same box is in its band, too. "
        f"The band is for lamps of {_hours(plan)} h."
    )
    return Table(heads, rows, words=len(heads), note=note)


def _hours(plan: Plan) -> str:
    hours = sorted({lamp.hours for lamp in plan.scene.triangles.lamps})
    return " and ".join(f"{one:g}" for one in hours)


def places(plan: Plan, panel: Panel) -> Table:
    """What is on a panel and where, as its drawing has it (definition)."""
    text, edge = plan.grid.text, panel.measured_from
    rows = []
    for place in panel.places:
        mark, (x, y) = place.mark, panel.from_edges(place)
        load = f" (carries {', '.join(mark.carries)})" if mark.carries else ""
        rows.append((place.tag, f"{mark.what}{load}", text(x), text(y), text(place.off)))
    heads = ("", "what", f"from left {edge}", f"from lower {edge}", "off wall")
    return Table(heads, tuple(rows), words=2)


def corners(plan: Plan) -> Table:
    """Where the named corners of a vessel lie (definition)."""
    places = plan.corners.at if plan.corners else {}
    rows = tuple((name, ", ".join(_from_corner(plan, at))) for name, at in places.items())
    heads = ("corner", f"x, y, z, {plan.grid.unit}")
    return Table(heads, rows, words=2, note=f"x, y, z: {AXES}, each from the outermost there.")


def cut_list(plan: Plan) -> Table:
    """Each wall: what is cut of sheet, for a box, and of lining (definition)."""
    unit = plan.grid.unit
    heads = ("wall", f"panel, {unit}, width x height", f"lining, {unit}, width x height", "lining")
    rows = [
        (_wall(plan, panel), _sheet(plan, panel), _size(plan, panel.frame.size), panel.surface)
        for panel in plan.panels
    ]
    rows = [*_frame(plan), *(row for row in rows if not (plan.door and row[0] == FRONT))]
    shown = range(4) if plan.is_box else (0, 2, 3)
    picked = tuple(tuple(row[column] for column in shown) for row in (heads, *rows))
    return Table(picked[0], picked[1:], words=len(heads))


def _frame(plan: Plan) -> Iterator[tuple[str, str, str, str]]:
    """Frame and leaf of the door, layer by layer; their lining is that of the front."""
    door = plan.door
    if door is None:
        return
    front, words = next(p for p in plan.panels if p.opens), ("inner", "outer")
    out, lined = _sheet(plan, front), f"{_size(plan, front.frame.size)}, leaf and frame apart"
    cut = door.pieces(door.opening(0), plan.grid.steps(0.001 * assumptions()["saw_kerf_mm"].value))
    for kind, of in (("front frame", door.opening), ("leaf", door.leaf)):
        for word, step in zip(words, door.halves, strict=False):
            name = f"{kind}, {word} layer" if door.step else kind
            if kind == "leaf" and door.step and not any(one == name for one, _ in cut):
                name += ", out of the opening of the frame's outer layer"
            size = size_words(of(step), plan.grid)
            told = f"{out}, opening {size}" if kind == "front frame" else size
            inside = kind == "front frame" and not step
            yield name, told, lined if inside else "", front.surface if inside else ""


def _wall(plan: Plan, panel: Panel) -> str:
    return FRONT if panel.opens and plan.is_box else panel.wall


def _sheet(plan: Plan, panel: Panel) -> str:
    if panel.sheet is not None:
        return _size(plan, panel.sheet)
    more = " + 2t" if panel.wall in ("front", "back") else ""
    wide = "" if panel.wall in ("left", "right") else " + 2t"
    across, up = map(plan.grid.text, panel.frame.size)
    return f"{across}{wide} x {up}{more}"


def _size(plan: Plan, size: Sequence[int]) -> str:
    return " x ".join(map(plan.grid.text, size))


def place_words(plan: Plan, place: Sequence[float] | np.ndarray) -> str:
    """A place as it is printed, x, y, z (definition)."""
    return ", ".join(_from_corner(plan, place))


def _from_corner(plan: Plan, place: Sequence[float] | np.ndarray) -> Iterator[str]:
    """A place as it is printed: from the lowest corner of the inside."""
    for length in np.asarray(place) - lowest(plan.scene):
        yield plan.grid.told(float(length)).replace(" ", "\u00a0")
