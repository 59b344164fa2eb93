"""Colours of everything in a view: the dose map on judged objects, greys elsewhere."""

import numpy as np

from raysim.output.pictures.render import HATCH_PAPER
from raysim.output.pictures.scale import DoseScale
from raysim.output.pictures.views import View
from raysim.scene.triangles import LampTube, SceneTriangles, normals_and_areas

WALL_GREY, OBJECT_GREY = 0.93, 0.62
LOAD_BLUE = np.array([0.36, 0.58, 0.72])
LAMP_MIDDLE, LAMP_RIM = np.array([250, 252, 255]) / 255, np.array([120, 150, 235]) / 255
TUBE_SIDES = 24


def face_colours(
    triangles: SceneTriangles, scale: DoseScale, view: View, faces: np.ndarray
) -> np.ndarray:
    """Colours (n, 2, 3) uint8 of both sides of the chosen faces (n,), shaded for the view."""
    shades = np.repeat(flat_colours(triangles, view)[faces][:, None], 2, axis=1)
    dosed = _judged(triangles)[faces]
    mild = (0.84 + 0.16 * _slant(triangles, view)[faces[dosed]])[:, None, None]
    shades[dosed] = (255.0 * scale.colours(faces[dosed]) * mild).round().astype(np.uint8)
    shades[scale.wanting[faces]] = HATCH_PAPER
    return shades


def flat_colours(triangles: SceneTriangles, view: View) -> np.ndarray:
    """Colours (faces, 3) uint8 without a map: walls and fittings grey, what is judged blue."""
    slant = _slant(triangles, view)
    colours = np.full((len(slant), 3), OBJECT_GREY) * (0.6 + 0.4 * slant)[:, None]
    wall, judged = triangles.on_wall, _judged(triangles)
    colours[wall] = (WALL_GREY + triangles.normals[wall] @ np.array([0.025, 0.0, -0.04]))[:, None]
    colours[judged] = LOAD_BLUE * (0.5 + 0.5 * slant[judged])[:, None]
    return np.asarray((255.0 * colours).round().astype(np.uint8))


def _judged(triangles: SceneTriangles) -> np.ndarray:
    """Which faces belong to a judged object, (faces,) bool."""
    return np.isin(triangles.face_body, triangles.judged_bodies)


def _slant(triangles: SceneTriangles, view: View) -> np.ndarray:
    """Cosine, without sign, between each face and the camera, (faces,)."""
    to_camera = view.to_camera(triangles.centroids)
    return np.asarray(np.abs(np.einsum("ij,ij->i", triangles.normals, to_camera)))


def tube_triangles(tubes: tuple[LampTube, ...]) -> np.ndarray:
    """Closed cylinders as triangles, (n, 3, 3), m, counter-clockwise from outside."""
    angle = 2.0 * np.pi * np.arange(TUBE_SIDES) / TUBE_SIDES
    found = [np.zeros((0, 3, 3))]
    for tube in tubes:
        axis = tube.axis
        side = np.cross(axis, np.eye(3)[np.abs(axis).argmin()])
        side /= np.linalg.norm(side)
        other = np.cross(axis, side)
        ring = tube.radius * (np.cos(angle)[:, None] * side + np.sin(angle)[:, None] * other)
        low, high = tube.start + ring, tube.end + ring
        low_next, high_next = np.roll(low, -1, axis=0), np.roll(high, -1, axis=0)
        start, end = np.broadcast_to(tube.start, low.shape), np.broadcast_to(tube.end, low.shape)
        for a, b, c in (
            (low, low_next, high_next),
            (low, high_next, high),
            (start, low_next, low),
            (end, high, high_next),
        ):
            found.append(np.stack([a, b, c], axis=1))
    return np.concatenate(found)


def lamp_colours(corners: np.ndarray, view: View) -> np.ndarray:
    """Colours (n, 3) uint8 of glowing tubes: nearly white along the middle, blue at the rim."""
    normals, _ = normals_and_areas(corners)
    slant = np.abs(np.einsum("ij,ij->i", normals, view.to_camera(corners.mean(axis=1))))
    blend = (slant**2)[:, None]
    return np.asarray((255 * (blend * LAMP_MIDDLE + (1 - blend) * LAMP_RIM)).astype(np.uint8))


def wall_edges(triangles: SceneTriangles) -> np.ndarray:
    """Edges (m, 2, 3), m, where walls of the chamber meet at an angle, or end."""
    faces = np.flatnonzero(triangles.on_wall)
    points, edges = triangles.edges_of(faces)
    normals = np.repeat(triangles.normals[faces], 3, axis=0)
    unique, where, count = np.unique(edges, axis=0, return_inverse=True, return_counts=True)
    mean = np.zeros((len(unique), 3))
    np.add.at(mean, where.reshape(-1), normals)
    bent = np.linalg.norm(mean, axis=1) / count < 0.97
    return points[unique[bent | (count == 1)]]
