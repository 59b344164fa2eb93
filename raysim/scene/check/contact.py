"""Objects, lamps, walls and meters that cut or touch each other."""

import numpy as np

from raysim.base.errors import Fault
from raysim.base.fault_codes import Code
from raysim.base.progress import Progress, nobody_watching
from raysim.scene.build import BuiltScene
from raysim.scene.check.surroundings import BEHIND, Surroundings, reached
from raysim.scene.notes import Notes
from raysim.scene.triangles import METER_LIFT, SIDES, SceneTriangles, face_boxes
from raysim.scene.tubes import faces_within, segment_distance, tube_box, tube_points


def contact_faults(scene: BuiltScene, progress: Progress = nobody_watching) -> list[Fault]:
    """Faults: objects, lamps and meters outside the chamber, cutting or touching each other."""
    triangles = scene.triangles
    kinds = np.array([body.kind for body in triangles.bodies])
    face_kind = kinds[triangles.face_body]
    walls = Surroundings(triangles, np.flatnonzero(face_kind == "wall"))
    report = _Report(scene)
    objects = np.flatnonzero(kinds == "object")
    for number, body in enumerate(objects):
        progress("looking for what touches or cuts", number, len(objects))
        _check_object(report, walls, int(body))
    for number in range(len(triangles.lamps)):
        _check_lamp(report, walls, number)
    _check_tubes_apart(report)
    for number, meter in enumerate(triangles.meters):
        if not walls.seen_from_inside((meter.at + METER_LIFT * meter.facing)[None])[0]:
            key = f'meter {number + 1} "{meter.name}".at'
            what = "the point lies outside the box"
            report.notes.error(Code.OUTSIDE_BOX, key, what, "move it inside")
    return report.notes.faults


class _Report:
    """Faults of one scene, with keys in the user's words."""

    def __init__(self, scene: BuiltScene) -> None:
        self.scene = scene
        self.triangles = scene.triangles
        self.low, self.high = face_boxes(scene.triangles.corners)
        self.notes = Notes(str(scene.path))
        self._told: set[frozenset[int]] = set()

    def is_news(self, body: int, faces: np.ndarray) -> bool:
        """Whether `body` and a body of `faces` are a pair that is not reported yet."""
        others = np.unique(self.triangles.face_body[faces]).tolist()
        pairs = {frozenset((body, int(other))) for other in others}
        news = not pairs <= self._told
        self._told |= pairs
        return news

    def near(self, faces: np.ndarray, body_faces: np.ndarray) -> np.ndarray:
        """Those of `faces` whose boxes come within reach of the box around `body_faces`."""
        return self.within(
            faces, self.low[body_faces].min(axis=0), self.high[body_faces].max(axis=0)
        )

    def within(self, faces: np.ndarray, low: np.ndarray, high: np.ndarray) -> np.ndarray:
        """Those of `faces` whose boxes come within reach of the box from `low` to `high` (3,)."""
        return reached((self.low, self.high), faces, low, high)

    def names(self, faces: np.ndarray) -> str:
        """Names of the bodies that some faces belong to."""
        bodies = np.unique(self.triangles.face_body[faces])
        return ", ".join(self.triangles.bodies[body].name for body in bodies)


def _edges(corners: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Start and end (edges, 3) of every edge of some faces."""
    starts = corners.reshape(-1, 3)
    return starts, np.roll(corners, -1, axis=1).reshape(-1, 3)


def _check_object(report: _Report, walls: Surroundings, body: int) -> None:
    triangles = report.triangles
    faces = triangles.faces_of(body)
    judged = triangles.bodies[body].judged
    corners = triangles.corners[faces]
    inside = walls.seen_from_inside(corners.reshape(-1, 3))
    at = f"{report.scene.object_key(body)}.at"
    if not inside.any():
        report.notes.error(Code.OUTSIDE_BOX, at, "it lies outside the box", "move it inside")
        return
    cut = walls.crossed(*_edges(corners))
    if not inside.all() or len(cut):
        what = f"it cuts through {report.names(cut) if len(cut) else 'a wall'}"
        note = report.notes.error if judged else report.notes.warning
        note(Code.CUTS_WALL, at, what, "move it inside, or shorten the mesh")
    is_wall = np.array([one.kind == "wall" for one in triangles.bodies])
    others = ~is_wall & (np.arange(len(is_wall)) != body)
    near = report.near(np.flatnonzero(others[triangles.face_body]), faces)
    if len(near):
        crossed = Surroundings(triangles, near).crossed(*_edges(corners))
        if len(crossed) and report.is_news(body, crossed):
            what = f"it cuts into {report.names(crossed)}"
            report.notes.warning(Code.CUTS_OTHER, at, what, "move them apart")
    if judged:
        _check_touching(report, body, faces, at)


def _check_touching(report: _Report, body: int, faces: np.ndarray, at: str) -> None:
    """Judged face-sides with another body's surface right in front of them."""
    triangles = report.triangles
    foreign = report.near(np.flatnonzero(triangles.face_body != body), faces)
    if not len(foreign):
        return
    others = Surroundings(triangles, foreign)
    middles, normals = triangles.centroids[faces], triangles.normals[faces]
    upon = others.first(middles - BEHIND * normals, normals, np.full(len(faces), 2.0 * BEHIND))
    lying = triangles.judged[faces].any(axis=1) & (upon >= 0)
    if lying.any():
        what = (
            f"{_count(triangles, faces[lying])} lie right on {report.names(upon[lying])}, so that "
            "light meets one or the other by chance"
        )
        mend = "move it by a millimetre, or delete one"
        report.notes.error(Code.LIES_ON_OTHER, at, what, mend)
    for side in range(len(SIDES)):
        found = others.touching(faces, side)
        close = triangles.judged[faces, side] & ~lying & (found >= 0)
        if close.any():
            what = (
                f"{_count(triangles, faces[close])} of its {SIDES[side]} touch "
                f"{report.names(found[close])}, where no light can reach them"
            )
            report.notes.warning(Code.TOUCHES_OTHER, at, what, "leave a gap, or turn it")


def _count(triangles: SceneTriangles, faces: np.ndarray) -> str:
    return f"{len(faces)} faces ({1e4 * triangles.areas[faces].sum():.2g} cm2)"


def _check_lamp(report: _Report, walls: Surroundings, number: int) -> None:
    triangles = report.triangles
    key = f'lamp {number + 1} "{triangles.lamps[number].name}".from'
    tubes = [tube for tube in triangles.tubes if tube.lamp == number]
    points = np.concatenate([tube_points(tube) for tube in tubes])  # rings, along, 3
    inside = walls.seen_from_inside(points.reshape(-1, 3))
    if not inside.all():
        code, where = Code.CUTS_WALL, "cuts through a wall"
        if not inside.any():
            code, where = Code.OUTSIDE_BOX, "lies outside the box"
        report.notes.error(code, key, f"the lamp {where}", "move its ends inside")
        return
    everyone, cut = np.arange(len(triangles.areas)), np.zeros(0, np.int64)
    for tube in tubes:
        near = report.within(everyone, *tube_box(tube))
        cut = np.union1d(cut, near[faces_within(triangles.corners[near], tube)])
    if len(cut):
        what = f"the lamp cuts into {report.names(cut)}"
        report.notes.error(Code.CUTS_OTHER, key, what, "move them apart")


def _check_tubes_apart(report: _Report) -> None:
    """Tubes of different lamps that cut each other."""
    tubes = report.triangles.tubes
    for i, a in enumerate(tubes):
        for b in tubes[i + 1 :]:
            if a.lamp != b.lamp and segment_distance(a, b) < a.radius + b.radius:
                names = [report.triangles.lamps[tube.lamp].name for tube in (a, b)]
                key = f'lamp {a.lamp + 1} "{names[0]}".from'
                what = f'the lamp cuts into lamp "{names[1]}"'
                report.notes.error(Code.CUTS_OTHER, key, what, "move them apart")
