"""The door of a box as it is built: frame and leaf of layers, their sizes, room for hinges.

A rabbet cannot be sawn out of one sheet: the outer half of the leaf is larger than the inner half
of the opening. So frame and leaf are each of an inner and an outer layer; the leaf then stands
proud by the width of the seam, on its seal.
"""

from dataclasses import dataclass
from math import hypot, sqrt

from raysim.scene.file.seams import Gap
from raysim.scene.file.written import SceneAsWritten
from raysim.workshop.fixings import DOOR
from raysim.workshop.grid import Grid

Steps2 = tuple[int, int]
USED = 0.8  # of the width of a seam: what a leaf that swings may take of it (own choice)


@dataclass(frozen=True)
class Door:
    """A door whose seam is drawn all round; lengths in steps.

    `size` is between the middle lines of the seam, `corner` their lower left one from before the
    box, `margin` how near they come to an edge of the inside; `step` is 0 where the seam goes
    straight through.
    """

    gap: Gap
    corner: Steps2
    size: Steps2
    margin: int
    width: int
    depth: int
    step: int

    @property
    def halves(self) -> tuple[int, ...]:
        """Steps outward of the inner and the outer half; one where there is no rabbet."""
        return (0, self.step) if self.step else (0,)

    def leaf(self, step: int) -> Steps2:
        """Width and height of a half of the leaf: half a seam less on each side (definition)."""
        return self._wider(2 * step - self.width)

    def opening(self, step: int) -> Steps2:
        """Width and height of a half of the opening in the frame (definition)."""
        return self._wider(2 * step + self.width)

    def ring(self, step: int) -> int:
        """How wide the frame is within the inside, at its narrowest side, rounded down."""
        return (2 * self.margin - self.width) // 2 - step

    @property
    def layer(self) -> int:
        """Least thickness of a layer, so that no half of the seam is shorter than was calculated.

        Of layers of this thickness with the leaf proud by the width, each half overlaps by half of
        depth less width, as `leak` traces it (definition).
        """
        return -(-(self.depth + self.width) // 2) if self.step else self.depth

    def is_of(self, sheet: float | None, grid: Grid) -> bool:
        """Whether its layers can be cut from the sheet (m) of the panels (definition)."""
        return sheet is not None and grid.steps(sheet) >= self.layer

    def pieces(self, front: Steps2, kerf: int) -> list[tuple[str, Steps2]]:
        """What is cut for frame and leaf, in a front of this outline.

        A layer of the leaf comes out of the opening of the frame where a saw cut has room there.
        """
        found = []
        names = (", inner layer", ", outer layer") if self.step else ("",)
        for name, step in zip(names, self.halves, strict=True):
            found.append((f"front frame{name}", front))
            if step == self.step and self.width >= kerf:
                continue
            if not step and self.step and self.step + self.width >= kerf:
                continue
            found.append((f"leaf{name}", self.leaf(step)))
        return found

    def pin(self) -> int:
        """How far a hinge pin at the edge of the leaf may stand out, so that the leaf swings.

        The far inner edge of the leaf turns about the pin on a circle that must not take more than
        `USED` of the seam. Negative where no pin before the leaf does.

        Source: Pythagoras.
        """
        across = self.leaf(0)[0] + self.step
        free = sqrt((across + USED * self.width) ** 2 - across**2) - self.depth
        return int(free // 1)

    def thickest(self) -> int:
        """Thickness of a layer with which a leaf still swings on a pin at its very edge.

        Less than `layer` where no pin before the leaf does (definition).
        """
        return (self.pin() + self.depth + self.width) // 2 if self.step else self.depth

    def takes(self, pin: float) -> float:
        """What of the seam the far inner edge takes with a pin that stands out so far, steps."""
        across = self.leaf(0)[0] + self.step
        return hypot(across, pin + self.depth) - across

    def leaf_in_box(self, grid: Grid) -> tuple[float, float, float, float]:
        """Left, right, lower and upper edge of the leaf between its middle lines, m."""
        (x, z), (w, h) = self.corner, self.size
        left, right, low, high = map(grid.metres, (x, x + w, z, z + h))
        return left, right, low, high

    def _wider(self, more: int) -> Steps2:
        return self.size[0] + more, self.size[1] + more


def door_of(scene: SceneAsWritten, grid: Grid) -> Door | None:
    """The door of a box whose seam goes all round it; None where none is drawn so (definition)."""
    return next((found for gap in scene.gap if (found := door_in(gap, scene, grid))), None)


def door_in(gap: Gap, scene: SceneAsWritten, grid: Grid) -> Door | None:
    """The door that a gap goes round as a rectangle, None for any other gap (definition)."""
    points, inside = gap.corners, scene.chamber.inside
    if inside is None or gap.wall != DOOR or len(points) != 5 or points[0] != points[-1]:
        return None
    across, up = ({grid.steps(p[axis]) for p in points} for axis in (0, 2))
    if len(across) != 2 or len(up) != 2:
        return None
    w, h = grid.steps(inside[0]), grid.steps(inside[2])
    margin = min(*across, *up, *(w - x for x in across), *(h - z for z in up))
    step = 0 if gap.step is None else grid.steps(gap.step)
    size = (max(across) - min(across), max(up) - min(up))
    return Door(
        gap,
        (min(across), min(up)),
        size,
        margin,
        grid.steps(gap.width),
        grid.steps(gap.depth),
        step,
    )
