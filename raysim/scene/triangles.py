"""The scene as triangles: flat arrays in metres, ready to be traced."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from raysim.base.figures import number
from raysim.library.meter_heads import CORRECTED, AngularResponse
from raysim.library.surfaces import Surface

OUTSIDE, INSIDE = 0, 1
METER_LIFT = 1e-6  # m: a meter on a wall is lifted by this much, or the wall would shade it
SIDES = ("outside", "inside")
WALL = "chamber"  # begins the name of every wall


def face_boxes(corners: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Low and high corner (faces, 3) of the box around each face; `corners` (faces, 3, 3).

    Taken corner by corner: a minimum over an axis of length three takes several times as long.
    """
    a, b, c = corners.swapaxes(0, 1)
    return np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)


def normals_and_areas(corners: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Unit normals (faces, 3) and areas (faces,), m2, of faces with corners (faces, 3, 3), m."""
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(cross, axis=1)
    return cross / np.maximum(length, 1e-300)[:, None], 0.5 * length


@dataclass(frozen=True)
class Body:
    """One thing that takes part in the energy account: a wall, an object or a lamp."""

    name: str
    kind: str  # "wall", "object" or "lamp"
    judged: bool = False
    wall: str = ""  # own name of a wall, such as floor; "" where the chamber is one wall only

    @property
    def short_name(self) -> str:
        """Own name of a wall; the name of anything else (definition)."""
        return self.wall or self.name


def wall_body(own_name: str) -> Body:
    """A wall of the chamber by its own name, "" for the one wall of a mesh without parts."""
    return Body(f"{WALL}: {own_name}" if own_name else WALL, "wall", wall=own_name)


def is_wall_name(name: str) -> bool:
    """Whether a body of a file that says names alone is a wall; a `Body` knows its kind."""
    return name == WALL or name.startswith(f"{WALL}: ")


@dataclass(frozen=True)
class Part:
    """A piece of a body with one surface: a wall, a named part of a mesh."""

    body: int
    name: str  # "" where the body has one part only
    surface: int
    two_sided: bool


@dataclass(frozen=True)
class LampTube:
    """One glowing cylinder of a lamp, m."""

    lamp: int
    start: np.ndarray  # (3,) float64
    end: np.ndarray  # (3,) float64
    radius: float

    @property
    def axis(self) -> np.ndarray:
        """Unit vector from start to end, (3,) (definition)."""
        way = self.end - self.start
        return np.asarray(way / np.linalg.norm(way))


@dataclass(frozen=True)
class LampRating:
    """What is known of a lamp beyond its shape."""

    name: str
    uvc_W: float
    hours: float
    body: int
    surface: int


@dataclass(frozen=True)
class MeterPoint:
    """A meter: its point (m), unit direction, head, and reading (W/m2) if there is one.

    `lamp_hours` (lamps,) is the age of each lamp at the reading, h; None if it is the present age.
    """

    name: str
    at: np.ndarray
    facing: np.ndarray
    reading: float | None
    response: AngularResponse = CORRECTED
    lamp_hours: tuple[float, ...] | None = None


@dataclass(frozen=True)
class SceneTriangles:
    """Everything that light can meet, in metres and watts.

    Attributes
    ----------
    corners : (faces, 3, 3) float64, m
    normals : (faces, 3) float64
        Unit, counter-clockwise, towards `outside` (walls: into the chamber).
    areas : (faces,) float64, m2
    face_part : (faces,) int32
    judged : (faces, 2) bool
        Face-sides that must reach the target.
    closed : bool
        Whether the chamber is closed. Light that hits nothing is then lost, else escaped.
    units : str
        Of the scene file, in which places are told.
    """

    corners: np.ndarray
    normals: np.ndarray
    areas: np.ndarray
    face_part: np.ndarray
    judged: np.ndarray
    parts: tuple[Part, ...]
    bodies: tuple[Body, ...]
    surfaces: tuple[Surface, ...]
    lamps: tuple[LampRating, ...]
    tubes: tuple[LampTube, ...]
    meters: tuple[MeterPoint, ...] = ()
    closed: bool = True
    units: str = "mm"

    @property
    def centroids(self) -> np.ndarray:
        """Middle of each face, (faces, 3), m (definition)."""
        a, b, c = self.corners.swapaxes(0, 1)
        return np.asarray((a + b + c) / 3.0)

    @property
    def face_body(self) -> np.ndarray:
        """Body of each face, (faces,) int32."""
        return np.array([part.body for part in self.parts], np.int32)[self.face_part]

    @property
    def walls(self) -> list[int]:
        """Bodies that are walls of the chamber (definition)."""
        return [k for k, body in enumerate(self.bodies) if body.kind == "wall"]

    @property
    def on_wall(self) -> np.ndarray:
        """Which faces are of walls of the chamber, (faces,) bool."""
        return np.isin(self.face_body, self.walls)

    @property
    def box(self) -> tuple[np.ndarray, np.ndarray]:
        """Lowest and highest corner of the box about the chamber, (3,) each, m (definition)."""
        corners = self.corners[self.on_wall]
        return corners.min(axis=(0, 1)), corners.max(axis=(0, 1))

    @property
    def judged_bodies(self) -> list[int]:
        """Bodies that are judged (definition)."""
        return [k for k, body in enumerate(self.bodies) if body.judged]

    def body_called(self, name: str) -> int:
        """Number of the body of this name; names differ (definition)."""
        return [body.name for body in self.bodies].index(name)

    def faces_of(self, body: int) -> np.ndarray:
        """Numbers of the faces of one body, (faces of it,) int64."""
        return np.flatnonzero(self.face_body == body)

    def corners_of(self, body: int) -> np.ndarray:
        """Corners of the faces of one body, (faces of it, 3, 3), m."""
        return self.corners[self.faces_of(body)]

    def edges_of(self, faces: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Points (points, 3), m, and edges of the chosen faces in turn, (3 faces, 2), as points.

        Corners within 1e-7 m of one another are one point; the lower number comes first.
        """
        corners = np.round(self.corners[faces].reshape(-1, 3), 7)
        points, index = np.unique(corners, axis=0, return_inverse=True)
        ends = index.reshape(-1, 3)[:, [[0, 1], [1, 2], [2, 0]]]
        return points, np.sort(ends.reshape(-1, 2), axis=1)


@dataclass(frozen=True)
class Untreated:
    """Judged face-sides of one part of an object that touch something in every pose.

    `area` m2; `on` names what they touch.
    """

    object: str
    part: str
    side: str
    faces: tuple[int, ...]
    area: float
    on: str

    @property
    def words(self) -> str:
        """Which spot it is, its area in cm2, and what it touches."""
        where = ", ".join(word for word in (self.object, self.part, self.side) if word)
        return f"{where} ({number(1e4 * self.area, 2)} cm2 on {self.on})"


def untreated_words(rows: Sequence[Untreated]) -> str:
    """How large all of them are together, and where; "" for none."""
    if not rows:
        return ""
    area = number(1e4 * sum(spot.area for spot in rows), 2)
    spots = "; ".join(spot.words for spot in rows)
    return f"{area} cm2 touch something, get no light in any pose and are not judged: {spots}"
