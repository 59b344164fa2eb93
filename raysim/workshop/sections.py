"""Section through a seam: the wall cut across it, leaf and frame with all their measures."""

from itertools import pairwise

from raysim.scene.file.seams import Gap
from raysim.scene.file.written import SceneAsWritten
from raysim.workshop.door import Door, door_in
from raysim.workshop.drawing import Drawing, Layer, Point, Polyline, Shape, Words
from raysim.workshop.grid import Grid
from raysim.workshop.measures import Steps2

LETTERS = 24.0  # heights of a letter along the longer side
BESIDE = 1.2  # of the depth: how much of frame and leaf is drawn beside the seam


def sections(scene: SceneAsWritten, grid: Grid) -> tuple[Drawing, ...]:
    """Section of every seam that was drawn, in steps.

    Source: the passage of a gap, straight or a rabbet of two bends, as `leak` traces it; a door
    as its layers are built.
    """
    return tuple(_section(gap, number, scene, grid) for number, gap in enumerate(scene.gap, 1))


def _section(gap: Gap, number: int, scene: SceneAsWritten, grid: Grid) -> Drawing:
    width, depth = grid.steps(gap.width), grid.steps(gap.depth)
    step = 0 if gap.step is None else grid.steps(gap.step)
    door = door_in(gap, scene, grid)
    wide = BESIDE * depth
    letter = (2.0 * wide + step + width) / LETTERS
    # Of a door both have two equal layers, and the leaf stands proud by the seam; a wall is flush.
    proud = width if door is not None and step else 0
    inner = (depth - width) // 2 if door is None else door.layer
    inner, depth = (inner, 2 * inner if proud else depth) if step else (depth, depth)
    frame, leaf = _solids(width, depth, step, inner, wide, proud=proud)
    names = ("wall", "wall") if door is None else ("frame", "leaf")
    text, far = grid.text, 3.5 * letter if step else 0.0
    lines = [
        _dimension((0, -1.2 * letter), (width, -1.2 * letter), f"seam {text(width)}", letter, -1),
        _dimension(
            (-wide - far, proud), (-wide - far, depth), f"deep {text(depth - proud)}", letter, 0
        ),
    ]
    if step:
        top = depth + 1.2 * letter
        lines.append(_dimension((-step, top), (0, top), f"step {text(step)}", letter, 1))
        right = width + wide
        other = inner + width  # where the outer half of the leaf begins
        for x, ends in ((-wide, (0, inner, depth)), (right, (proud, other, depth + proud))):
            if proud:  # between two layers
                out = -step if x < 0 else width
                lines.append((Polyline(Layer.MEASURE, ((x, ends[1]), (out, ends[1]))),))
            for low, high in pairwise(ends):
                lines.append(_dimension((x, low), (x, high), text(high - low), letter, 0))
    words = [
        Words(Layer.WORDS, (-0.5 * wide, 0.5 * inner), names[0], letter),
        Words(Layer.WORDS, (width + 0.5 * wide, 0.5 * inner), names[1], letter),
        Words(Layer.WORDS, (0.5 * width, -4.6 * letter), "INSIDE of the box, light", letter),
        Words(Layer.WORDS, (0.5 * width, depth + 4.0 * letter), "OUTSIDE", letter),
    ]
    shapes: list[Shape] = [frame, leaf, *words, *(shape for line in lines for shape in line)]
    return Drawing(
        f"seam_{number}",
        f'seam "{gap.name}", cut across',
        (-wide - far - 9.0 * letter, -6.0 * letter),
        (width + wide + 6.0 * letter, depth + proud + 5.5 * letter),
        tuple(shapes),
        notes(gap, scene, grid),
    )


def _solids(
    width: float, depth: float, step: float, inner: float, wide: float, *, proud: float
) -> tuple[Polyline, Polyline]:
    """Frame and leaf on both sides of a seam whose inner half lies from 0 to `width`."""
    frame: tuple[Point, ...] = ((-wide, 0), (0, 0), (0, inner))
    leaf: tuple[Point, ...] = ((width + wide, proud), (width, proud))
    top = depth + proud
    if step:
        frame += ((-step, inner), (-step, depth))
        leaf += ((width, inner + width), (width - step, inner + width), (width - step, top))
    else:
        leaf += ((width, top),)
    return (
        Polyline(Layer.OUTLINE, (*frame, (-wide, depth)), closed=True),
        Polyline(Layer.OUTLINE, (*leaf, (width + wide, top)), closed=True),
    )


def _dimension(start: Point, end: Point, text: str, letter: float, side: int) -> tuple[Shape, ...]:
    """A line between two points with bars at its ends and its length; `side` 0: it is upright."""
    (a, b), (c, d) = start, end
    tick = 0.5 * letter
    if not side:
        out = -1.0 if a < 0 else 1.0
        a, c = a + 1.2 * out * letter, c + 1.2 * out * letter
        bars = [((a - tick, y), (a + tick, y)) for y in (b, d)]
        at, anchor = (
            (a + out * letter, 0.5 * (b + d) - 0.35 * letter),
            "end" if out < 0 else "start",
        )
    else:
        bars = [((x, b - tick), (x, b + tick)) for x in (a, c)]
        at, anchor = (0.5 * (a + c), b + (0.7 if side > 0 else -1.7) * letter), "middle"
    lines = [Polyline(Layer.MEASURE, points) for points in (((a, b), (c, d)), *bars)]
    return (*lines, Words(Layer.MEASURE, at, text, letter, anchor))


def notes(gap: Gap, scene: SceneAsWritten, grid: Grid) -> tuple[str, ...]:
    """What the section does not show: sizes of leaf and opening, layers, room for hinges."""
    door = door_in(gap, scene, grid)
    if door is None:
        return ()
    leaf, frame = (
        [size_words(of(h), grid) for h in door.halves] for of in (door.leaf, door.opening)
    )
    unit, thick = grid.unit, grid.text(door.layer)
    swing = _pin_words(door, grid)
    if not door.step:
        return (
            f"Leaf {leaf[0]} {unit}, opening {frame[0]} {unit}. The front is {thick} {unit} thick, "
            f"whatever t is. {_exact_words(door, grid)} {swing}",
        )
    most = door.thickest()
    thick += (
        f" {unit} thick whatever t is"
        if most < door.layer
        else (f" and at most {grid.text(most)} {unit} thick whatever t is")
    )
    return (
        f"Leaf: inner half {leaf[0]}, outer half {leaf[1]} {unit}.",
        f"Opening in the frame: inner half {frame[0]}, outer half {frame[1]} {unit}. "
        + _exact_words(door, grid),
        f"Built of two layers each for frame and leaf, at least {thick} "
        "(metal: folded, with edges as deep), glued and screwed to each other over the whole face "
        "by screws that do not come through. The outer layer of the leaf laps over the frame, "
        f"which is its stop; on a seal pressed to {grid.text(door.width)} {unit} the leaf stands "
        f"{grid.text(door.width)} {unit} proud: that is right, and it is deep two layers less "
        "that.",
        swing,
    )


def _exact_words(door: Door, grid: Grid) -> str:
    """How wide the seam may be: a wider one leaks more, in a narrower one the leaf jams."""
    taken = door.takes(max(door.pin(), 0)) / grid.per_unit
    return (
        f"Plane the leaf to fit, after painting: the seam no wider than {grid.text(door.width)} "
        f"{grid.unit}, for it leaks, and no narrower than {taken:.2g} {grid.unit}, for it jams."
    )


def _pin_words(door: Door, grid: Grid) -> str:
    pin = door.pin()
    if pin < 0:
        return (
            "On hinges the far inner edge of the leaf jams: bevel it no more than it needs and "
            "survey it, or let the leaf lift off."
        )
    return (
        f"Hinge pin at the outer edge of the leaf, at most {grid.text(pin)} {grid.unit} proud of "
        "its outer face, "
        + ("less by twice what a layer is thicker: " if door.step else "")
        + "farther out the leaf jams as it swings."
    )


def size_words(size: Steps2, grid: Grid) -> str:
    """Width x height as printed (definition)."""
    return " x ".join(map(grid.text, size))
