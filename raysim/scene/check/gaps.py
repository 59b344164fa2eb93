"""The wall on which each gap lies, and what is wrong with gaps."""

import numpy as np

from raysim.base.errors import Fault, SceneError
from raysim.base.fault_codes import Code
from raysim.scene.build import BuiltScene
from raysim.scene.file.written import Gap

ON_WALL = 0.002  # m: how far off its wall a gap may be drawn


def wall_face(scene: BuiltScene, gap: Gap, key: str) -> int:
    """Number of the face of its wall on which the middle of a gap lies.

    Raises
    ------
    SceneError
        Where there is no such wall, or the gap does not lie on it from end to end.
    """
    triangles = scene.triangles
    faces = triangles.faces_of(_wall_body(scene, gap, key))
    ends = np.array([gap.start, gap.end])
    to_middle = _distances(triangles.corners[faces], ends.mean(axis=0))
    normals = triangles.normals[faces]
    off = np.abs(((ends[:, None] - triangles.corners[faces, 0]) * normals).sum(axis=2)).max(axis=0)
    near = np.flatnonzero(to_middle <= to_middle.min() + ON_WALL)
    here = near[np.argmin(off[near])]
    if off[here] > ON_WALL:
        raise scene_fault(
            scene,
            Code.GAP_OFF_WALL,
            f"{key}.from",
            f"the gap lies {1000 * off[here]:.3g} mm off the inside of wall {gap.wall}",
            "give both ends on the inside of that wall",
        )
    same = triangles.corners[faces[normals @ normals[here] > 0.999]]
    for name, place in (("from", ends[0]), ("to", ends[1])):
        beyond = float(_distances(same, place).min())
        if beyond > ON_WALL:
            raise scene_fault(
                scene,
                Code.GAP_BEYOND_WALL,
                f"{key}.{name}",
                f"this end lies {1000 * beyond:.3g} mm beyond the rim of wall {gap.wall}",
                "give both ends on the inside of that wall",
            )
    return int(faces[here])


def gap_faults(scene: BuiltScene) -> list[Fault]:
    """What is wrong with the gaps of a scene."""
    triangles = scene.triangles
    walls = [n for n, body in enumerate(triangles.bodies) if body.kind == "wall"]
    corners = triangles.corners[np.isin(triangles.face_body, walls)].reshape(-1, 3)
    largest = np.ptp(corners, axis=0).max() + 2.0 * ON_WALL
    faults: list[Fault] = []
    for number, gap in enumerate(scene.written.gap):
        key = f'gap {number + 1} "{gap.name}"'
        try:
            wall_face(scene, gap, key)
        except SceneError as error:
            faults += error.faults
            continue
        if gap.width > largest:
            what = f"it is {1000 * gap.width:.3g} mm wide, more than the box"
            mend = "give the width of the slit"
            faults += scene_fault(scene, Code.GAP_TOO_WIDE, f"{key}.width", what, mend).faults
    return faults


def scene_fault(scene: BuiltScene, code: Code, key: str, what: str, mend: str) -> SceneError:
    """One fault of a scene as an error."""
    return SceneError([Fault(code, str(scene.path), key, what, mend)])


def _wall_body(scene: BuiltScene, gap: Gap, key: str) -> int:
    """Number of the body that is the wall of a gap."""
    bodies = scene.triangles.bodies
    walls = [number for number, body in enumerate(bodies) if body.kind == "wall"]
    named = [number for number in walls if gap.wall in (bodies[number].wall, bodies[number].name)]
    if not named:
        known = [bodies[number].short_name for number in walls]
        raise scene_fault(
            scene,
            Code.GAP_NO_WALL,
            f"{key}.wall",
            f'no wall "{gap.wall}"',
            f"walls: {', '.join(known)}",
        )
    return named[0]


def _distances(corners: np.ndarray, place: np.ndarray) -> np.ndarray:
    """Distances (m) of a place (3,) from triangles (n, 3, 3), (n,)."""
    from trimesh.triangles import closest_point

    many = np.tile(place, (len(corners), 1))
    nearest = closest_point(corners, many)  # type: ignore[no-untyped-call]
    return np.asarray(np.linalg.norm(nearest - place, axis=1))
