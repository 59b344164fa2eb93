"""The shape of each thing in the box, as its mesh has it: size, room, which way it faces."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from raysim.scene.build import BuiltScene
from raysim.scene.place import turning
from raysim.scene.poses import objects_by_pose

Place2 = tuple[float, float]
Place3 = tuple[float, float, float]
ROD = 4.0  # times its next size: what is that long is a rod, held at both ends (own choice)
SHORTEST_ROD = 0.1  # m: shorter ones are hooks and pegs, held at one place (own choice)
OPEN = 0.2  # of its area: what a shell has at least as the sum of its normals (own choice)
ALIKE, SQUARE, ROUND = (
    0.05,
    0.97,
    (0.70, 0.84),
)  # sides of a section; shares of its box (own choice)
MOST_EXACT = 20_000  # triangles; outlines of larger meshes are drawn on a coarser grid
COARSE = 4  # steps


@dataclass(frozen=True)
class Shape:
    """A thing as its mesh has it, m.

    `size` is along the axes of its mesh, before it is turned; `low` and `high` are the corners of
    the room that it takes in the box. `facing` is the direction of the outer side of an open
    shell, None for a closed thing, which has none. `rod` are the middles of the ends of a rod,
    `section` what its section is in words, "" where it is neither round nor square, or no rod.
    """

    size: Place3
    low: Place3
    high: Place3
    facing: Place3 | None
    rod: tuple[Place3, Place3] | None
    section: str = ""


def shapes(scene: BuiltScene) -> Mapping[str, Shape]:
    """Shapes of all objects of a scene by name, as they hang in its first pose (definition)."""
    triangles, found = scene.triangles, {}
    numbers = {body.name: k for k, body in enumerate(triangles.bodies) if body.kind == "object"}
    for entry in objects_by_pose(scene.written)[0]:
        faces = triangles.faces_of(numbers[entry.name])
        turn, at = turning(entry.turn), np.array(entry.at)
        points = triangles.corners[faces].reshape(-1, 3)
        own = (points - at) @ turn
        low, high = own.min(axis=0), own.max(axis=0)
        ends = None if entry.judged else _rod(low, high)
        found[entry.name] = Shape(
            _place(high - low),
            _place(points.min(axis=0)),
            _place(points.max(axis=0)),
            _facing(triangles.normals[faces], triangles.areas[faces], triangles.face_part[faces]),
            None if ends is None else (_place(turn @ ends[0] + at), _place(turn @ ends[1] + at)),
            "" if ends is None else _section(triangles.corners[faces], high - low),
        )
    return found


def _rod(low: np.ndarray, high: np.ndarray) -> tuple[np.ndarray, np.ndarray] | None:
    """Middles of both ends of a thing between two corners (3,), None where it is no rod."""
    size, middle = high - low, 0.5 * (low + high)
    axis = int(size.argmax())
    if size[axis] < SHORTEST_ROD or size[axis] < ROD * np.sort(size)[1]:
        return None
    one, other = middle.copy(), middle.copy()
    one[axis], other[axis] = low[axis], high[axis]
    return one, other


def _section(corners: np.ndarray, size: np.ndarray) -> str:
    """What a rod of triangles (n, 3, 3) within this size (3,), m, is cut across, in words.

    Source: share of its volume in that of the box about it, pi/4 for a circle; volume by the
    divergence theorem. A circle of eight facets or more is taken for round.
    """
    small, wide = np.sort(size)[:2]
    if small < (1.0 - ALIKE) * wide:
        return ""
    solid = (
        abs(
            float(
                np.einsum("ij,ij->i", corners[:, 0], np.cross(corners[:, 1], corners[:, 2])).sum()
            )
        )
        / 6.0
    )
    share = solid / float(np.prod(size))
    if share > SQUARE:
        return "square bar or tube with shut ends"
    return "round bar or tube with shut ends" if ROUND[0] < share < ROUND[1] else ""


def _facing(normals: np.ndarray, areas: np.ndarray, parts: np.ndarray) -> Place3 | None:
    """Mean direction of the outer side of the largest part, by area; None where it is closed.

    Source: over a closed surface the sum of normals times areas is nought (divergence theorem).
    """
    largest = max(np.unique(parts), key=lambda part: float(areas[parts == part].sum()))
    own = parts == largest
    way = (normals[own] * areas[own][:, None]).sum(axis=0) / areas[own].sum()
    length = float(np.linalg.norm(way))
    return _place(way / length) if length > OPEN else None


def outline(corners: np.ndarray, axes: tuple[int, int], step: float) -> list[list[Place2]]:
    """What triangles (n, 3, 3), m, hide along the third axis: closed lines of points (steps).

    Source: union of the triangles, each corner put on the grid so that edges that meet do meet.
    """
    import shapely

    coarse = 1 if len(corners) < MOST_EXACT else COARSE
    flat = np.unique(np.round(corners[..., axes] / (coarse * step)).astype(int), axis=0) * coarse
    shapes = shapely.polygons(flat)
    solid = shapes[shapely.area(shapes) > 0.0]
    if not len(solid):  # a sheet on its edge
        solid = [shapely.convex_hull(shapely.multipoints(flat.reshape(-1, 2)))]
    whole = shapely.union_all(solid)
    lines = [
        getattr(part, "exterior", part) for part in getattr(whole, "geoms", [whole]) if part.length
    ]
    return [[(x, y) for x, y in line.simplify(1.0).coords] for line in lines]


def _place(point: np.ndarray) -> Place3:
    x, y, z = map(float, point)
    return x, y, z
