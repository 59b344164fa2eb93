"""Objects, lamps, walls and meters that cut or touch each other."""

from dataclasses import replace
from functools import cached_property
from itertools import combinations

import numpy as np

from raysim.base.errors import Fault
from raysim.base.fault_codes import Code
from raysim.base.figures import number
from raysim.base.progress import Progress, nobody_watching
from raysim.base.units import to_mm
from raysim.library.assumptions import assumptions
from raysim.scene.build import BuiltScene
from raysim.scene.check.likely import is_coupon
from raysim.scene.check.surroundings import BEHIND, ODD_DIRECTION, Surroundings, reached
from raysim.scene.file.written import Lamp
from raysim.scene.notes import Notes
from raysim.scene.triangles import METER_LIFT, SIDES, LampTube, SceneTriangles, face_boxes
from raysim.scene.tubes import faces_within, segment_distance, tube_box, tube_points

# m: about the width of a meter's head, by our own choice.
SHADES_ITSELF = 0.03
HEAD = 0.005  # m: nearer to a lamp or the load the head itself has no room; own choice
HELD = 0.02  # m: what hangs is nearer than this to what it hangs on; own choice


def contact_faults(scene: BuiltScene, progress: Progress = nobody_watching) -> list[Fault]:
    """Faults: objects, lamps and meters outside the chamber, cutting or touching each other."""
    triangles = scene.triangles
    kinds = np.array([body.kind for body in triangles.bodies])
    walls = Surroundings(triangles, np.flatnonzero(triangles.on_wall))
    report = _Report(scene)
    objects = np.flatnonzero(kinds == "object")
    for place, body in enumerate(objects):
        progress("looking for what touches or cuts", place, len(objects))
        _check_object(report, walls, int(body))
    for lamp in range(len(triangles.lamps)):
        _check_lamp(report, walls, lamp)
    _check_tubes_apart(report)
    for meter in range(len(triangles.meters)):
        _check_meter(report, walls, meter)
    return report.notes.faults


def _check_meter(report: "_Report", walls: Surroundings, number: int) -> None:
    """A meter point outside the box, or that looks at a wall which its own head would shade."""
    meter = report.triangles.meters[number]
    key = f'meter {number + 1} "{meter.name}"'
    at, ahead = (meter.at + METER_LIFT * meter.facing)[None], meter.facing[None]
    if not walls.seen_from_inside(at)[0]:
        what = "the point lies outside the box"
        report.notes.error(Code.OUTSIDE_BOX, f"{key}.at", what, _inwards(report, "it"))
    elif in_the_way := _who_is_at(report, meter.at):
        what = f"the point is in or right at {in_the_way}, where no head has room"
        mend = f"move it {to_mm(HEAD):.0f} mm away"
        note = report.notes.warning if meter.reading is None else report.notes.error
        note(Code.METER_IN_THE_WAY, f"{key}.at", what, mend)
    elif (face := walls.first(at, ahead, np.array([SHADES_ITSELF]))[0]) >= 0:
        what = (
            f"its head looks at {report.names(np.array([face]))}, less than "
            f"{to_mm(SHADES_ITSELF):.0f} mm off, and would shade what it is to read"
        )
        mend = "turn it into the box, or move it away from the wall"
        report.notes.warning(Code.METER_FACES_WALL, f"{key}.facing", what, mend)


def _who_is_at(report: "_Report", at: np.ndarray) -> str:
    """Name of a lamp or an object that reaches within HEAD of a point; "" where none does."""
    triangles, stay = report.triangles, LampTube(0, at, at + [0.0, 0.0, 1e-9], 0.0)
    for tube in triangles.tubes:
        if segment_distance(stay, tube) < tube.radius + HEAD:
            return f'lamp "{triangles.lamps[tube.lamp].name}"'
    if (around := report.objects) is None:
        return ""
    ways = np.concatenate([np.eye(3), -np.eye(3)])
    met = around.first(np.tile(at, (6, 1)), ways, np.full(6, HEAD))
    within = around.first(at[None], ODD_DIRECTION[None], np.array([np.inf]))
    two_sided = np.array([part.two_sided for part in triangles.parts])[triangles.face_part]
    from_behind = (triangles.normals[within] @ ODD_DIRECTION > 0.0) & ~two_sided[within]
    met = np.concatenate([met[met >= 0], within[(within >= 0) & from_behind]])
    return report.names(met) if len(met) else ""


class _Report:
    """Faults of one scene, with keys in the user's words."""

    def __init__(self, scene: BuiltScene) -> None:
        self.scene = scene
        self.triangles = scene.triangles
        self.low, self.high = face_boxes(scene.triangles.corners)
        self.notes = Notes(str(scene.name))
        self._told: set[frozenset[int]] = set()

    @cached_property
    def objects(self) -> Surroundings | None:
        """All objects, to cast rays against; None where there is none."""
        kinds = np.array([body.kind for body in self.triangles.bodies])[self.triangles.face_body]
        faces = np.flatnonzero(kinds == "object")
        return Surroundings(self.triangles, faces) if len(faces) else None

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

    def apart(self, faces: np.ndarray, others: np.ndarray) -> np.ndarray:
        """Distances (faces,), m, of the boxes of some faces from the box around `others`."""
        low, high = self.low[others].min(axis=0), self.high[others].max(axis=0)
        gaps = np.maximum(self.low[faces] - high, low - self.high[faces])
        return np.asarray(np.linalg.norm(np.maximum(gaps, 0.0), axis=1))

    def names(self, faces: np.ndarray) -> str:
        """Names of the bodies that some faces belong to."""
        bodies = np.unique(self.triangles.face_body[faces])
        return ", ".join(self.triangles.bodies[body].name for body in bodies)


def _edges(corners: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Start and end (edges, 3) of every edge of some faces."""
    starts = corners.reshape(-1, 3)
    return starts, np.roll(corners, -1, axis=1).reshape(-1, 3)


def _inwards(report: _Report, what: str) -> str:
    """Mend of what lies outside; of a mesh with its reach, as its origin may be anywhere."""
    if report.scene.written.chamber.inside is not None:
        return f"move {what} inside"
    ends = zip("xyz", *report.triangles.box, strict=True)
    reach = ", ".join(f"{axis} {to_mm(a):.4g} to {to_mm(b):.4g}" for axis, a, b in ends)
    return f"move {what} inside; the mesh of the box reaches from {reach} mm"


def _check_object(report: _Report, walls: Surroundings, body: int) -> None:
    triangles = report.triangles
    faces = triangles.faces_of(body)
    judged = triangles.bodies[body].judged
    corners = triangles.corners[faces]
    inside = walls.seen_from_inside(corners.reshape(-1, 3))
    at = f"{report.scene.object_key(body)}.at"
    if not inside.any():
        mend = _inwards(report, "it")
        report.notes.error(Code.OUTSIDE_BOX, at, "it lies outside the box", mend)
        return
    cut = walls.crossed(*_edges(corners))
    if not inside.all() or len(cut):
        what = f"it cuts through {report.names(cut) if len(cut) else 'a wall'}"
        what += _beyond_words(report.scene, corners)
        note = report.notes.error if judged else report.notes.warning
        note(Code.CUTS_WALL, at, what, "move it inside, or shorten the mesh")
    others = ~triangles.on_wall & (triangles.face_body != body)
    near = report.near(np.flatnonzero(others), faces)
    if len(near):
        crossed = Surroundings(triangles, near).crossed(*_edges(corners))
        if len(crossed) and report.is_news(body, crossed):
            what = f"it cuts into {report.names(crossed)}"
            both = judged and any(triangles.bodies[b].judged for b in triangles.face_body[crossed])
            note = report.notes.error if both else report.notes.warning  # no two share a place
            note(Code.CUTS_OTHER, at, what, "move them apart")
    if judged:
        _check_held(report, body, faces, at)
        _check_touching(report, body, faces, at)


def _check_held(report: _Report, body: int, faces: np.ndarray, at: str) -> None:
    """A judged object that hangs in the air although hooks or shelves are drawn.

    It is held at its top or stands on its lowest part: the box around a strap is wide, and a hook
    in it may be far from all of it. A coupon may hang in the air: it is held by a wire.
    """
    triangles = report.triangles
    drawn = np.array([one.kind == "object" and not one.judged for one in triangles.bodies])
    around = np.flatnonzero(drawn[triangles.face_body] | triangles.on_wall)
    below, above = report.low[faces], report.high[faces]
    tops = faces[above[:, 2] > above[:, 2].max() - HELD]
    feet = faces[below[:, 2] < below[:, 2].min() + HELD]
    off = np.minimum(*(report.apart(around, own) for own in (tops, feet)))
    is_held = off.min() < HELD
    if not drawn.any() or is_held or is_coupon(triangles.corners[faces].reshape(-1, 3)):
        return
    off = np.where(drawn[triangles.face_body[around]], off, np.inf)
    nearest = report.names(around[[off.argmin()]])
    what = f"nothing holds it: {nearest}, {to_mm(off.min()):.0f} mm off, is the nearest that could"
    mend = "hang it on its hook; where they touch is often the darkest spot"
    report.notes.warning(Code.NOTHING_HOLDS_IT, at, what, mend)


def _beyond_words(scene: BuiltScene, corners: np.ndarray) -> str:
    """By how much (mm) an object or a lamp reaches out of a rectangular box; "" in any other."""
    inside = scene.written.chamber.inside
    if inside is None:
        return ""
    points = corners.reshape(-1, 3)
    beyond = max(float(-points.min()), float((points - np.asarray(inside)).max()))
    return f" by {number(to_mm(beyond), 2)} mm" if beyond > 0.0 else ""


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
        verb = "lies" if lying.sum() == 1 else "lie"
        what = (
            f"{_count(triangles, faces[lying])} {verb} right on {report.names(upon[lying])}, so "
            "that light meets one or the other by chance"
        )
        mend = "move it by a millimetre, or delete one"
        report.notes.error(Code.LIES_ON_OTHER, at, what, mend)
    for side in range(len(SIDES)):
        found = others.touching(faces, side)
        close = triangles.judged[faces, side] & ~lying & (found >= 0)
        if close.any():
            verb = "touches" if close.sum() == 1 else "touch"
            what = (
                f"{_count(triangles, faces[close])} of its {SIDES[side]} {verb} "
                f"{report.names(found[close])}, where no light can reach them"
            )
            report.notes.warning(Code.TOUCHES_OTHER, at, what, "leave a gap, or turn it")


def _count(triangles: SceneTriangles, faces: np.ndarray) -> str:
    noun = "face" if len(faces) == 1 else "faces"
    return f"{len(faces):,} {noun} ({number(1e4 * triangles.areas[faces].sum(), 2)} cm2)"


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
        what = f"the lamp {where}{_beyond_words(report.scene, points)}"
        report.notes.error(code, key, what, _inwards(report, "its ends"))
        return
    everyone, cut = np.arange(len(triangles.areas)), np.zeros(0, np.int64)
    for tube in tubes:
        near = report.within(everyone, *tube_box(tube))
        cut = np.union1d(cut, near[faces_within(triangles.corners[near], tube)])
    if len(cut):
        what = f"the lamp cuts into {report.names(cut)}"
        report.notes.error(Code.CUTS_OTHER, key, what, "move them apart")


def _check_tubes_apart(report: _Report) -> None:
    """Lamps whose tubes cut each other, or whose caps do."""
    lamps, tubes = report.scene.written.lamp, report.triangles.tubes
    capped = [_with_caps(tube, lamps[tube.lamp]) for tube in tubes]
    for i, j in combinations(range(len(tubes)), 2):
        first, other = lamps[tubes[i].lamp], lamps[tubes[j].lamp]
        if first is other:
            continue
        reach = tubes[i].radius + tubes[j].radius
        key = f'lamp {tubes[i].lamp + 1} "{first.name}".from'
        if segment_distance(tubes[i], tubes[j]) < reach:
            what = f'the lamp cuts into lamp "{other.name}"'
            report.notes.error(Code.CUTS_OTHER, key, what, "move them apart")
        elif segment_distance(capped[i], capped[j]) < reach:
            over = [to_mm(lamp.beyond) for lamp in (first, other) if lamp.beyond is not None]
            what = (
                f'there is no room for its cap and that of lamp "{other.name}": lamps of this size '
                f"reach some {max(over):.0f} mm beyond the arc, pins and holders farther"
            )
            mend = "move them apart, or check from and to: they are the ends of the glowing arc"
            report.notes.warning(Code.CAPS_MEET, key, what, mend)


def _with_caps(tube: LampTube, lamp: Lamp) -> LampTube:
    """A tube with a cap and its pins at either end; as it is where they are not known.

    Which end of a lamp with a single cap that is the scene does not say.
    """
    if lamp.beyond is None or lamp.tubes > 1:
        return tube
    more = lamp.beyond + 0.001 * assumptions()["lamp_pins_mm"].value - tube.radius  # ends are flat
    way = tube.axis
    return replace(tube, start=tube.start - more * way, end=tube.end + more * way)
