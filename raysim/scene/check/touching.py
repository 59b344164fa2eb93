"""Face-sides that touch something in every pose: no light reaches them, and no box can treat them.

They are set aside before a scene is judged, since the darkest of them would set every timer to
never; whoever uses the box is told which they are, and how large.
"""

from dataclasses import replace

import numpy as np

from raysim.scene.build import BuiltScene
from raysim.scene.check.surroundings import Surroundings, reached
from raysim.scene.triangles import SIDES, SceneTriangles, Untreated, face_boxes

# Share of the judged area of an object: what touches over more of it stays judged, and dark. Own
# choice: it is then not a spot, but an object that hangs wrongly.
MOST_SET_ASIDE = 0.1


def set_aside(scene: BuiltScene) -> BuiltScene:
    """The scene with those face-sides no longer judged, and listed in `untreated`."""
    if scene.untreated is not None:
        return scene
    masks = [_touched(pose.triangles) for pose in scene.poses]
    touched = np.where(np.logical_and.reduce([m >= 0 for m in masks]), masks[0], -1)
    triangles = scene.triangles
    for body in triangles.judged_bodies:
        faces = triangles.faces_of(body)
        own = triangles.areas[faces, None] * triangles.judged[faces]
        if (own * (touched[faces] >= 0)).sum() > MOST_SET_ASIDE * own.sum():
            touched[faces] = -1
    if (touched < 0).all():
        return replace(scene, untreated=())
    judged = triangles.judged & (touched < 0)
    poses = tuple(replace(p, triangles=replace(p.triangles, judged=judged)) for p in scene.poses)
    return replace(scene, poses=poses, untreated=_listed(triangles, touched))


def _touched(triangles: SceneTriangles) -> np.ndarray:
    """Body that each judged face-side touches in one pose, (faces, 2), -1 for none."""
    found = np.full(triangles.judged.shape, -1)
    boxes = face_boxes(triangles.corners)
    for body in triangles.judged_bodies:
        faces = triangles.faces_of(body)
        low, high = boxes[0][faces].min(axis=0), boxes[1][faces].max(axis=0)
        foreign = reached(boxes, np.flatnonzero(triangles.face_body != body), low, high)
        if not len(foreign):
            continue
        others = Surroundings(triangles, foreign)
        for side in range(len(SIDES)):
            own = faces[triangles.judged[faces, side]]
            hit = others.touching(own, side)
            found[own, side] = np.where(hit >= 0, triangles.face_body[hit], -1)
    return found


def _listed(triangles: SceneTriangles, touched: np.ndarray) -> tuple[Untreated, ...]:
    rows = []
    for part, side in np.ndindex(len(triangles.parts), len(SIDES)):
        faces = np.flatnonzero((triangles.face_part == part) & (touched[:, side] >= 0))
        if len(faces):
            on = [triangles.bodies[b].name for b in np.unique(touched[faces, side])]
            piece = triangles.parts[part]
            rows.append(
                Untreated(
                    triangles.bodies[piece.body].name,
                    piece.name,
                    SIDES[side],
                    tuple(faces.tolist()),
                    float(triangles.areas[faces].sum()),
                    ", ".join(on),
                )
            )
    return tuple(rows)
