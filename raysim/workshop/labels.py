"""Words beside points of a drawing: where nothing runs through them, with a leader where far."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import product

from raysim.workshop.drawing import Layer, Point, Polyline, Shape, Words
from raysim.workshop.measures import LETTER_WIDTH, Steps2

# In heights of a letter, from the point to the words: the nearest place that is free is taken.
AWAY = (0.7, 1.7, 3.0, 4.5, 6.5)
SIDES = ((1, 1), (-1, 1), (1, -1), (-1, -1), (1, 0), (-1, 0), (0, 1), (0, -1))
LEADER = 1.0  # heights of a letter: words farther off get a line
STRUCK = {Layer.MEASURE: 1.0, Layer.THING: 1.0}  # costs of words that a line runs through
HEAVY = 3.0


@dataclass(frozen=True)
class _Label:
    """Words in a rectangle (left, low, right, high), and how they are anchored."""

    text: str
    box: tuple[float, float, float, float]
    anchor: str

    def meets(self, other: tuple[float, float, float, float]) -> bool:
        a, b, c, d = self.box
        e, f, g, h = other
        return a < g and e < c and b < h and f < d


def labels(
    points: Mapping[Steps2, str],
    letter: float,
    around: Sequence[Shape],
    room: tuple[Point, Point],
) -> Iterator[Shape]:
    """The words of each point, within `room` and clear of what is drawn `around` and of each other.

    Source: own choice of costs.
    """
    lines = _segments(around)
    crosses = [
        (x - 0.6 * letter, y - 0.6 * letter, x + 0.6 * letter, y + 0.6 * letter) for x, y in points
    ]
    taken: list[_Label] = []
    for at in sorted(points):
        best = min(
            _candidates(at, points[at], letter),
            key=lambda one: _cost(one, taken, crosses, lines, room),
        )
        taken.append(best[1])
        yield from _drawn(at, *best, letter)


def _candidates(at: Point, text: str, letter: float) -> Iterator[tuple[float, _Label]]:
    wide = LETTER_WIDTH * len(text) * letter
    for away, (right, up) in product(AWAY, SIDES):
        x, y = at[0] + away * right * letter, at[1] + away * up * letter - 0.4 * letter
        left = x - 0.5 * (1 - right) * wide
        box = (left, y - 0.1 * letter, left + wide, y + 0.9 * letter)
        yield away, _Label(text, box, ("middle", "start", "end")[right])


def _cost(
    one: tuple[float, _Label],
    taken: Sequence[_Label],
    crosses: Sequence[tuple[float, float, float, float]],
    lines: Sequence[tuple[float, Point, Point]],
    room: tuple[Point, Point],
) -> float:
    away, label = one
    (low, below), (high, above) = room
    a, b, c, d = label.box
    cost = 0.5 * away + 100.0 * (a < low or b < below or c > high or d > above)
    cost += 50.0 * sum(label.meets(other.box) for other in taken)
    cost += 10.0 * sum(label.meets(cross) for cross in crosses)
    return cost + sum(weight for weight, p, q in lines if _through(p, q, label.box))


def _through(p: Point, q: Point, box: tuple[float, float, float, float]) -> bool:
    """Whether a line passes through a rectangle.

    Source: clipping of Liang and Barsky 1984 (from memory).
    """
    near, far = 0.0, 1.0
    for axis in (0, 1):
        way = q[axis] - p[axis]
        low, high = box[axis] - p[axis], box[axis + 2] - p[axis]
        if way == 0.0:
            if low > 0.0 or high < 0.0:
                return False
            continue
        first, last = sorted((low / way, high / way))
        near, far = max(near, first), min(far, last)
    return near < far


def _segments(shapes: Sequence[Shape]) -> list[tuple[float, Point, Point]]:
    found = []
    for shape in shapes:
        if isinstance(shape, Polyline):
            points = [*shape.points, *(shape.points[:1] if shape.closed else ())]
            weight = STRUCK.get(shape.layer, HEAVY)
            found += [(weight, p, q) for p, q in zip(points, points[1:], strict=False)]
    return found


def _drawn(at: Point, away: float, label: _Label, letter: float) -> Iterator[Shape]:
    left, low, right, _ = label.box
    x = {"start": left, "middle": 0.5 * (left + right), "end": right}[label.anchor]
    if away > LEADER:
        yield Polyline(Layer.MARK, (at, (x, low + 0.5 * letter)))
    yield Words(Layer.WORDS, (x, low + 0.1 * letter), label.text, letter, label.anchor)
