"""The box unfolded for the page: the drawing of the guide, and where one can take hold of things.

The drawing is made by `workshop/net.py`; here things that the guide does not drill for are added as
places: meter points, and hanging things as seen on ceiling and back wall.
"""

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from raysim.output.pages.svg import svg
from raysim.scene.file.written import SceneAsWritten
from raysim.workshop.fixings import Held, Mark, box_walls, marks
from raysim.workshop.frames import Frame, frames, net
from raysim.workshop.grid import grid_of
from raysim.workshop.net import net_drawing, whose
from raysim.workshop.panels import Panel, Place, panels

SHOWN_ON = ("ceiling", "back")  # where what hangs is seen from below and from the front


def net_view(scene: SceneAsWritten) -> dict[str, Any] | None:
    """The net of a box; None for any other chamber.

    `svg` is the drawing; `walls` say of each wall where it lies on it and how its two ways and the
    way off it run in the box; `holds` are the places that can be taken hold of. Lengths in mm.
    """
    if scene.chamber.inside is None:
        return None
    grid = grid_of(scene.units)
    w, d, h = map(grid.steps, scene.chamber.inside)
    bare = scene.model_copy(update={"chamber": scene.chamber.model_copy(update={"sheet": None})})
    walls = box_walls(scene.chamber.inside)
    found = [*marks(bare, walls), *_meters(scene)]
    shown = [_with_shadows(panel, found) for panel in panels(bare, found, grid)]
    drawing = net_drawing(shown, (w, d, h), grid, scene.lamp)
    corners, mm = net((w, d, h)), 1000.0 * grid.step
    return {
        "svg": str(svg(drawing)),
        "mm": mm,
        "unit": grid.unit,
        "walls": {
            wall: _wall(frame, corners[wall], mm) for wall, frame in frames((w, d, h), grid).items()
        },
        "holds": [hold for panel in shown for hold in _holds(panel, corners[panel.wall], mm)],
        "linings": {panel.wall: panel.surface for panel in shown},
    }


def _meters(scene: SceneAsWritten) -> Iterator[Mark]:
    for meter in scene.meter:
        yield Mark(meter.name, "meter", meter.at, f"meter {meter.name}", Held.FREE, "", None)


def _with_shadows(panel: Panel, found: list[Mark]) -> Panel:
    """A panel that shows what hangs free in the box only where one sees it from this wall."""
    assert isinstance(panel.frame, Frame)
    if panel.wall not in SHOWN_ON:
        lamps = ("from", "to")
        own = tuple(p for p in panel.places if p.mark.held is not Held.FREE or p.mark.end in lamps)
        return replace(panel, places=own)
    have = {whose(place) for place in panel.places}
    hung = [mark for mark in found if mark.end in ("at", "meter")]
    seen = [Place("", mark, *panel.frame.measured(mark.at)) for mark in hung]
    more = tuple(place for place in seen if whose(place) not in have)
    return replace(panel, places=(*panel.places, *more))


def _wall(frame: Frame, corner: tuple[int, int], mm: float) -> dict[str, Any]:
    """Corner and size on the net (mm), and of u, v and off the axis of the box and its sign."""
    origin, ways = frame.place(0, 0, 0), []
    for step in ((1, 0, 0), (0, 1, 0), (0, 0, 1)):
        moved = frame.place(*step)
        axis = next(k for k in range(3) if moved[k] != origin[k])
        ways.append([axis, moved[axis] - origin[axis]])
    size = frame.size
    return {
        "at": [mm * x for x in corner],
        "size": [mm * x for x in size],
        "ways": ways,
        "edges": frame.edges,
    }


def _holds(panel: Panel, corner: tuple[int, int], mm: float) -> Iterator[dict[str, Any]]:
    for place in panel.places:
        yield {
            "of": whose(place),
            "wall": panel.wall,
            "tag": place.tag,
            "at": [mm * (corner[0] + place.u), mm * (corner[1] + place.v)],
        }
