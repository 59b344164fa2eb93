"""The box unfolded for the page: the drawing of the guide, and where one can take hold of things.

The drawing is made by `workshop/net.py`; here things that the guide does not drill for are added as
places: meter points, and hanging things as seen on ceiling and back wall.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

from raysim.output.pages.svg import svg
from raysim.scene.file.written import SceneAsWritten
from raysim.workshop.drum import MANTLE, TOP, DrumSide, drum_of
from raysim.workshop.fixings import ENDS, Held, Mark, Walls, marks
from raysim.workshop.grid import grid_of
from raysim.workshop.net import net_corners, net_drawing, whose
from raysim.workshop.panels import Panel, Place, panels

# Where what hangs is seen from below and from the front; in a drum likewise, and its lamps from
# all round.
SHOWN_ON = ("ceiling", "back", TOP, MANTLE)
ON_AXIS = 0.8  # of the radius off the mantle: too near the axis to be on any side of it, our choice


def net_view(scene: SceneAsWritten, walls: Walls) -> dict[str, Any] | None:
    """The net of a box or a drum with these walls; None for any other chamber.

    `svg` is the drawing; `walls` say of each wall where it lies on it, what the scene calls it, and
    how places in the box are measured on it; `holds` are the places that can be taken hold of.
    Lengths in mm.
    """
    shown = placed_panels(scene, walls)
    if not shown:
        return None
    grid, corners = grid_of(scene.units), net_corners(shown)
    mm = 1000.0 * grid.step
    named = set(walls.names)
    return {
        "svg": str(svg(net_drawing(shown, grid, scene.lamp))),
        "mm": mm,
        "unit": grid.unit,
        "walls": {panel.wall: _wall(panel, corners[panel.wall], mm, named) for panel in shown},
        "holds": [hold for panel in shown for hold in _holds(panel, corners[panel.wall], mm)],
        "linings": {panel.wall: panel.surface for panel in shown},
    }


def placed_panels(scene: SceneAsWritten, walls: Walls) -> tuple[Panel, ...]:
    """The panels of a box or a drum with all that is placed on them, none of another chamber."""
    drum = None if walls.is_box else drum_of(walls)
    if not walls.is_box and drum is None:
        return ()
    bare = scene.model_copy(update={"chamber": scene.chamber.model_copy(update={"sheet": None})})
    found = [*marks(bare, walls), *_meters(scene)]
    made = panels(bare, found, grid_of(scene.units), drum)
    return tuple(_with_shadows(panel, found) for panel in made)


def _meters(scene: SceneAsWritten) -> Iterator[Mark]:
    for meter in scene.meter:
        yield Mark(meter.name, "meter", meter.at, f"meter {meter.name}", Held.FREE, "", None)


def _with_shadows(panel: Panel, found: Sequence[Mark]) -> Panel:
    """A panel that shows what hangs free in the box only where one sees it from this wall."""
    if panel.wall not in SHOWN_ON:
        own = tuple(p for p in panel.places if p.mark.held is not Held.FREE or p.mark.end in ENDS)
        return replace(panel, places=own)
    have = {whose(place) for place in panel.places}
    ends = (*ENDS, "at", "meter") if panel.wall == MANTLE else ("at", "meter")
    hung = [mark for mark in found if mark.end in ends]
    seen = [Place("", mark, *panel.frame.measured(mark.at)) for mark in hung]
    more = [place for place in seen if whose(place) not in have]
    return replace(panel, places=tuple(p for p in (*panel.places, *more) if _lies(p, panel)))


def _lies(place: Place, panel: Panel) -> bool:
    """Whether a place lies before some point of a wall: on the axis of a drum it has no side."""
    frame = panel.frame
    if not isinstance(frame, DrumSide) or frame.is_disc:
        return True
    return place.off < ON_AXIS * frame.grid.steps(frame.drum.radius)


def _wall(panel: Panel, corner: tuple[int, int], mm: float, named: set[str]) -> dict[str, Any]:
    """Corner and size of a wall on the net, mm, and how places are measured on it.

    `ways` are the axis, the sign and the zero (mm) of u, of v and of the way off it; in their
    place `round` says where the axis of a mantle is, its radius and its lower end.
    """
    frame = panel.frame
    found: dict[str, Any] = {
        "at": [mm * x for x in corner],
        "size": [mm * x for x in frame.size],
        "edges": frame.edges,
        "disc": frame.is_disc,
        "name": panel.wall,
    }
    if isinstance(frame, DrumSide):
        own = [name for name, side in frame.drum.by_name if side == panel.wall and name in named]
        found["name"] = own[0] if own else None
        if not frame.is_disc:
            return {**found, "round": _round(frame)}
    zero, ways = frame.at(0, 0, 0), []
    for step in ((1, 0, 0), (0, 1, 0), (0, 0, 1)):
        moved = frame.at(*step)
        axis = max(range(3), key=lambda k: abs(moved[k] - zero[k]))
        ways.append([axis, 1 if moved[axis] > zero[axis] else -1, 1000.0 * zero[axis]])
    return {**found, "ways": ways}


def _round(side: DrumSide) -> dict[str, Any]:
    drum = side.drum
    return {
        "axis": drum.axis,
        "across": drum.across,
        "centre": [1000.0 * x for x in drum.centre],
        "radius": 1000.0 * drum.radius,
        "low": 1000.0 * drum.ends[0],
    }


def _holds(panel: Panel, corner: tuple[int, int], mm: float) -> Iterator[dict[str, Any]]:
    for place in panel.places:
        yield {
            "of": whose(place),
            "wall": panel.wall,
            "tag": place.tag,
            "at": [mm * (corner[0] + place.u), mm * (corner[1] + place.v)],
        }
