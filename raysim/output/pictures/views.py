"""Cameras: their place, and where a point is in the picture."""

from dataclasses import dataclass

import numpy as np

from raysim.dose.result import Spot
from raysim.scene.triangles import OUTSIDE, SIDES, SceneTriangles

CLEAR = 2e-5  # m: distance from its face at which a spot starts the search for what hides it
VIEW_ANGLE = 26.0  # degrees, vertical, of perspective views
MARGIN = 1.1  # room around what is shown


@dataclass(frozen=True)
class View:
    """A camera and the size of its picture.

    Attributes
    ----------
    focus : (3,) m
        Point in the middle of the picture.
    towards : (3,) unit
        From the focus to the camera.
    distance : float
        Camera to focus, m.
    half_height : float
        Half of what the height of the picture shows at the focus, m.
    parallel : bool
        Whether the projection is parallel instead of in perspective.
    size : (int, int)
        Width and height, px.
    """

    focus: np.ndarray
    towards: np.ndarray
    distance: float
    half_height: float
    parallel: bool
    size: tuple[int, int]

    @property
    def position(self) -> np.ndarray:
        """Place of the camera, (3,), m (definition)."""
        return self.focus + self.distance * self.towards

    @property
    def px_per_m(self) -> float:
        """Pixels per metre at the focus (definition)."""
        return 0.5 * self.size[1] / self.half_height

    def to_camera(self, points: np.ndarray) -> np.ndarray:
        """Unit vectors from points (n, 3) in m to the camera, (n, 3) (definition)."""
        if self.parallel:
            return np.broadcast_to(self.towards, points.shape)
        return _unit(self.position - points)

    def pixels(self, points: np.ndarray) -> np.ndarray:
        """Places (n, 2), px from the upper left corner, of points (n, 3) in m (definition)."""
        local = (np.atleast_2d(points) - self.focus) @ view_frame(self.towards).T
        nearer = 1.0 if self.parallel else self.distance / (self.distance - local[:, 2:])
        from_middle = local[:, :2] * nearer * self.px_per_m
        return from_middle * [1.0, -1.0] + 0.5 * np.array(self.size)


def _unit(vectors: np.ndarray) -> np.ndarray:
    return np.asarray(vectors / np.linalg.norm(vectors, axis=-1, keepdims=True))


def view_frame(towards: np.ndarray) -> np.ndarray:
    """Unit vectors right, up and towards the camera as rows, (3, 3); z is up (definition)."""
    upright = np.array([0.0, 0.0, 1.0]) if abs(towards[2]) < 0.99 else np.array([0.0, 1.0, 0.0])
    right = _unit(np.cross(upright, towards))
    return np.array([right, np.cross(towards, right), towards])


def perspective_view(points: np.ndarray, towards: np.ndarray, size: tuple[int, int]) -> View:
    """Perspective view from a direction that shows all points (n, 3), m."""
    towards = _unit(np.asarray(towards, float))
    frame = view_frame(towards)
    local = points @ frame.T
    middle = 0.5 * (local.min(axis=0) + local.max(axis=0))
    tangent = float(np.tan(np.radians(0.5 * VIEW_ANGLE)))
    distance = 4.0 * float(np.ptp(local, axis=0).max()) / tangent
    for _ in range(20):  # middle and distance depend on each other
        nearer = 1.0 / (distance - (local - middle)[:, 2:])
        seen = (local - middle)[:, :2] * nearer
        middle[:2] += 0.5 * (seen.min(axis=0) + seen.max(axis=0)) * distance
        reach = np.abs((local - middle)[:, :2]) / [size[0] / size[1], 1.0] / tangent
        distance = MARGIN * float((reach.max(axis=1) + (local - middle)[:, 2]).max())
    return View(middle @ frame, towards, distance, distance * tangent, False, size)


def parallel_view(points: np.ndarray, towards: np.ndarray, size: tuple[int, int]) -> View:
    """Parallel view from a direction that shows all points (n, 3), m."""
    frame = view_frame(towards)
    local = points @ frame.T
    low, high = local.min(axis=0), local.max(axis=0)
    across, up, deep = 0.5 * (high - low)
    half_height = MARGIN * max(up, across * size[1] / size[0])
    return View(
        0.5 * (low + high) @ frame, towards, 4.0 * (deep + half_height), half_height, True, size
    )


def is_hidden(spot: np.ndarray, towards: np.ndarray, corners: np.ndarray, reach: float) -> bool:
    """Whether a triangle (n, 3, 3) stands between a spot (3,) and a camera `reach` m away.

    The spot's own triangle must not be among them, unless the spot lies clear of it.

    Source: Moller and Trumbore, "Fast, minimum storage ray-triangle intersection" (1997).
    """
    edge1, edge2 = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    across = np.cross(towards, edge2)
    determinant = np.einsum("ij,ij->i", edge1, across)
    flat = np.abs(determinant) < 1e-18
    inverse = 1.0 / np.where(flat, 1.0, determinant)
    from_corner = spot - corners[:, 0]
    u = np.einsum("ij,ij->i", from_corner, across) * inverse
    other = np.cross(from_corner, edge1)
    v = other @ towards * inverse
    t = np.einsum("ij,ij->i", edge2, other) * inverse
    met = ~flat & (u >= 0.0) & (v >= 0.0) & (u + v <= 1.0) & (t > 0.0) & (t < reach)
    return bool(met.any())


def directions_about(towards: np.ndarray, count: int = 300) -> np.ndarray:
    """Even unit directions (count, 3), the one nearest to `towards` first.

    Source: Fibonacci lattice on the sphere (Gonzalez 2010).
    """
    index = np.arange(count) + 0.5
    z = 1.0 - 2.0 * index / count
    angle = np.pi * (1.0 + np.sqrt(5.0)) * index
    ring = np.sqrt(1.0 - z * z)
    spread = np.stack([ring * np.cos(angle), ring * np.sin(angle), z], axis=1)
    return np.asarray(spread[np.argsort(-(spread @ towards), kind="stable")])


def spot_towards(
    triangles: SceneTriangles, spot: Spot, view: View
) -> tuple[np.ndarray, float, np.ndarray]:
    """Direction (3,) from a spot to the camera, its cosine to the spot's normal, a start (3,), m.

    The start lies a little before the spot's face, on its own side.
    """
    towards = view.to_camera(spot.centroid[None])[0]
    normal = triangles.normals[spot.face] * (1.0 if spot.side == SIDES[OUTSIDE] else -1.0)
    return towards, float(towards @ normal), spot.centroid + CLEAR * normal
