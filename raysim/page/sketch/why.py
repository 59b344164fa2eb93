"""Why is this spot dark? What it sees of each lamp, what is in the way, and what a change brings.

The spot is what lies within 1 cm2 of the face-side that was touched, in the first pose of the load.
"""

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np

from raysim.base.units import to_mm, to_mW_cm2
from raysim.page.sketch.light import SEED, Sketch
from raysim.scene.build import BuiltScene, build_scene
from raysim.scene.triangles import SIDES, SceneTriangles
from raysim.studies.shadows.patches import patch_of
from raysim.studies.shadows.view import View
from raysim.transport.kernel_scene import KernelScene
from raysim.transport.options import RunOptions
from raysim.transport.paths import traced_irradiance
from raysim.transport.starts import Start

PATHS = 24  # of each batch: some per cent on a spot
SAME_PLACE = 1e-6  # m
# Changes that are tried: degrees about the upright, and m to the right, to the back and up.
TURNS = (-45.0, 45.0, 180.0)
MOVES = ((-0.04, 0, 0), (0.04, 0, 0), (0, -0.04, 0), (0, 0.04, 0), (0, 0, 0.04), (0, 0, -0.04))
WAYS = ("to the left", "to the right", "to the door", "to the back", "up", "down")


def why(sketch: Sketch, face: int, side: int) -> dict[str, Any] | None:
    """Light of a spot by lamp and by its ways, and sight lines to the lamps; None if not judged.

    Irradiance in mW/cm2, shares 0 to 1, places in mm.
    """
    triangles, sites = sketch.triangles, sketch.sites
    found = np.flatnonzero((sites.faces == face) & (sites.sides == side))
    if not len(found):
        return None
    members = sites.faces[sites.patches.members(int(found[0]))]
    start, arrays = _start(members, side), sketch.arrays[0]
    whole = _traced(sketch, arrays, triangles, start)
    direct = _traced(sketch, _black(arrays), triangles, start)
    sharp = _traced(sketch, _sharp(arrays), triangles, start)
    mean, error = whole.sum(axis=1).mean(), whole.sum(axis=1).std(ddof=1) / np.sqrt(len(whole))
    total = max(float(mean), 1e-30)
    shares = [float(one.sum(axis=1).mean()) / total for one in (direct, sharp)]
    straight = min(shares[0], 1.0)
    mirrored = min(max(shares[1] - shares[0], 0.0), 1.0 - straight)
    view = View(triangles, patch_of(triangles, members, side))
    part = triangles.parts[triangles.face_part[face]]
    return {
        "object": triangles.bodies[part.body].name,
        "part": part.name,
        "side": SIDES[side],
        "at": _mm(triangles.centroids[face]),
        "irradiance": float(to_mW_cm2(mean)),
        "error": float(error) / total,
        "direct": straight,
        "mirrored": mirrored,
        "scattered": max(1.0 - straight - mirrored, 0.0),
        "lamps": [
            {
                "lamp": sight.lamp,
                "share": float(whole[:, lamp].mean()) / total,
                "seen": sight.seen,
                "hidden": [[name, share] for name, share in sight.hidden.items()][:3],
                "to": _mm(_middle(triangles, lamp)),
            }
            for lamp, sight in enumerate(view.sights())
        ],
    }


def changes(sketch: Sketch, face: int, side: int) -> Iterator[dict[str, Any]]:
    """What each change of the touched thing would bring to the spot, as a factor of its light.

    By the sketch alone: whether the thing would then touch another is not looked at.
    """
    sites = sketch.sites
    site = int(np.flatnonzero((sites.faces == face) & (sites.sides == side))[0])
    members = sites.faces[sites.patches.members(site)]
    before = _light(sketch, sketch.arrays[0], sketch.triangles, members, side)
    scene, body = sketch.scene, sketch.triangles.face_body[face]
    name = sketch.triangles.bodies[int(body)].name
    tried = [(f"turned by {turn:g}°", turn, (0.0, 0.0, 0.0)) for turn in TURNS]
    tried += [(f"40 mm {way}", 0.0, move) for way, move in zip(WAYS, MOVES, strict=True)]
    for words, turn, move in tried:
        other = Sketch(_changed(scene, name, turn, move), 1)
        after = _light(other, other.arrays[0], other.triangles, members, side)
        yield {"change": words, "factor": after / max(before, 1e-30)}


def _changed(
    scene: BuiltScene, name: str, turn: float, move: tuple[float, float, float]
) -> BuiltScene:
    """The scene with a thing, and what hangs at its place, turned about the upright and moved."""
    written = scene.written
    own = next(entry for entry in written.object if entry.name == name)
    entries = []
    for entry in written.object:
        if max(abs(a - b) for a, b in zip(entry.at, own.at, strict=True)) < SAME_PLACE:
            at = tuple(a + b for a, b in zip(entry.at, move, strict=True))
            turned = (*entry.turn[:2], entry.turn[2] + turn)
            entry = entry.model_copy(update={"at": at, "turn": turned})
        entries.append(entry)
    return build_scene(scene.path, written.model_copy(update={"object": entries, "pose": []}))


def _start(members: np.ndarray, side: int) -> Start:
    faces = tuple(members.tolist())
    return Start(2 * faces[0] + side, faces, (side,) * len(faces))


def _light(
    sketch: Sketch, arrays: KernelScene, triangles: SceneTriangles, members: np.ndarray, side: int
) -> float:
    return float(_traced(sketch, arrays, triangles, _start(members, side)).sum(axis=1).mean())


def _traced(
    sketch: Sketch, arrays: KernelScene, triangles: SceneTriangles, start: Start
) -> np.ndarray:
    """Cautious irradiance by batch and lamp, W/m2, (batches, lamps)."""
    options = RunOptions(SEED, sketch.photons.threads)
    found = traced_irradiance(arrays, triangles, [start], PATHS, options)
    return np.asarray(found.batches[0, ..., 0] * sketch.factors)


def _black(arrays: KernelScene) -> KernelScene:
    """Arrays whose surfaces send nothing back; Fresnel's, which have no number, are plain ones."""
    s = arrays.surfaces
    nothing = np.zeros_like(s.reflectance)
    black = s._replace(kind=np.zeros_like(s.kind), reflectance=nothing, transmittance=nothing)
    return replace(arrays, surfaces=black)


def _sharp(arrays: KernelScene) -> KernelScene:
    """Arrays whose surfaces send back only what they mirror."""
    s = arrays.surfaces
    mirrors = s._replace(
        reflectance=s.reflectance * s.lobe,
        transmittance=np.zeros_like(s.transmittance),
        lobe=np.ones_like(s.lobe),
    )
    return replace(arrays, surfaces=mirrors)


def _middle(triangles: SceneTriangles, lamp: int) -> np.ndarray:
    ends = [0.5 * (tube.start + tube.end) for tube in triangles.tubes if tube.lamp == lamp]
    return np.asarray(np.mean(ends, axis=0))


def _mm(point: np.ndarray) -> list[float]:
    return [round(float(x), 1) for x in to_mm(point)]
