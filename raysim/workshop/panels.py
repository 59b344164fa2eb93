"""What a builder cuts and drills: each wall of a box with its lining, its places and its gaps.

Butt joints: left and right stand between floor and ceiling, which are as deep as the inside; front
and back cover all edges. The volumes of the panels add up to that of the shell.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import count, product
from string import ascii_uppercase

from raysim.scene.file.seams import Gap
from raysim.scene.file.written import Chamber, SceneAsWritten
from raysim.workshop.fixings import DOOR, Mark
from raysim.workshop.frames import Frame, Steps3, frames
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

    frame: Frame
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
    def opens(self) -> bool:
        """Whether it is the door (definition)."""
        return self.wall == DOOR

    def from_edges(self, place: Place) -> Steps2:
        """How far a place lies from the left and from the lower edge of the panel (definition)."""
        return place.u + self.margin[0], place.v + self.margin[1]


def panels(scene: SceneAsWritten, marks: Sequence[Mark], grid: Grid) -> tuple[Panel, ...]:
    """Panels of a rectangular box, whose lengths are whole steps; none for one from a mesh.

    Source: definition of the joints.
    """
    chamber = scene.chamber
    if chamber.inside is None:
        return ()
    walls = frames(_steps3(chamber.inside, grid))
    thick = None if chamber.sheet is None else grid.steps(chamber.sheet)
    t = thick or 0
    margins = dict.fromkeys(walls, (0, 0)) | {"front": (t, t), "back": (t, t)}
    margins |= {"floor": (t, 0), "ceiling": (t, 0)}
    placed: dict[str, list[Place]] = {wall: [] for wall in walls}
    of_things: dict[str, str] = {}
    for tag, mark in zip(tags(), marks, strict=False):
        at = _steps3(mark.at, grid)
        carried = [of_things[name] for name in mark.rests_on if name in of_things]
        wall = mark.wall or (carried[0] if carried else nearest(at, walls))
        of_things[mark.thing] = wall
        placed[wall].append(Place(tag, mark, *walls[wall].on_wall(at)))
    return tuple(
        Panel(
            frame,
            margins[wall],
            None if thick is None else _wider(frame.size, margins[wall]),
            surface_name(chamber, wall),
            tuple(placed[wall]),
            tuple(_gaps(scene, frame, grid)),
        )
        for wall, frame in walls.items()
    )


def tags() -> Iterator[str]:
    """A, B, ... Z, AA, AB, ... without end (definition)."""
    for length in count(1):
        yield from map("".join, product(ascii_uppercase, repeat=length))


def nearest(at: Steps3, walls: dict[str, Frame]) -> str:
    """The wall that is nearest to a place and no door (definition)."""
    away = {wall: frame.on_wall(at)[2] for wall, frame in walls.items() if wall != DOOR}
    return min(away, key=lambda wall: away[wall])


def surface_name(chamber: Chamber, wall: str) -> str:
    """What a wall is lined with, in words (definition)."""
    choice = chamber.walls.get(wall, chamber.lining)
    return choice if isinstance(choice, str) else choice.name or "as given in the scene"


def _gaps(scene: SceneAsWritten, frame: Frame, grid: Grid) -> list[GapLine]:
    lines = []
    for gap in scene.gap:
        if gap.wall == frame.wall and gap.corners:
            on = [frame.on_wall(_steps3(point, grid)) for point in gap.corners]
            lines.append(GapLine(gap, tuple((u, v) for u, v, _ in on)))
    return lines


def _steps3(lengths: Sequence[float], grid: Grid) -> Steps3:
    x, y, z = map(grid.steps, lengths)
    return x, y, z


def _wider(size: Steps2, margin: Steps2) -> Steps2:
    return size[0] + 2 * margin[0], size[1] + 2 * margin[1]
