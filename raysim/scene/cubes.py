"""Face-sides that lie together in a small cube, on one part and side, facing about one way."""

import numpy as np

from raysim.scene.triangles import SceneTriangles


def cubes_of(
    triangles: SceneTriangles, faces: np.ndarray, sides: np.ndarray, edge: float
) -> np.ndarray:
    """A number for each face-side (units,) int64, the same for those that lie together.

    `edge` of the cubes, m. Numbers are sorted by part, side, way and place; the way is that of the
    largest component of the normal.
    """
    normals, middles = triangles.normals[faces], triangles.centroids[faces]
    axis = np.abs(normals).argmax(axis=1)
    way = 2 * axis + (normals[np.arange(len(axis)), axis] > 0.0)
    number = (triangles.face_part[faces].astype(np.int64) * 2 + sides) * 6 + way
    for place in middles.T:  # one number each: sorting rows of them takes several times as long
        cube = np.floor(place / edge).astype(np.int64)
        cube -= cube.min(initial=0)
        number = number * (int(cube.max(initial=0)) + 1) + cube
    return number
