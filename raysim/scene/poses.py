"""A load that hangs in several poses during one cycle: the same faces in other places."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from raysim.scene.file.things import Object
from raysim.scene.file.written import SceneAsWritten
from raysim.scene.place import turning
from raysim.scene.triangles import SceneTriangles, normals_and_areas


@dataclass(frozen=True)
class PosedTriangles:
    """The scene in one pose, and its share of the cycle, 0 to 1.

    Faces, parts and bodies have the same numbers in every pose.
    """

    name: str
    share: float
    triangles: SceneTriangles


def objects_by_pose(scene: SceneAsWritten) -> list[list[Object]]:
    """Objects as they hang in each pose; as written where the scene names no poses."""
    return [pose.applied(scene.object) for pose in scene.pose] or [scene.object]


def moved_to(
    triangles: SceneTriangles, hung: Sequence[Object], then: Sequence[Object]
) -> SceneTriangles:
    """The triangles of one pose in another one.

    Faces are moved, not split anew, so that each keeps its number. Objects that hang alike in both
    poses stay equal to the last bit. Of the others each corner is moved once, so that neighbouring
    faces still share it.

    Parameters
    ----------
    hung, then : sequences of Object
        The same objects, in the order of the scene, as they hang before and after.
    """
    corners = triangles.corners.copy()
    for before, after in zip(hung, then, strict=True):
        if (before.at, before.turn) == (after.at, after.turn):
            continue
        faces = triangles.faces_of(triangles.body_called(before.name))
        points, index = np.unique(corners[faces].reshape(-1, 3), axis=0, return_inverse=True)
        turn = turning(after.turn) @ turning(before.turn).T
        moved = (points - np.asarray(before.at)) @ turn.T + np.asarray(after.at)
        corners[faces] = moved[index.reshape(-1)].reshape(-1, 3, 3)
    return replace(triangles, corners=corners, normals=normals_and_areas(corners)[0])


def posed_triangles(scene: SceneAsWritten, first: SceneTriangles) -> tuple[PosedTriangles, ...]:
    """Every pose of a scene, given the triangles of the first."""
    hung = objects_by_pose(scene)
    names = [pose.name for pose in scene.pose] or [""]
    return tuple(
        PosedTriangles(name, share, moved_to(first, hung[0], then) if number else first)
        for number, (name, share, then) in enumerate(
            zip(names, scene.pose_shares, hung, strict=True)
        )
    )
