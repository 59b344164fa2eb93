"""Cut the faces of a mesh into triangles, without new corners and within every outline."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from raysim.scene.mesh.outlines import triangles_within
from raysim.scene.mesh.twin_faces import twins

MOST_CORNERS = 1000  # corners of one face
# Areas as shares of the square of a face's size. Below NOTHING a triangle counts as without area;
# below SLIVER another way of cutting is tried.
NOTHING, SLIVER = 1e-14, 1e-9
FITS_NO_UNIT = 1e30  # square of a face's size; such a mesh is refused later
# Corners this little off the plane of their face, as a share of the largest coordinate, come from
# rounding to seven digits and not from the drawing; our own estimate.
SEVEN_DIGITS = 1e-6


class BadPolygon(ValueError):
    """A face that cannot be cut: its number, from 0 on; the text continues after "it"."""

    def __init__(self, face: int, what: str) -> None:
        super().__init__(what)
        self.face = face
        self.what = what


@dataclass(frozen=True)
class Polygons:
    """Faces with any number of corners each."""

    vertices: np.ndarray  # (vertices, 3) float64
    corners: np.ndarray  # (corners,) int64, rows of `vertices`, face after face
    counts: np.ndarray  # (faces,) int64, corners of each face

    @cached_property
    def first(self) -> np.ndarray:
        """Where the corners of each face begin, (faces,) (definition)."""
        return np.asarray(np.cumsum(self.counts) - self.counts)

    @cached_property
    def face(self) -> np.ndarray:
        """Face of each corner, (corners,) (definition)."""
        return np.repeat(np.arange(len(self.counts)), self.counts)

    @cached_property
    def after(self) -> np.ndarray:
        """Where the next corner of the same face stands, (corners,) (definition)."""
        after = np.arange(1, len(self.corners) + 1)
        after[self.first + self.counts - 1] = self.first
        return after

    @cached_property
    def local(self) -> np.ndarray:
        """Corners as seen from the first one of their face, (corners, 3) (definition)."""
        return np.asarray(
            self.vertices[self.corners] - self.vertices[self.corners[self.first]][self.face]
        )

    @cached_property
    def crosses(self) -> np.ndarray:
        """Twice the areas of a fan's triangles, as vectors, (corners, 3).

        Each triangle has a corner, the next one and the first; zero for the first and last corner.
        Source: definition.
        """
        return np.cross(self.local, self.local[self.after])

    @cached_property
    def normals(self) -> np.ndarray:
        """Unit normals of the faces, (faces, 3); not finite where a face has no area.

        Source: Newell's method, in Sutherland, Sproull and Schumacker, "A characterization of ten
        hidden-surface algorithms", ACM Computing Surveys 6(1) (1974); from memory. It is the sum of
        the areas, as vectors, of any triangles that fill the outline.
        """
        sums = np.add.reduceat(self.crosses, self.first)
        return np.asarray(sums / np.linalg.norm(sums, axis=1)[:, None])


@dataclass(frozen=True)
class Cut:
    """The faces of a mesh as triangles."""

    triangles: np.ndarray  # (triangles, 3) int64, face after face
    face: np.ndarray  # (triangles,) int64, the face that each was cut from
    lean: np.ndarray  # (faces,) degrees between a face and the most inclined of its triangles


def cut(polygons: Polygons) -> Cut:
    """Triangles of faces.

    If all of a face can be seen from its first corner, it becomes a fan from there. Any other face
    is projected onto its plane and cut by the constrained Delaunay triangulation of its corners. A
    face without area, or with a NaN among its corners, also becomes a fan: the check of triangles
    decides about it later. Faces that lie on one another, corner on corner, are all cut alike.

    Raises
    ------
    BadPolygon
        If a face has fewer than three corners or too many, uses one that does not exist, or crosses
        or touches itself.
    """
    _refuse_odd_counts(polygons)
    like, way = twins(polygons.vertices, polygons.corners, polygons.first)
    with np.errstate(all="ignore"):
        astray = _astray(polygons) & (like == np.arange(len(like)))
        pieces = [_fans(polygons, astray)]
        for number in np.flatnonzero(astray):
            own = polygons.corners[polygons.first[number] :][: polygons.counts[number]]
            found = triangles_within(polygons.vertices[own], polygons.normals[number])
            if found is None:
                raise BadPolygon(int(number), "crosses or touches itself")
            pieces.append((own[found], np.full(len(found), number)))
        triangles, face = (np.concatenate(some) for some in zip(*pieces, strict=True))
        order = np.argsort(face, kind="stable")
        triangles, face = _as_twins(triangles[order], face[order], like, way)
        return Cut(triangles, face, _lean(polygons, triangles, face))


def _fans(polygons: Polygons, astray: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Fans from the first corner of all faces not in `astray`: triangles, and the face of each."""
    inner = ~astray[polygons.face]
    inner[polygons.first] = inner[polygons.first + polygons.counts - 1] = False
    start = polygons.corners[polygons.first][polygons.face]
    fans = np.stack([start, polygons.corners, polygons.corners[polygons.after]], axis=1)
    return fans[inner], polygons.face[inner]


def _as_twins(
    triangles: np.ndarray, face: np.ndarray, like: np.ndarray, way: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Triangles (sorted by face) in which every twin is cut in the same way as its first twin."""
    if (like == np.arange(len(like))).all():
        return triangles, face
    start, end = (np.searchsorted(face, np.arange(len(like)), side) for side in ("left", "right"))
    pieces = [
        triangles[start[one] : end[one]][:, ::turn] for one, turn in zip(like, way, strict=True)
    ]
    return np.concatenate(pieces), np.repeat(np.arange(len(like)), list(map(len, pieces)))


def _refuse_odd_counts(polygons: Polygons) -> None:
    stumps, giants = polygons.counts < 3, polygons.counts > MOST_CORNERS
    if stumps.any():
        raise BadPolygon(int(stumps.argmax()), "has fewer than three corners")
    if giants.any():
        raise BadPolygon(int(giants.argmax()), f"has over {MOST_CORNERS} corners")
    beyond = (polygons.corners < 0) | (polygons.corners >= len(polygons.vertices))
    if beyond.any():
        raise BadPolygon(int(polygons.face[beyond.argmax()]), "names a corner that does not exist")


def _astray(polygons: Polygons) -> np.ndarray:
    """Which faces (faces,) a fan from the first corner does not fill, or only with slivers.

    A fan fills a face if all its triangles face the same way and go round the first corner at most
    once (definition).
    """
    first, face = polygons.first, polygons.face
    doubled = np.linalg.norm(polygons.crosses, axis=1)
    along = (polygons.crosses * polygons.normals[face]).sum(axis=1)
    size = np.maximum.reduceat((polygons.local**2).sum(axis=1), first)
    beside = (polygons.local * polygons.local[polygons.after]).sum(axis=1)
    turned = np.add.reduceat(np.arctan2(doubled, beside), first)
    ends = np.zeros(len(face), bool)
    ends[first] = ends[first + polygons.counts - 1] = True
    fair = np.logical_and.reduceat(ends | (along > SLIVER * size[face]), first)
    fair &= turned < 2.0 * np.pi
    has_area = np.maximum.reduceat(doubled, first) > NOTHING * size
    return np.asarray((polygons.counts > 3) & ~fair & has_area & (size < FITS_NO_UNIT))


def _lean(polygons: Polygons, triangles: np.ndarray, face: np.ndarray) -> np.ndarray:
    """Degrees between each face and the most inclined of its triangles, (faces,) (definition)."""
    a, b, c = np.moveaxis(polygons.vertices[triangles], 1, 0)
    normals = np.cross(b - a, c - a)
    cosine = (normals * polygons.normals[face]).sum(axis=1) / np.linalg.norm(normals, axis=1)
    steepest = np.ones(len(polygons.counts))
    np.fmin.at(steepest, face, cosine)  # a triangle without area has no lean
    lean = np.degrees(np.arccos(np.clip(steepest, -1.0, 1.0)))
    heights = (polygons.local * polygons.normals[polygons.face]).sum(axis=1)
    thick = np.maximum.reduceat(heights, polygons.first)
    thick -= np.minimum.reduceat(heights, polygons.first)
    drawn = thick > 2.0 * SEVEN_DIGITS * np.abs(polygons.vertices[polygons.corners]).max()
    return np.where(drawn, lean, 0.0)
