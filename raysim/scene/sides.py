"""Words for sides and ways: those of a box with a door, or the axes of any other chamber."""

from dataclasses import dataclass

from raysim.scene.place import BOX_WALLS
from raysim.scene.triangles import SceneTriangles

Pairs = tuple[tuple[str, str], tuple[str, str], tuple[str, str]]  # low and high, for x, y and z


@dataclass(frozen=True)
class Sides:
    """How the sides of things are called, the `ways` to them, and places on `walls`.

    `measured` says what each of the three numbers of a place is, `short` the same from the lowest
    corner of the inside.
    """

    things: Pairs
    ways: Pairs
    walls: Pairs
    measured: tuple[str, str, str]
    short: tuple[str, str, str]


OF_BOX = Sides(
    (("left", "right"), ("door side", "rear side"), ("bottom", "top")),
    (("to the left", "to the right"), ("to the door", "to the rear"), ("down", "up")),
    (
        ("on the left wall", "on the right wall"),
        ("on the front wall", "on the rear wall"),
        ("on the floor", "under the ceiling"),
    ),
    ("from the left wall", "from the door", "above the floor"),
    ("from left", "from front", "up"),
)
OF_AXES = Sides(
    (("small x", "large x"), ("small y", "large y"), ("bottom", "top")),
    (
        ("towards small x", "towards large x"),
        ("towards small y", "towards large y"),
        OF_BOX.ways[2],
    ),
    (("at small x", "at large x"), ("at small y", "at large y"), ("at the bottom", "at the top")),
    ("along x from the origin", "along y", "along z"),
    ("along x", "along y", "up"),
)


def sides_of(triangles: SceneTriangles) -> Sides:
    """The words for a chamber: only a rectangular box has its door in front (definition)."""
    walls = {body.wall for body in triangles.bodies if body.kind == "wall"}
    return OF_BOX if walls == set(BOX_WALLS) else OF_AXES
