"""A small made-up result: a box, two hemispheres with straps, a hook, two lamp tubes.

The irradiance is invented (line sources without shadows), so that the tests of pictures and
report need no tracing.
"""

from dataclasses import replace

import numpy as np

from raysim.base.cases import BRIGHT, CASES, CAUTIOUS, EXPECTED
from raysim.base.errors import Fault, Level
from raysim.base.fault_codes import Code
from raysim.dose.agreement import with_readings
from raysim.dose.exposure import WarmUpCurve, exposure_time
from raysim.dose.readings import MeterResult
from raysim.dose.result import CaseResult, DoseSummary, EnergyAccount, Result, Spot
from raysim.library.surfaces import find_surface
from raysim.output.words.answer import head_lines, rows
from raysim.scene.place import BOX_WALLS, box_vertices
from raysim.scene.triangles import (
    SIDES,
    Body,
    LampRating,
    LampTube,
    MeterPoint,
    Part,
    SceneTriangles,
    wall_body,
)
from raysim.verdict.rules import with_verdict

INSIDE_BOX = (0.30, 0.25, 0.35)  # m
TARGET, SAFETY = 10_000.0, 1.2
WARM_UP = WarmUpCurve((0.0, 300.0), (0.5, 1.0))
FACTORS = {CAUTIOUS: 0.68, EXPECTED: 1.0, BRIGHT: 1.0}
REFLECTED = {CAUTIOUS: 0.8, EXPECTED: 1.0, BRIGHT: 1.2}


def hemisphere(centre: tuple[float, float, float], radius: float, steps: int = 12) -> np.ndarray:
    """Open cup whose outside faces -y, (n, 3, 3), m."""
    theta = np.linspace(0.02, 0.5 * np.pi, steps + 1)[:, None]
    phi = np.linspace(0.0, 2.0 * np.pi, 2 * steps + 1)[None]
    y = -np.cos(theta) * np.ones_like(phi)
    points = np.stack([np.sin(theta) * np.cos(phi), y, np.sin(theta) * np.sin(phi)], axis=-1)
    return _grid(np.asarray(centre) + radius * points)


def strap(centre: tuple[float, float, float], radius: float) -> np.ndarray:
    """Flat loop over the cup, (n, 3, 3), m."""
    angle = np.linspace(0.15 * np.pi, 0.85 * np.pi, 13)
    arc = np.stack([np.cos(angle), np.zeros(13), 1.4 * np.sin(angle)], axis=-1)
    return _grid(np.asarray(centre) + radius * np.stack([arc, 1.08 * arc]))


def _grid(points: np.ndarray) -> np.ndarray:
    a, b, c, d = points[:-1, :-1], points[1:, :-1], points[1:, 1:], points[:-1, 1:]
    corners = np.concatenate([np.stack([a, b, c], axis=2), np.stack([a, c, d], axis=2)])
    return corners.reshape(-1, 3, 3)


def triangles(names: tuple[str, str] = ("respirator 1", "respirator 2")) -> SceneTriangles:
    """The scene; the two judged objects are called `names`."""
    corners, face_part, judged = [], [], []
    bodies: list[Body] = []
    parts: list[Part] = []

    def add(shape: np.ndarray, body: int, name: str, surface: int, is_judged: bool) -> None:
        parts.append(Part(body, name, surface, is_judged))
        corners.append(shape)
        face_part.append(np.full(len(shape), len(parts) - 1, np.int32))
        judged.append(np.full((len(shape), 2), is_judged))

    box = box_vertices(INSIDE_BOX)
    for name, faces in BOX_WALLS.items():
        bodies.append(wall_body(name))
        add(box[np.array(faces)], len(bodies) - 1, "", 0, False)
    bodies.append(Body("hook", "object"))
    hook = box_vertices((0.01, 0.03, 0.01))[np.array(list(BOX_WALLS.values())).reshape(-1, 3)]
    add(hook[:, ::-1] + [0.145, 0.11, 0.30], len(bodies) - 1, "", 1, False)
    for name, x in zip(names, (0.085, 0.215), strict=True):
        bodies.append(Body(name, "object", judged=True))
        centre = (x, 0.125, 0.16)
        add(hemisphere(centre, 0.05), len(bodies) - 1, "shell", 2, True)
        add(strap(centre, 0.053), len(bodies) - 1, "straps", 3, True)
    lamps, tubes = [], []
    for k, (name, y) in enumerate((("front lamp", 0.03), ("rear lamp", 0.22))):
        bodies.append(Body(f"lamp: {name}", "lamp"))
        lamps.append(LampRating(name, 2.4, 100.0 * k, len(bodies) - 1, 4))
        ends = np.array([[0.05, y, 0.32], [0.25, y, 0.32]])
        tubes.append(LampTube(k, ends[0], ends[1], 0.008))
    whole = np.concatenate(corners)
    cross = np.cross(whole[:, 1] - whole[:, 0], whole[:, 2] - whole[:, 0])
    length = np.linalg.norm(cross, axis=1)
    surfaces = ("foil", "stainless steel sheet", "respirator fabric", "strap", "lamp tube")
    return SceneTriangles(
        whole,
        cross / length[:, None],
        0.5 * length,
        np.concatenate(face_part),
        np.concatenate(judged),
        tuple(parts),
        tuple(bodies),
        tuple(find_surface(name) for name in surfaces),
        tuple(lamps),
        tuple(tubes),
    )


def lamp_irradiance(scene: SceneTriangles) -> np.ndarray:
    """Invented irradiance (cases, lamps, faces, 2), W/m2: line sources and an even part."""
    direct = np.zeros((len(scene.lamps), len(scene.areas), 2))
    sides = np.stack([scene.normals, -scene.normals], axis=1)
    for tube in scene.tubes:
        for share in np.linspace(0.0, 1.0, 11):
            to_lamp = tube.start + share * (tube.end - tube.start) - scene.centroids
            distance = np.linalg.norm(to_lamp, axis=1)
            cosine = np.einsum("fsk,fk->fs", sides, to_lamp / distance[:, None]).clip(0.0)
            direct[tube.lamp] += 0.03 * cosine / distance[:, None] ** 2
    return np.stack([direct + REFLECTED[case] for case in CASES])


def result(
    names: tuple[str, str] = ("respirator 1", "respirator 2"),
    dark: bool = False,
    title: str = "Test box",
) -> Result:
    """The whole result; `dark` leaves the middle of the second cup's inside without light."""
    scene = triangles(names)
    by_lamp = lamp_irradiance(scene)
    if dark:
        deep = np.linalg.norm(scene.centroids - [0.215, 0.075, 0.16], axis=1) < 0.015
        by_lamp[:, :, deep, 1] = 0.0
    cases = {
        case: case_result(scene, case, by_lamp[k].sum(axis=0) * FACTORS[case])
        for k, case in enumerate(CASES)
    }
    fault = Fault(
        Code.LAMP_PAST_LIFE,
        "box.toml",
        "lamp 2 hours",
        "older than rated",
        "change it",
        Level.WARNING,
    )
    point = MeterPoint("middle", np.array([0.15, 0.12, 0.1]), np.array([0.0, 0.0, 1.0]), None)
    shown = np.array([[8.0, 10.0], [11.0, 14.0], [13.0, 17.0]])
    meter = MeterResult(point, shown, np.ones(2), 0.5, np.array([4.0, 6.0]))
    whole = Result(
        title=title,
        sha256="0123456789abcdef" * 4,
        raysim_version="0.1.0",
        seed=7,
        triangles=scene,
        target_dose=TARGET,
        safety_factor=SAFETY,
        warm_up=WARM_UP,
        confidence=0.95,
        photons=1_000_000,
        paths=5_000,
        segments=9_000_000,
        seconds=1.5,
        precision_asked=0.05,
        lamp_irradiance=by_lamp,
        lamp_standard_error=0.01 * by_lamp,
        refined=np.zeros_like(scene.judged),
        cases=cases,
        meters=(meter,),
        warnings=(fault,),
        assumptions=(("target dose", "1 J/cm2", "somebody (read)"),),
    )
    return with_verdict(whole)


def read(whole: Result, *readings: float | None) -> Result:
    """The result with one meter point for each of `readings`, W/m2, judged as a run judges them."""
    (meter,) = whole.meters
    meters = tuple(
        replace(meter, point=replace(meter.point, name=f"point {k + 1}", reading=reading))
        for k, reading in enumerate(readings)
    )
    return with_verdict(with_readings(replace(whole, meters=meters, verdict=None)))


def lines_of(whole: Result) -> list[str]:
    """What is read first of a result, once it is judged: the head, then where it comes from."""
    judged = with_verdict(whole)
    return [*head_lines(judged), *(line for _, line in rows(judged))]


def case_result(scene: SceneTriangles, name: str, irradiance: np.ndarray) -> CaseResult:
    """Everything judged of one case from its irradiance (faces, 2), W/m2, with 1 % errors."""
    masks = {
        body.name: scene.judged & (scene.face_body == k)[:, None]
        for k, body in enumerate(scene.bodies)
        if body.judged
    }
    worst = {name: _spot(scene, irradiance, mask, np.inf) for name, mask in masks.items()}
    darkest = min(worst.values(), key=lambda spot: spot.irradiance)
    bound = 0.97 * darkest.irradiance
    watts = FACTORS[name] * sum(lamp.uvc_W for lamp in scene.lamps)
    absorbed = {body.name: 0.999 * watts / len(scene.bodies) for body in scene.bodies}
    return CaseResult(
        name=name,
        lamp_factor=FACTORS[name],
        irradiance=irradiance,
        standard_error=0.01 * irradiance,
        worst=darkest,
        best=_spot(scene, irradiance, scene.judged, -np.inf),
        bound=bound,
        exposure_time=exposure_time(bound, TARGET, SAFETY, WARM_UP),
        precision=0.03 if darkest.irradiance else 1.0,
        summary=_summary(scene, irradiance, "all judged faces", scene.judged),
        per_object=tuple(_summary(scene, irradiance, n, mask) for n, mask in masks.items()),
        worst_per_object=tuple(worst.values()),
        energy=EnergyAccount(watts, absorbed, 0.001 * watts, 0.0),
        worst_per_part=_worst_of_parts(scene, irradiance),
    )


def _worst_of_parts(scene: SceneTriangles, irradiance: np.ndarray) -> tuple[Spot, ...]:
    """Darkest spot of the shell and of the straps of each object, darkest first."""
    masks = (scene.judged & (scene.face_part == k)[:, None] for k in range(len(scene.parts)))
    spots = [_spot(scene, irradiance, mask, np.inf) for mask in masks if mask.any()]
    return tuple(sorted(spots, key=lambda spot: spot.irradiance))


def _spot(scene: SceneTriangles, values: np.ndarray, mask: np.ndarray, outside: float) -> Spot:
    """Darkest face-side of a mask, or the brightest where `outside` is -inf."""
    flat = np.where(mask, values, outside).reshape(-1)
    place = flat.argmin() if outside > 0.0 else flat.argmax()
    face, side = divmod(int(place), 2)
    part = scene.parts[scene.face_part[face]]
    value = float(values[face, side])
    return Spot(
        scene.bodies[part.body].name,
        part.name,
        SIDES[side],
        face,
        scene.centroids[face],
        "lower left",
        value,
        0.01 * value,
        0.98 * value,
    )


def _summary(scene: SceneTriangles, values: np.ndarray, name: str, mask: np.ndarray) -> DoseSummary:
    chosen, areas = values[mask], np.repeat(scene.areas[:, None], 2, axis=1)[mask]
    low = float(chosen.min())
    one, five = (float(np.percentile(chosen, p)) for p in (1, 5))
    mean = float(np.average(chosen, weights=areas))
    return DoseSummary(
        name, float(areas.sum()), low, 0.97 * low, 1.1 * low, one, five, mean, float(chosen.max())
    )


def with_case(whole: Result, case: str, irradiance: np.ndarray) -> Result:
    """The result with other irradiance (faces, 2) in one case; what was judged stays."""
    changed = replace(whole.cases[case], irradiance=irradiance)
    return replace(whole, cases={**whole.cases, case: changed})
