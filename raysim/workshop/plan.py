"""Everything that a guide says of building a box, as one record: panels, drawings, stock, bill."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from raysim.library.assumptions import assumptions
from raysim.scene.build import BuiltScene
from raysim.workshop.bill import Bill, lines
from raysim.workshop.corners import CornerPlace, Corners, corner_places, corners_of
from raysim.workshop.door import Door, door_of
from raysim.workshop.drawing import Drawing, Layer, Polyline, Words, rectangle
from raysim.workshop.drum import Drum, drum_of
from raysim.workshop.fixings import Mark, marks, walls_of
from raysim.workshop.grid import Grid
from raysim.workshop.meter_entry import meter_entry
from raysim.workshop.nesting import Piece, Stock, nested
from raysim.workshop.panel_drawing import letter_of, panel_drawing
from raysim.workshop.panels import Panel, panels, surface_name, tags
from raysim.workshop.prices import priced
from raysim.workshop.resting import resting
from raysim.workshop.rounding import Moved
from raysim.workshop.sections import sections
from raysim.workshop.shapes import Shape, shapes
from raysim.workshop.thing_drawings import thing_drawings
from raysim.workshop.views import views

Steps2 = tuple[int, int]
Place3 = tuple[float, float, float]


@dataclass(frozen=True)
class Plan:
    """A scene on a grid with all that is cut, drilled and bought for it.

    `linings` are areas (m2) by name of the surface. A vessel from a mesh has no stock; a round one
    has panels, any other one places by distances from its `corners`.
    """

    scene: BuiltScene
    grid: Grid
    moved: tuple[Moved, ...]
    marks: tuple[Mark, ...]
    panels: tuple[Panel, ...]
    drawings: tuple[Drawing, ...]
    views: tuple[Drawing, ...]
    sections: tuple[Drawing, ...]
    things: tuple[Drawing, ...]
    shapes: Mapping[str, Shape]
    stock: tuple[Stock, ...]
    linings: dict[str, float]
    bill: Bill
    door: Door | None = None
    corners: Corners | None = None
    corner_places: tuple[CornerPlace, ...] = ()

    @property
    def is_box(self) -> bool:
        """Whether it is made of flat panels, and not a vessel (definition)."""
        return self.scene.written.chamber.inside is not None

    @property
    def inside(self) -> tuple[int, int, int] | None:
        """Width, depth and height of a box, steps; None for a vessel (definition)."""
        inside = self.scene.written.chamber.inside
        if inside is None:
            return None
        w, d, h = map(self.grid.steps, inside)
        return w, d, h

    @property
    def is_named(self) -> bool:
        """Whether the walls of the chamber have names of their own (definition)."""
        bodies = self.scene.triangles.bodies
        return any(bodies[k].wall for k in self.scene.triangles.walls)


def plan_of(
    scene: BuiltScene,
    grid: Grid,
    moved: tuple[Moved, ...] = (),
    stock: Steps2 | None = None,
    prices: Path | None = None,
) -> Plan:
    """The plan of a scene whose lengths are whole steps of a grid.

    Parameters
    ----------
    stock : (int, int), optional
        Width and height of a sheet of stock, steps.
    prices : path, optional
        File of prices, see `prices.priced`.

    Raises
    ------
    RaysimError
        Where a panel is larger than the stock, or the prices cannot be used.

    Source: definition.
    """
    written = scene.written
    found, formed = marks_of(scene), shapes(scene)
    found += meter_entry(written, found, formed, grid)
    walls = panels(written, found, grid, drum_in(scene))
    corners = None if walls else corners_of(walls_of(written, scene.triangles))
    by_corners = corner_places(found, tags(), corners, grid) if corners else ()
    door = door_of(written, grid)
    sheets = _nested(walls, stock or default_stock(grid), door, grid)
    linings = _linings(scene)
    bill = priced(lines(written, found, linings, sheets, grid, shapes=formed), prices)
    drawn = tuple(panel_drawing(panel, grid, letter_of(walls)) for panel in walls)
    return Plan(
        scene,
        grid,
        moved,
        found,
        walls,
        drawn,
        views(scene, found, grid),
        sections(written, grid),
        thing_drawings(scene, formed, grid),
        formed,
        sheets,
        linings,
        bill,
        door,
        corners,
        by_corners,
    )


def marks_of(scene: BuiltScene) -> tuple[Mark, ...]:
    """All that is fixed in a box, with what it rests on (definition)."""
    walls = walls_of(scene.written, scene.triangles)
    rods = {name: shape.rod for name, shape in shapes(scene).items() if shape.rod is not None}
    return marks(scene.written, walls, resting(scene.triangles), rods)


def drum_in(scene: BuiltScene) -> Drum | None:
    """The drum that a chamber is, None for a box and for any other mesh (definition)."""
    if scene.written.chamber.inside is not None:
        return None
    return drum_of(walls_of(scene.written, scene.triangles))


def places_as_printed(scene: BuiltScene, grid: Grid) -> dict[Place3, Place3]:
    """For a vessel, each place (m) that is printed, and the place that its print says.

    A box needs none: there the coordinates themselves are on the grid.

    Source: definition.
    """
    if scene.written.chamber.inside is not None:
        return {}
    drum, found = drum_in(scene), marks_of(scene)
    if drum is None:
        corners = corners_of(walls_of(scene.written, scene.triangles))
        return {mark.at: corners.printed(mark.at, grid) for mark in found if mark.is_of_scene}
    return {
        place.mark.at: panel.frame.at(place.u, place.v, place.off)
        for panel in panels(scene.written, found, grid, drum)
        for place in panel.places
        if place.mark.is_of_scene
    }


def default_stock(grid: Grid) -> Steps2:
    """Width and height of a sheet of stock, whole mm or inches, in steps (stated assumptions)."""
    each = (grid.steps(0.001 * assumptions()[f"stock_{side}_mm"].value) for side in _SIDES)
    across, up = (steps // grid.per_unit * grid.per_unit for steps in each)
    return across, up


_SIDES = ("width", "height")


def _nested(
    walls: tuple[Panel, ...], stock: Steps2, door: Door | None, grid: Grid
) -> tuple[Stock, ...]:
    """Sheets of stock with all panels; the front as frame and leaf, if they are of that sheet."""
    kerf, least = (
        grid.steps(0.001 * assumptions()[key].value) for key in ("saw_kerf_mm", "offcut_mm")
    )
    pieces = []
    for panel in walls:
        if panel.sheet is None:
            continue
        if door is None or not panel.opens:
            pieces.append(Piece(panel.wall, panel.sheet))
        elif door.is_of(grid.metres((panel.sheet[0] - panel.frame.size[0]) // 2), grid):
            pieces += [Piece(*one) for one in door.pieces(panel.sheet, kerf)]
    return nested(pieces, stock, kerf, least) if pieces else ()


def _linings(scene: BuiltScene) -> dict[str, float]:
    """Area (m2) of the walls under each lining."""
    triangles, areas = scene.triangles, dict[str, float]()
    for number in triangles.walls:
        name = surface_name(scene.written.chamber, triangles.bodies[number].wall)
        area = float(triangles.areas[triangles.faces_of(number)].sum())
        areas[name] = areas.get(name, 0.0) + area
    return areas


def stock_drawing(stock: Stock, number: int, grid: Grid) -> Drawing:
    """A sheet of stock with the panels that are cut from it, and its offcuts; steps."""
    w, h = stock.size
    letter = max(w, h) / 50.0
    shapes = [rectangle(Layer.OUTLINE, 0, 0, w, h)]
    words = []
    for piece in stock.pieces:
        (x, y), (a, b) = piece.at, piece.size
        shapes.append(rectangle(Layer.OUTLINE, x, y, a, b))
        turned = ", turned" if piece.turned else ""
        size = f"{grid.text(a)} x {grid.text(b)}"
        middle = (x + 0.5 * a, y + 0.5 * b)
        words += [
            Words(
                Layer.WORDS, (middle[0], middle[1] + 0.3 * letter), f"{piece.name}{turned}", letter
            ),
            Words(Layer.WORDS, (middle[0], middle[1] - 1.0 * letter), size, letter),
        ]
    for x, y, a, b in stock.offcuts:
        shapes.append(rectangle(Layer.MARK, x, y, a, b))
        shapes.append(Polyline(Layer.MARK, ((x, y), (x + a, y + b))))
        size = f"offcut {grid.text(a)} x {grid.text(b)}"
        words.append(Words(Layer.WORDS, (x + 0.5 * a, y + 0.5 * b), size, 0.8 * letter))
    title = f"sheet {number}, {grid.text(w)} x {grid.text(h)} {grid.unit}"
    return Drawing(
        f"stock_{number}", title, (-letter, -letter), (w + letter, h + letter), (*shapes, *words)
    )
