"""What a builder cuts and drills: each wall of a box with its lining, its places and its gaps.

Butt joints: left and right stand between floor and ceiling, which are as deep as the inside; front
and back cover all edges. The volumes of the panels add up to that of the shell.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import count, product
from string import ascii_uppercase

from raysim.scene.file.seams import Gap
from raysim.scene.file.written import Chamber, SceneAsWritten
from raysim.workshop.drum import Drum, DrumSide, drum_sides
from raysim.workshop.fixings import DOOR, Mark
from raysim.workshop.frames import Frame, frames
from raysim.workshop.grid import Grid

Steps2 = tuple[int, int]


@dataclass(frozen=True)
class Place:
    """A mark on a wall: u and v from the left and the lower edge of its inside, `off` it; steps."""

    tag: str
    mark: Mark
    u: int
    v: int
    off: int


@dataclass(frozen=True)
class GapLine:
    """A gap of the scene with the points of its middle line on a wall, steps."""

    gap: Gap
    points: tuple[Steps2, ...]


@dataclass(frozen=True)
class Panel:
    """A wall as it is cut: all lengths in steps.

    The sheet reaches beyond the inside of the wall by `margin` at left and right, and at top and
    bottom. `sheet` is None where the scene does not say how thick the panels are.
    """

    frame: Frame | DrumSide
    margin: Steps2
    sheet: Steps2 | None
    surface: str
    places: tuple[Place, ...]
    gaps: tuple[GapLine, ...]

    @property
    def wall(self) -> str:
        """Name of the wall (definition)."""
        return self.frame.wall

    @property
    def outline(self) -> Steps2:
        """Width and height of what is drawn: the sheet, else the inside (definition)."""
        return self.sheet or self.frame.size

    @property
    def open_edges(self) -> Steps2:
        """Whether the sheet reaches beyond what is drawn at left and right, top and bottom: by t.

        Only where the thickness t of the sheet is not known (definition).
        """
        if self.sheet or not isinstance(self.frame, Frame):
            return 0, 0
        across, up = beyond(self.wall)
        return across, up

    @property
    def measured_from(self) -> str:
        """What distances are from: an edge of what is cut, or an inside face (definition)."""
        return "inside face" if any(self.open_edges) else "edge"

    @property
    def opens(self) -> bool:
        """Whether it is the door (definition)."""
        return self.wall == DOOR

    @property
    def tags(self) -> dict[Steps2, str]:
        """Letters of all that is at each point, from the left and the lower edge (definition)."""
        found: dict[Steps2, str] = {}
        for place in self.places:
            at = self.from_edges(place)
            found[at] = ", ".join(filter(None, (found.get(at, ""), place.tag)))
        return found

    def from_edges(self, place: Place) -> Steps2:
        """How far a place lies from the left and from the lower edge of the panel (definition)."""
        return place.u + self.margin[0], place.v + self.margin[1]


def panels(
    scene: SceneAsWritten, marks: Sequence[Mark], grid: Grid, drum: Drum | None = None
) -> tuple[Panel, ...]:
    """Panels of a rectangular box, whose lengths are whole steps, or sides of a drum; else none.

    Source: definition of the joints.
    """
    chamber, walls = scene.chamber, wall_frames(scene.chamber, grid, drum)
    if not walls:
        return ()
    thick = None if chamber.sheet is None else grid.steps(chamber.sheet)
    t = thick or 0
    margins = {
        wall: (0, 0) if drum else (t * beyond(wall)[0], t * beyond(wall)[1]) for wall in walls
    }
    placed = _placed(marks, walls, drum)
    return tuple(
        Panel(
            frame,
            margins[wall],
            None if thick is None else _wider(frame.size, margins[wall]),
            surface_name(chamber, _own_name(wall, drum)),
            tuple(placed[wall]),
            tuple(_gaps(scene, frame)),
        )
        for wall, frame in walls.items()
    )


def wall_frames(
    chamber: Chamber, grid: Grid, drum: Drum | None = None
) -> Mapping[str, Frame | DrumSide]:
    """Walls of a rectangular box or sides of a drum by name; else none (definition)."""
    if chamber.inside is not None:
        w, d, h = map(grid.steps, chamber.inside)
        return frames((w, d, h), grid)
    return {} if drum is None else drum_sides(drum, grid)


def beyond(wall: str) -> Steps2:
    """Thicknesses by which the sheet of a wall reaches beyond its inside: sideways, up and down."""
    return {"front": (1, 1), "back": (1, 1), "floor": (1, 0), "ceiling": (1, 0)}.get(wall, (0, 0))


def _placed(
    marks: Sequence[Mark], walls: Mapping[str, Frame | DrumSide], drum: Drum | None
) -> dict[str, list[Place]]:
    placed: dict[str, list[Place]] = {wall: [] for wall in walls}
    of_things: dict[str, str] = {}
    for tag, mark in zip(tags(), marks, strict=False):
        carried = [of_things[name] for name in mark.rests_on if name in of_things]
        wall = side_of(mark, drum) if drum else mark.wall
        wall = wall or (carried[0] if carried else nearest(mark.at, walls))
        of_things.setdefault(mark.thing, wall)
        placed[wall].append(Place(tag, mark, *walls[wall].measured(mark.at)))
    return placed


def side_of(mark: Mark, drum: Drum) -> str:
    """The side of a drum that a mark is on, "" where nothing holds it (definition)."""
    if not mark.wall:
        return ""
    return dict(drum.by_name).get(mark.wall) or drum.nearest(mark.at)


def _own_name(wall: str, drum: Drum | None) -> str:
    """The name of a wall in the scene."""
    if drum is None:
        return wall
    return next((name for name, side in drum.by_name if side == wall), wall)


def tags() -> Iterator[str]:
    """A, B, ... Z, AA, AB, ... without end (definition)."""
    for length in count(1):
        yield from map("".join, product(ascii_uppercase, repeat=length))


def nearest(at: tuple[float, float, float], walls: Mapping[str, Frame | DrumSide]) -> str:
    """The wall on which a place (m) is drawn that no wall holds: the back of a box.

    So all such things stand on one drawing, and each + is a distance to the same wall. In a drum
    it is the nearest side.
    """
    if "back" in walls:
        return "back"
    away = {wall: frame.measured(at)[2] for wall, frame in walls.items() if wall != DOOR}
    return min(away, key=lambda wall: away[wall])


def surface_name(chamber: Chamber, wall: str) -> str:
    """What a wall is lined with, in words (definition)."""
    choice = chamber.walls.get(wall, chamber.lining)
    return choice if isinstance(choice, str) else choice.name or "as given in the scene"


def _gaps(scene: SceneAsWritten, frame: Frame | DrumSide) -> list[GapLine]:
    lines = []
    for gap in scene.gap:
        if isinstance(frame, Frame) and gap.wall == frame.wall and gap.corners:
            on = [frame.measured(point) for point in gap.corners]
            lines.append(GapLine(gap, tuple((u, v) for u, v, _ in on)))
        elif isinstance(frame, DrumSide) and gap.around is not None:
            axis, at = gap.around.plane
            if axis == frame.drum.axis and not frame.is_disc:
                v = frame.grid.steps(at - frame.drum.ends[0])
                lines.append(GapLine(gap, ((0, v), (frame.size[0], v))))
    return lines


def _wider(size: Steps2, margin: Steps2) -> Steps2:
    return size[0] + 2 * margin[0], size[1] + 2 * margin[1]
