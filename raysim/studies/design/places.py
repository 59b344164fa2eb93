"""Where the lamps of a proposal go: symmetric places along walls and edges, a rule of thumb."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from raysim.library.lamps import LampType
from raysim.studies.design.boxes import BEHIND, DIGITS, STEPS, Box, Hooks, Size, measurable, up
from raysim.workshop.grid import Grid

OFF_WALL = 0.045  # m from a wall to the axis of a lamp; own choice
OFF_RAIL = 0.038  # m from the axis of a rail to that of a lamp which crosses it; own choice
SOCKETS = 0.03  # m beyond a tube, both ends together; own estimate, as in `raysim lamps`
LEAST_USED = 0.5  # share of a lamp that the load must at least reach along; own choice
UPRIGHT, ACROSS, DEEP = "upright", "across", "deep"
CHOSEN = "chosen"  # by the study of lamps
AXIS = {UPRIGHT: 2, ACROSS: 0, DEEP: 1}
# Places in the plane across the lamps, as shares of what is free: 0 and 1 are the rims. For upright
# lamps (x, y); for those across the box (y, z); for those along its depth (x, z).
L, M, H = 0.0, 0.5, 1.0
_CORNERS = ((L, L), (H, H), (H, L), (L, H))
PATTERNS: dict[str, tuple[tuple[tuple[float, float], ...], ...]] = {
    UPRIGHT: (
        ((M, H),),
        ((L, M), (H, M)),
        _CORNERS[:2],
        ((L, L), (H, L), (M, H)),
        _CORNERS,
        (*_CORNERS, (L, M), (H, M)),
        (*_CORNERS, (0.33, H), (0.67, H)),
        (*_CORNERS, (L, M), (H, M), (0.33, H), (0.67, H)),
    ),
    ACROSS: (
        _CORNERS[:2],
        _CORNERS[2:],
        ((L, H), (H, H), (M, L)),
        _CORNERS,
        (*_CORNERS, (H, M)),
        (*_CORNERS, (H, 0.33), (H, 0.67)),
    ),
    DEEP: (
        _CORNERS[:2],
        ((L, M), (H, M)),
        _CORNERS,
        (*_CORNERS, (L, M), (H, M)),
    ),
}


@dataclass(frozen=True)
class Lamps:
    """Lamps of one kind in a box: how they lie, and the two ends of each arc, m."""

    kind: LampType
    axis: str
    arcs: tuple[tuple[Size, Size], ...]


def with_lamps(box: Box, kind: LampType, most: int) -> Iterator[tuple[Box, Lamps]]:
    """The box with every pattern of lamps of a kind, `most` at most; longer where they need it."""
    for axis, patterns in PATTERNS.items():
        room = _with_room(box, kind, AXIS[axis])
        if room is None:
            continue
        for pattern in patterns:
            if len(pattern) <= most and _before_load(room, axis, pattern):
                middles = _middles(room, axis, pattern)
                yield (
                    room,
                    Lamps(
                        kind, axis, tuple(arc(kind, AXIS[axis], one, box.grid) for one in middles)
                    ),
                )


def arc(kind: LampType, along: int, middle: Size, grid: Grid) -> tuple[Size, Size]:
    """The ends of an arc about its middle, on the grid, m."""
    half = [0.0, 0.0, 0.0]
    half[along] = 0.0005 * kind.arc_mm
    start = measurable(_sum(middle, [-value for value in half]), grid)
    return start, measurable(_sum(middle, half), grid)


def _with_room(box: Box, kind: LampType, along: int) -> Box | None:
    """The box, longer along an axis where a lamp needs it; None where most of it would be empty."""
    needed = 0.001 * kind.tube_length_mm + SOCKETS
    more = up(needed, box.grid) - box.inside[along]
    if more <= 0.0:
        return box
    if box.inside[along] < LEAST_USED * needed:
        return None
    inside = list(box.inside)
    inside[along] += more
    shift = [0.0, 0.0, 0.0]
    step = STEPS[box.grid.unit]
    shift[along] = step * round(0.5 * more / step)
    rows = tuple(Hooks(_sum(row.first, shift), row.count) for row in box.rows)
    return replace(box, inside=_sum(inside, (0.0, 0.0, 0.0)), rows=rows)


def _sum(a: list[float] | Size, b: list[float] | Size) -> Size:
    x, y, z = (round(p + q, DIGITS) for p, q in zip(a, b, strict=True))
    return x, y, z


def _before_load(box: Box, axis: str, pattern: tuple[tuple[float, float], ...]) -> bool:
    """Whether the lamps of a pattern stand beside the load, not in it: margins are wide enough."""
    wide = 2.0 * OFF_WALL - 1e-9
    sides, fore = (margin >= wide for margin in box.margins)
    if axis == UPRIGHT:
        return all((x in (L, H) and sides) or (y in (L, H) and fore) for x, y in pattern)
    if axis == ACROSS:
        return fore and all(y in (L, H) for y, _ in pattern)
    return sides and all(x in (L, H) for x, _ in pattern)


def _middles(box: Box, axis: str, pattern: tuple[tuple[float, float], ...]) -> tuple[Size, ...]:
    along, found = AXIS[axis], []
    for shares in pattern:
        rest = iter(shares)
        x, y, z = (
            0.5 * side if k == along else OFF_WALL + next(rest) * (side - 2.0 * OFF_WALL)
            for k, side in enumerate(box.inside)
        )
        # Rails reach from wall to wall: lamps that cross them keep clear.
        if axis == UPRIGHT:
            y = _before(y, [row.first[1] + BEHIND for row in box.rows])
        if axis == DEEP:
            z = _before(z, [row.first[2] for row in box.rows])
        found.append((x, y, z))
    return tuple(found)


def _before(value: float, rails: list[float]) -> float:
    """A coordinate of a lamp, moved before or below the rail that it would meet."""
    near = [rail for rail in rails if abs(value - rail) < OFF_RAIL]
    return min(near) - OFF_RAIL if near else value
