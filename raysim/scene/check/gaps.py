"""Where gaps lie: on which wall, and whether that can be."""

import numpy as np

from raysim.base.errors import Fault, SceneError
from raysim.scene.build import BuiltScene
from raysim.scene.file.written import Gap

ON_WALL = 0.002  # m: how far off its wall a gap may be drawn


def wall_face(scene: BuiltScene, gap: Gap, key: str) -> int:
    """Number of the face of its wall that is nearest to the middle of a gap.

    Raises
    ------
    SceneError
        Where there is no such wall, or the gap does not lie on it.
    """
    triangles = scene.triangles
    names = [body.name for body in triangles.bodies]
    known = [n.removeprefix("chamber: ") for n in names if n.startswith("chamber")]
    body = next((names.index(n) for n in (f"chamber: {gap.wall}", gap.wall) if n in names), None)
    if body is None or triangles.bodies[body].kind != "wall":
        raise _refusal(scene, f"{key}.wall", f'no wall "{gap.wall}"', f"walls: {', '.join(known)}")
    faces = triangles.faces_of(body)
    ends = np.array([gap.start, gap.end])
    nearest = faces[np.linalg.norm(triangles.centroids[faces] - ends.mean(axis=0), axis=1).argmin()]
    off = np.abs((ends - triangles.corners[nearest, 0]) @ triangles.normals[nearest])
    if off.max() > ON_WALL:
        raise _refusal(
            scene,
            f"{key}.from",
            f"the gap lies {1000 * off.max():.3g} mm off the inside of wall {gap.wall}",
            "give both ends on the inside of that wall",
        )
    return int(nearest)


def gap_faults(scene: BuiltScene) -> list[Fault]:
    """What is wrong with the gaps of a scene."""
    triangles = scene.triangles
    walls = [n for n, body in enumerate(triangles.bodies) if body.kind == "wall"]
    corners = triangles.corners[np.isin(triangles.face_body, walls)].reshape(-1, 3)
    low, high = corners.min(axis=0) - ON_WALL, corners.max(axis=0) + ON_WALL
    faults: list[Fault] = []
    for number, gap in enumerate(scene.written.gap):
        key = f'gap {number + 1} "{gap.name}"'
        try:
            wall_face(scene, gap, key)
        except SceneError as error:
            faults += error.faults
            continue
        ends = np.array([gap.start, gap.end])
        if (ends < low).any() or (ends > high).any():
            what = "the gap reaches beyond the box"
            faults += _refusal(scene, f"{key}.from", what, "give ends on the wall").faults
        if gap.width > (high - low).max():
            what = f"it is {1000 * gap.width:.3g} mm wide, more than the box"
            faults += _refusal(scene, f"{key}.width", what, "give the width of the slit").faults
    return faults


def _refusal(scene: BuiltScene, key: str, what: str, mend: str) -> SceneError:
    return SceneError([Fault(str(scene.path), key, what, mend)])
