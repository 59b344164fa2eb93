"""Polygons for tests, and mesh files with polygons in them."""

from itertools import pairwise
from pathlib import Path

import numpy as np

FORMS = ("obj", "ascii", "binary_little_endian", "binary_big_endian")


def write_polygons(folder: Path, form: str, corners, faces, number: str = "double") -> Path:
    """Path of a mesh file with these faces (lists of rows of `corners`), as an OBJ or a PLY."""
    corners = np.asarray(corners, float)
    if form == "obj":
        lines = [f"v {x!r} {y!r} {z!r}" for x, y, z in corners.tolist()]
        lines += ["f " + " ".join(str(k + 1) for k in face) for face in faces]
        (folder / "a.obj").write_text("\n".join(lines) + "\n")
        return folder / "a.obj"
    axes = "".join(f"property {number} {axis}\n" for axis in "xyz")
    head = (
        f"ply\nformat {form} 1.0\nelement vertex {len(corners)}\n{axes}"
        f"element face {len(faces)}\nproperty list ushort int vertex_indices\nend_header\n"
    )
    if form == "ascii":
        body = "".join(f"{x!r} {y!r} {z!r}\n" for x, y, z in corners.tolist()).encode()
        body += "".join(f"{len(face)} {' '.join(map(str, face))}\n" for face in faces).encode()
    else:
        order = "<" if form == "binary_little_endian" else ">"
        body = corners.astype(order + {"double": "f8", "float": "f4"}[number]).tobytes()
        for face in faces:
            body += (
                np.array(len(face), f"{order}u2").tobytes() + np.array(face, f"{order}i4").tobytes()
            )
    (folder / "a.ply").write_bytes(head.encode() + body)
    return folder / "a.ply"


def vector_area(corners: np.ndarray) -> np.ndarray:
    """Area within a flat outline (corners, 3), along its normal (shoelace formula)."""
    local = corners - corners[0]
    return 0.5 * np.cross(local, np.roll(local, -1, axis=0)).sum(axis=0)


def areas(part) -> np.ndarray:
    """Areas of the triangles of a mesh part."""
    a, b, c = np.moveaxis(part.vertices[part.faces], 1, 0)
    return 0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1)


def rim(part) -> list[tuple[tuple[float, ...], tuple[float, ...]]]:
    """Directed edges of a mesh part that no other triangle walks the other way, by their places."""
    sides = np.concatenate([part.faces[:, [0, 1]], part.faces[:, [1, 2]], part.faces[:, [2, 0]]])
    ways = [tuple(side) for side in sides.tolist()]
    there = set(ways)
    places = list(map(tuple, part.vertices.tolist()))
    return sorted((places[a], places[b]) for a, b in ways if (b, a) not in there)


def outline(corners: np.ndarray) -> list[tuple[tuple[float, ...], tuple[float, ...]]]:
    """Directed edges of a polygon, by their places."""
    places = list(map(tuple, np.asarray(corners, float).tolist()))
    return sorted(pairwise([*places, places[0]]))


def is_simple(points: list[tuple[int, int]]) -> bool:
    """Whether a polygon neither crosses nor touches itself: exact, for whole numbers."""
    count = len(points)
    if len(set(points)) < count:
        return False
    for i in range(count):
        a, b = points[i], points[(i + 1) % count]
        for j in range(i + 1, count):
            c, d = points[j], points[(j + 1) % count]
            if j == i + 1 or (j + 1) % count == i:
                shared, one, other = (b, a, d) if j == i + 1 else (a, b, c)
                if _turn(one, shared, other) == 0 and _ahead(shared, one, other) > 0:
                    return False
            elif meet(a, b, c, d):
                return False
    return True


def meet(a, b, c, d) -> bool:
    """Whether the lines from a to b and from c to d have a point in common."""
    turns = _turn(a, b, c), _turn(a, b, d), _turn(c, d, a), _turn(c, d, b)
    if turns[0] * turns[1] < 0 and turns[2] * turns[3] < 0:
        return True
    ends = ((a, b, c), (a, b, d), (c, d, a), (c, d, b))
    return any(
        turn == 0 and _ahead(point, start, end) <= 0
        for turn, (start, end, point) in zip(turns, ends, strict=True)
    )


def _turn(a, b, c) -> int:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def _ahead(middle, a, b) -> int:
    """Positive where a and b lie on the same side, as seen from `middle`."""
    return (a[0] - middle[0]) * (b[0] - middle[0]) + (a[1] - middle[1]) * (b[1] - middle[1])


def star(random: np.random.Generator, count: int) -> list[tuple[int, int]]:
    """Corners round a middle, at random distances."""
    angles = np.sort(random.random(count)) * 2.0 * np.pi
    reach = random.uniform(1e5, 1e6, count)
    return _whole(np.stack([reach * np.cos(angles), reach * np.sin(angles)], axis=1))


def tangle(random: np.random.Generator, count: int) -> list[tuple[int, int]]:
    """Random corners in a grid, with stretches turned round until no two edges cross."""
    way = _whole(random.integers(0, 13, (count, 2)))
    for _ in range(200):
        crossed = _first_crossing(way)
        if crossed is None:
            break
        i, j = crossed
        way[i + 1 : j + 1] = way[i + 1 : j + 1][::-1]
    return way


def _first_crossing(way):
    count = len(way)
    for i in range(count):
        for j in range(i + 2, count - (i == 0)):
            if meet(way[i], way[i + 1], way[j], way[(j + 1) % count]):
                return i, j
    return None


def spiral(turns: float, count: int, width: float) -> list[tuple[int, int]]:
    """A band of this width (of the whole), wound up."""
    out = np.linspace(0.2, 1.0, count // 2)
    along = 2.0 * np.pi * turns * out
    way = np.stack([np.cos(along), np.sin(along)], axis=1)
    both = np.vstack([(out + width)[:, None] * way, (out[:, None] * way)[::-1]])
    return _whole(1e7 * both)


def comb(teeth: int) -> list[tuple[int, int]]:
    """A ridge with pointed teeth."""
    points = [(0, -10), (10 * teeth, -10), (10 * teeth, 0)]
    for tooth in range(teeth - 1, -1, -1):
        points += [(10 * tooth + 5, 50), (10 * tooth, 0)]
    return points


def with_flat_corners(points: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """A polygon, twice as large, with one corner more in the middle of each edge."""
    found = []
    for (ax, ay), (bx, by) in pairwise([*points, points[0]]):
        found += [(2 * ax, 2 * ay), (ax + bx, ay + by)]
    return found


def _whole(points: np.ndarray) -> list[tuple[int, int]]:
    return [(int(x), int(y)) for x, y in np.rint(points).tolist()]
