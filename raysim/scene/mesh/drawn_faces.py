"""Faces of OBJ and PLY files as they were drawn, read if not all of them are triangles.

The reader of foreign formats cuts every face into a fan from its first corner, which can be wrong.
So a file with larger faces is written anew, in memory, with triangles only.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from raysim.scene.mesh.fault import Misfit, no_number
from raysim.scene.mesh.polygons import Cut, Polygons

# A face of more than three corners, or one with negative numbers of corners: these count back from
# the last corner so far, as the format says, not from the last one of the file.
_OBJ_ODD = re.compile(rb"\n[ \t]*f(?:[^\S\n]++[^\s#-][^\s#]*+){0,3}+[^\S\n]++[^\s#]")


@dataclass(frozen=True)
class DrawnFile:
    """The faces of a mesh file, and the same file with other faces."""

    polygons: Polygons
    where: Callable[[int], str]  # the place of a face, in words
    with_triangles: Callable[[Cut], bytes]


def obj_faces(data: bytes) -> DrawnFile | None:
    """Faces of an OBJ file; None if they are triangles whose corners are counted from the front.

    Raises
    ------
    Misfit, MeshFault
        Where a corner or a face cannot be read.
    """
    if _OBJ_ODD.search(b"\n" + data) is None:
        return None
    lines = data.split(b"\n")
    points: list[bytes] = []
    corners: list[int] = []
    counts: list[int] = []
    places: list[int] = []
    for place, line in enumerate(lines):
        match line.split():
            case [b"v", *numbers]:
                if len(numbers) < 3:
                    raise Misfit(f"has a corner of fewer than three numbers (line {place + 1})")
                points += numbers[:3]
                lines[place] = b"v " + b" ".join(numbers[:3])
            case [b"f", *names]:
                so_far = len(points) // 3
                for number in _corners_named(names):
                    corners.append(number - 1 if number > 0 else so_far + number)
                counts.append(len(names))
                places.append(place)
    polygons = Polygons(
        np.array(numbers_in(points)).reshape(-1, 3),
        np.array(corners, np.int64),
        np.array(counts, np.int64),
    )

    def with_triangles(cut: Cut) -> bytes:
        written = [b"f %d %d %d" % tuple(named) for named in (cut.triangles + 1).tolist()]
        ends = np.searchsorted(cut.face, np.arange(len(places)), side="right").tolist()
        for place, start, end in zip(places, [0, *ends], ends, strict=False):
            lines[place] = b"\n".join(written[start:end])
        return b"\n".join(lines)

    return DrawnFile(
        polygons, lambda face: f"face {face + 1}, line {places[face] + 1}", with_triangles
    )


def _corners_named(names: list[bytes]) -> list[int]:
    """Numbers of the corners of a face; texture and normal follow them, after slashes."""
    try:
        return [int(name.partition(b"/")[0]) for name in names]
    except ValueError:
        raise no_number() from None


def numbers_in(words: list[bytes]) -> list[float]:
    """Words as numbers (definition).

    Raises
    ------
    MeshFault
        Where a word is no number.
    """
    try:
        return list(map(float, words))
    except ValueError:
        raise no_number() from None
