"""The line on the wall that each gap follows, and what is wrong with gaps."""

from itertools import pairwise

import numpy as np

from raysim.base.errors import Fault, Level, SceneError
from raysim.base.fault_codes import Code
from raysim.scene.build import BuiltScene
from raysim.scene.file.seams import Gap
from raysim.scene.seam import Leg, Seam, plane_cuts

ON_WALL = 0.002  # m: how far off its wall a gap may be drawn
BEYOND_RIM = 0.1  # widths: how far a slit may reach beyond the rim of the wall
FLAT = np.cos(np.radians(0.1))  # walls that bend less are one flat wall
MOST_LEGS = 1000
TURNS_BACK = -0.9  # cosine between two pieces
HALF_OFF = "part of the width of the slit lies beyond the rim of the wall"
MOVE_IT = "move its middle line to half its width from the rim, or further"
BOTH_ENDS = "give both ends on the inside of that wall"


def seam_of(scene: BuiltScene, gap: Gap, key: str) -> Seam:
    """The middle line of a gap, on the inside of its wall.

    Raises
    ------
    SceneError
        Where there is no such wall, or the slit does not lie on it from end to end.
    """
    faces = _wall_faces(scene, gap, key)
    around = gap.around is not None
    seam = _around(scene, gap, key, faces) if around else _through(scene, gap, key, faces)
    if len(seam.legs) > MOST_LEGS:
        what = f"it runs over {len(seam.legs)} facets, and {MOST_LEGS} is the limit"
        raise scene_fault(scene, Code.GAP_OFF_WALL, key, what, "take a coarser mesh")
    ways = np.array([(leg.end - leg.start) / leg.length for leg in seam.legs])
    bends = (ways * np.roll(ways, -1, axis=0)).sum(axis=1)
    if (bends if seam.closed else bends[:-1]).min(initial=1.0) < TURNS_BACK:
        what, mend = "the line turns back on itself", "draw every piece of the seam once"
        raise scene_fault(scene, Code.GAP_OFF_WALL, key, what, mend)
    if gap.start is None and _beyond_rim(scene, gap, seam):
        raise scene_fault(scene, Code.GAP_BEYOND_WALL, key, HALF_OFF, MOVE_IT)
    return seam


def gap_faults(scene: BuiltScene) -> list[Fault]:
    """What is wrong with the gaps of a scene."""
    triangles = scene.triangles
    low, high = triangles.box
    largest = (high - low).max() + 2.0 * ON_WALL
    faults: list[Fault] = []
    for number, gap in enumerate(scene.written.gap):
        key = f'gap {number + 1} "{gap.name}"'
        if gap.width > largest:
            what = f"it is {1000 * gap.width:.3g} mm wide, more than the box"
            mend = "give the width of the slit"
            faults += scene_fault(scene, Code.GAP_TOO_WIDE, f"{key}.width", what, mend).faults
            continue
        try:
            seam = seam_of(scene, gap, key)
        except SceneError as error:
            faults += error.faults
            continue
        if gap.start is not None and _beyond_rim(scene, gap, seam):
            what = f"{HALF_OFF} and lets no light out, so the leak reads too small"
            file = str(scene.name)
            faults.append(Fault(Code.GAP_BEYOND_WALL, file, key, what, MOVE_IT, Level.WARNING))
    return faults


def scene_fault(scene: BuiltScene, code: Code, key: str, what: str, mend: str) -> SceneError:
    """One fault of a scene as an error."""
    return SceneError([Fault(code, str(scene.name), key, what, mend)])


def _through(scene: BuiltScene, gap: Gap, key: str, faces: np.ndarray) -> Seam:
    """The line through all points of a gap."""
    legs: list[Leg] = []
    for k, ends in enumerate(pairwise(np.array(gap.corners))):
        keys = (f"{key}.from", f"{key}.to")
        if gap.points is not None:
            keys = (f"{key}.points {k + 1}", f"{key}.points {k + 2}")
        legs += _from_to(scene, gap, keys, faces, np.array(ends)).legs
    closed = len(gap.corners) > 2 and gap.corners[0] == gap.corners[-1]
    return Seam(tuple(legs), closed)


def _from_to(
    scene: BuiltScene, gap: Gap, keys: tuple[str, str], faces: np.ndarray, ends: np.ndarray
) -> Seam:
    """A line from end to end (2, 3), m: straight on a flat wall, else along the wall."""
    triangles = scene.triangles
    to_middle = _distances(triangles.corners[faces], ends.mean(axis=0))
    normals = triangles.normals[faces]
    off = np.abs(((ends[:, None] - triangles.corners[faces, 0]) * normals).sum(axis=2)).max(axis=0)
    near = np.flatnonzero(to_middle <= to_middle.min() + ON_WALL)
    here = near[np.argmin(off[near])]
    same = triangles.corners[faces[normals @ normals[here] > FLAT]]
    beyond = [float(_distances(same, place).min()) for place in ends]
    if off[here] <= ON_WALL and max(beyond) <= ON_WALL:
        return Seam((Leg(ends[0], ends[1], int(faces[here])),))
    seam = _along_wall(scene, faces, ends)
    if seam is not None:
        return seam
    if off[here] > ON_WALL:
        away = [float(_distances(triangles.corners[faces], place).min()) for place in ends]
        if max(away) <= ON_WALL:
            what = "the wall cannot be followed from one end of this piece to the other"
            mend = "give points nearer to each other, or around"
            raise scene_fault(scene, Code.GAP_OFF_WALL, keys[0], what, mend)
        what = f"this end lies {1000 * max(away):.3g} mm off the inside of wall {gap.wall}"
        raise scene_fault(scene, Code.GAP_OFF_WALL, keys[int(np.argmax(away))], what, BOTH_ENDS)
    end = keys[0] if beyond[0] > ON_WALL else keys[1]
    what = f"this end lies {1000 * max(beyond):.3g} mm beyond the rim of wall {gap.wall}"
    raise scene_fault(scene, Code.GAP_BEYOND_WALL, end, what, BOTH_ENDS)


def _along_wall(scene: BuiltScene, faces: np.ndarray, ends: np.ndarray) -> Seam | None:
    """The line over the facets of a bent wall from end to end; none where it leaves the wall.

    It lies in the plane through both ends and the mean normal of the wall there.
    """
    triangles = scene.triangles
    to = np.array([_distances(triangles.corners[faces], place) for place in ends])
    if to.min(axis=1).max() > ON_WALL:
        return None
    outwards = -triangles.normals[faces[to.argmin(axis=1)]].sum(axis=0)
    across = np.cross(ends[1] - ends[0], outwards)
    size = np.linalg.norm(across)
    if size < 1e-6:
        return None
    cuts = plane_cuts(triangles.corners[faces], triangles.normals[faces], ends[0], across / size)
    for cut in cuts:
        seam = cut.between(*ends)
        if seam.legs:
            drawn = np.array([seam.legs[0].start, seam.legs[-1].end])
            if np.linalg.norm(drawn - ends, axis=1).max() <= ON_WALL:
                return _numbered(seam, faces)
    return None


def _around(scene: BuiltScene, gap: Gap, key: str, faces: np.ndarray) -> Seam:
    """The line in which the plane of a gap meets its wall, or all walls."""
    assert gap.around is not None
    axis, at = gap.around.plane
    corners, key = scene.triangles.corners[faces], f"{key}.around"
    across = np.eye(3)[axis]
    cuts = plane_cuts(corners, scene.triangles.normals[faces], at * across, across)
    if not cuts:
        low, high = (1000.0 * end for end in (corners[..., axis].min(), corners[..., axis].max()))
        letter, wall = "xyz"[axis], "the box" if gap.wall is None else f"wall {gap.wall}"
        what = f"the plane {letter} = {1000 * at:.4g} mm does not cut {wall}"
        mend = f"give {letter} between {low:.4g} and {high:.4g} mm"
        if high - low < 1000.0 * ON_WALL:  # a lid: its seam runs through the wall round it
            mend = "leave wall out, or name the wall that the slit goes through"
        raise scene_fault(scene, Code.GAP_OFF_WALL, key, what, mend)
    if len(cuts) > 1:
        what = f"the plane meets the wall in {len(cuts)} separate lines"
        mend = "name a wall, or draw each line by from and to"
        raise scene_fault(scene, Code.GAP_OFF_WALL, key, what, mend)
    return _numbered(cuts[0], faces)


def _numbered(seam: Seam, faces: np.ndarray) -> Seam:
    """A seam with faces numbered as in the scene."""
    legs = (Leg(leg.start, leg.end, int(faces[leg.face])) for leg in seam.legs)
    return Seam(tuple(legs), seam.closed)


def _beyond_rim(scene: BuiltScene, gap: Gap, seam: Seam) -> bool:
    """Whether a slit lies beside the wall with part of its width."""
    triangles = scene.triangles
    corners = triangles.corners[triangles.on_wall]
    low, high = corners.min(axis=1), corners.max(axis=1)
    most = BEYOND_RIM * gap.width
    for leg in seam.legs:
        normal, end = triangles.normals[leg.face], min(ON_WALL / leg.length, 0.5)
        half = 0.5 * gap.width * np.cross(leg.end - leg.start, normal) / leg.length
        off = ((leg.start - triangles.corners[leg.face, 0]) @ normal) * normal
        for share in (end, 0.5, 1.0 - end):
            for side in (-half, half):
                place = leg.start + share * (leg.end - leg.start) + side - off
                near = ((low <= place + most) & (high >= place - most)).all(axis=1)
                if not near.any() or _distances(corners[near], place).min() > most:
                    return True
    return False


def _wall_faces(scene: BuiltScene, gap: Gap, key: str) -> np.ndarray:
    """Numbers of the faces of the wall of a gap; of all walls where it names none."""
    triangles = scene.triangles
    named = walls = triangles.walls
    if gap.wall is not None:
        bodies = triangles.bodies
        named = [n for n in walls if gap.wall in (bodies[n].wall, bodies[n].name)][:1]
    if not named:
        known = ", ".join(triangles.bodies[number].short_name for number in walls)
        what, mend = f'no wall "{gap.wall}"', f"walls: {known}"
        raise scene_fault(scene, Code.GAP_NO_WALL, f"{key}.wall", what, mend)
    return np.flatnonzero(np.isin(triangles.face_body, named))


def _distances(corners: np.ndarray, place: np.ndarray) -> np.ndarray:
    """Distances (m) of a place (3,) from triangles (n, 3, 3), (n,)."""
    from trimesh.triangles import closest_point

    many = np.tile(place, (len(corners), 1))
    nearest = closest_point(corners, many)  # type: ignore[no-untyped-call]
    return np.asarray(np.linalg.norm(nearest - place, axis=1))
