"""Unlikely respirators and lamps: a wrong unit, a wrong length, a forgotten key."""

import numpy as np

from raysim.base.fault_codes import Code
from raysim.library.assumptions import assumptions
from raysim.library.lamps import LampType, lamp_like, lamp_types
from raysim.scene.build import BuiltScene
from raysim.scene.file.things import Object
from raysim.scene.file.written import Lamp, SceneAsWritten
from raysim.scene.notes import Notes
from raysim.scene.triangles import SceneTriangles

# Longest side of a respirator with its straps, m (our own estimate, no source).
SMALLEST_RESPIRATOR, LARGEST_RESPIRATOR = 0.06, 0.5
FLAT = 0.0003  # m: a flat thing, thinner than this, is a test coupon and may have any size
FABRIC = "respirator fabric"
# UVC above this share of the mains watts exceeds every published share (our own estimate).
LIKELY_MAINS_SHARE = 0.6
# UVC from an area of tube, against the most that a lamp of the table gives (our own estimate):
# high-output lamps stay below it, lamps with amalgam do not.
MOST_EXITANCE = 1.5


def doubt_likeness(scene: BuiltScene, notes: Notes) -> None:
    """Note lamps and respirators of a built scene that are unlike any real one."""
    written = scene.written
    _doubt_names(notes, written)
    for number, lamp in enumerate(written.lamp):
        key = f'lamp {number + 1} "{lamp.name}"'
        _doubt_lamp(notes, key, lamp, scene.triangles.lamps[number].uvc_W)
    judged = {entry.mesh for entry in written.object if entry.judged}
    for number, entry in enumerate(written.object):
        key = written.object_key(number)
        if entry.judged:
            _doubt_size(notes, key, entry, scene.triangles, written.units)
        elif entry.mesh in judged or FABRIC in (entry.surface, *entry.parts.values()):
            what = (
                "it looks like a respirator and is not judged, so nothing is said about the dose "
                "it gets"
            )
            mend = "set judged = true, or take it out"
            notes.warning(Code.NOT_JUDGED, f"{key}.judged", what, mend)
    for part in scene.triangles.parts:
        body, surface = scene.triangles.bodies[part.body], scene.triangles.surfaces[part.surface]
        if body.kind == "object" and not part.two_sided and surface.transmittance_high > 0.0:
            what = (
                "its surface lets light through, but a closed mesh is a solid, "
                "so that what passes into it would be lost"
            )
            mend = 'give sides = "both" to take it as a thin sheet, such as a sleeve or a bag'
            key = f"{scene.object_key(part.body)}.sides"
            notes.error(Code.SOLID_TRANSMITS, key, what, mend)


def _doubt_names(notes: Notes, written: SceneAsWritten) -> None:
    """Note names of surfaces that fit several, of which the brightest would be taken."""
    chosen = {"chamber.lining": written.chamber.lining}
    chosen |= {f"chamber.walls.{wall}": choice for wall, choice in written.chamber.walls.items()}
    for number, entry in enumerate(written.object):
        chosen[f"{written.object_key(number)}.surface"] = entry.surface
    told: set[str] = set()
    for key, choice in chosen.items():
        if not isinstance(choice, str) or choice.casefold() in told:
            continue
        found = written.find_surface(choice)
        if found.is_loosely(choice):
            told.add(choice.casefold())
            what = f'"{choice}" is taken as "{found.name}", and other kinds reflect less'
            mend = "write the full name of the one that you have; 'raysim materials' lists them"
            notes.warning(Code.LOOSE_NAME, key, what, mend)


def is_coupon(corners: np.ndarray) -> bool:
    """Whether corners (corners, 3), m, lie in a plane, as those of a test coupon do."""
    thinnest = np.linalg.svd(corners - corners.mean(axis=0), compute_uv=False)[-1]
    return bool(thinnest < FLAT * np.sqrt(len(corners)))


def _doubt_size(
    notes: Notes, key: str, entry: Object, triangles: SceneTriangles, units: str
) -> None:
    """Note a size that only a wrong unit or `scale` can give; flat sheets may have any size."""
    corners = triangles.corners_of(triangles.body_called(entry.name)).reshape(-1, 3)
    longest = float(np.ptp(corners, axis=0).max())
    if is_coupon(corners) or SMALLEST_RESPIRATOR <= longest <= LARGEST_RESPIRATOR:
        return
    if any(fault.code is Code.OBJECT_SIZE for fault in notes.faults):
        return  # larger than the box: an error has said so, with the scale to write
    what = f"it is {1000.0 * longest:.3g} mm long, which is not the size of a respirator"
    mend = f'meshes, too, are read in units = "{units}": check scale (now {entry.scale:.6g})'
    notes.warning(Code.RESPIRATOR_SIZE, f"{key}.scale", what, mend)


def _doubt_lamp(notes: Notes, key: str, lamp: Lamp, power: float) -> None:
    """Note a rating like the mains watts of a catalogue lamp, or more than its tube can give."""
    if (
        lamp.electrical is not None
        and power > assumptions()["uvc_share_limit"].value * lamp.electrical
    ):
        return  # reported already
    rating = f"{key}.uvc" if lamp.uvc is not None else f"{key}.irradiance_at_1m"
    arc = float(np.linalg.norm(np.subtract(lamp.end, lamp.start)))
    slip = "look like electrical watts" if lamp.uvc is not None else "would come from so much light"
    kind = _like(lamp, 1000.0 * arc)
    if kind is not None and power > LIKELY_MAINS_SHARE * kind.lamp_W_low:
        what = (
            f"{power:.3g} W {slip}: a {kind.name} lamp of this length gives {kind.uvc_W_low:g} to "
            f"{kind.uvc_W_high:g} W of UVC ({kind.mark})"
        )
        mend = (
            "give UVC watts from the data sheet, or irradiance_at_1m as measured, in its own unit"
        )
        notes.error(Code.MAINS_WATTS, rating, what, mend)
        return
    common = max(map(_exitance, lamp_types().values()))
    times = power / (np.pi * lamp.diameter * arc * lamp.tubes) / common
    if times > MOST_EXITANCE:
        what = (
            f"{power:.3g} W of UVC from a tube of {1000.0 * lamp.diameter:.3g} x "
            f"{1000.0 * arc:.3g} mm is {times:.2g} times what the strongest common lamps give from "
            "such a tube; were it wrong, the time would be too short"
        )
        mend = (
            "check watts, units, from, to and diameter by the data sheet (lamps with amalgam may "
            "give so much)"
        )
        notes.warning(Code.TUBE_TOO_BRIGHT, rating, what, mend)


def _like(lamp: Lamp, arc_mm: float) -> LampType | None:
    """The catalogue lamp of this arc and diameter; else one whose whole tube has this length."""
    tube = (lamp.tubes, 1000.0 * lamp.diameter, arc_mm)
    return lamp.kind or lamp_like(*tube, "tube_length_mm")


def _exitance(kind: LampType) -> float:
    """UVC from the surface of the arc of a catalogue lamp, W/m2 (definition)."""
    area = np.pi * kind.diameter_mm * kind.arc_mm * kind.tubes / 1e6
    return float(kind.uvc_W_high / area)
