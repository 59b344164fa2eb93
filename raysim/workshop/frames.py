"""The six walls of a box laid flat as seen from inside, and the net that they unfold to.

Lengths are whole numbers of steps (`grid.Grid`). On every drawing u runs to the right and v up, as
one sees the wall from inside; `off` is how far into the box a place lies.
"""

from dataclasses import dataclass

from raysim.workshop.grid import Grid

Steps3 = tuple[int, int, int]

# Of each wall: axis and sign of u, of v and into the box. Looked at from inside, floor and ceiling
# with the back wall before one's eyes: the back is at the top of the floor and at the foot of the
# ceiling, so that the pieces fold up as a carton does.
_AXES = {
    "front": ((0, -1), (2, 1), (1, 1)),
    "back": ((0, 1), (2, 1), (1, -1)),
    "left": ((1, 1), (2, 1), (0, 1)),
    "right": ((1, -1), (2, 1), (0, -1)),
    "floor": ((0, 1), (1, 1), (2, 1)),
    "ceiling": ((0, 1), (1, -1), (2, -1)),
}
_FACING = (("left", "right"), ("front", "back"), ("floor", "ceiling"))


@dataclass(frozen=True)
class Frame:
    """One wall of a box of this inside (width, depth, height), steps."""

    wall: str
    inside: Steps3
    grid: Grid
    is_disc = False

    @property
    def size(self) -> tuple[int, int]:
        """Width and height of the wall on its drawing, steps (definition)."""
        (u, _), (v, _), _ = _AXES[self.wall]
        return self.inside[u], self.inside[v]

    def on_wall(self, place: Steps3) -> Steps3:
        """u, v and off of a place (x, y, z), steps.

        >>> from raysim.workshop.grid import MM
        >>> Frame("right", (560, 440, 940), MM).on_wall((500, 40, 60))
        (400, 60, 60)
        """
        u, v, off = (self._along(axis, sign, place[axis]) for axis, sign in _AXES[self.wall])
        return u, v, off

    def place(self, u: int, v: int, off: int) -> Steps3:
        """The place (x, y, z), steps, that has these measures: the inverse of `on_wall`."""
        found = [0, 0, 0]
        for (axis, sign), value in zip(_AXES[self.wall], (u, v, off), strict=True):
            found[axis] = self._along(axis, sign, value)
        return found[0], found[1], found[2]

    def measured(self, at: tuple[float, float, float]) -> Steps3:
        """u, v and off of a place (m) that lies on the grid (definition)."""
        x, y, z = map(self.grid.steps, at)
        return self.on_wall((x, y, z))

    def at(self, u: int, v: int, off: int) -> tuple[float, float, float]:
        """The place (m) that has these measures (definition)."""
        x, y, z = map(self.grid.metres, self.place(u, v, off))
        return x, y, z

    @property
    def edges(self) -> dict[str, str]:
        """Which wall meets the left, right, lower and upper edge of a wall (definition)."""
        (w, h), names = self.size, {}
        middle = {"left": (0, h // 2), "right": (w, h // 2)}
        middle |= {"lower": (w // 2, 0), "upper": (w // 2, h)}
        for edge, (u, v) in middle.items():
            place = self.place(u, v, 0)
            for axis, (low, high) in enumerate(_FACING):
                if place[axis] == 0 and low != self.wall:
                    names[edge] = low
                elif place[axis] == self.inside[axis] and high != self.wall:
                    names[edge] = high
        return names

    def _along(self, axis: int, sign: int, value: int) -> int:
        return value if sign > 0 else self.inside[axis] - value


def frames(inside: Steps3, grid: Grid) -> dict[str, Frame]:
    """Frames of all walls of a box by name (definition)."""
    return {wall: Frame(wall, inside, grid) for wall in _AXES}


def net(inside: Steps3) -> dict[str, tuple[int, int]]:
    """Lower left corner (steps) of each wall in the box unfolded as one net, seen from inside.

    Ceiling, back and floor stand one above the other, left and right beside the back, the front
    right of the right wall. Walls that share an edge of the box there share it on the net.
    """
    w, d, h = inside
    return {
        "floor": (d, 0),
        "back": (d, d),
        "ceiling": (d, d + h),
        "left": (0, d),
        "right": (d + w, d),
        "front": (2 * d + w, d),
    }
