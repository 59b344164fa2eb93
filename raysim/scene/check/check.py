"""Everything wrong or doubtful in a built scene, found before any tracing."""

from dataclasses import replace

import numpy as np

from raysim.base.errors import Fault, Level
from raysim.base.fault_codes import Code
from raysim.base.progress import Progress, nobody_watching, stretch
from raysim.library.assumptions import assumptions
from raysim.library.temperature import HARD_START
from raysim.scene.build import BuiltScene
from raysim.scene.check.contact import contact_faults
from raysim.scene.check.gaps import gap_faults
from raysim.scene.check.hanging import doubt_height
from raysim.scene.check.likely import doubt_likeness
from raysim.scene.check.memory import refuse_too_large
from raysim.scene.file.things import GIVEN
from raysim.scene.mesh.drawn_in import scale_mend
from raysim.scene.notes import Notes
from raysim.scene.triangles import SceneTriangles

SMALLEST_CHAMBER = 0.05  # m: too small for a respirator
LARGEST_CHAMBER = 5.0  # m: a room, not a box
SMALLEST_OBJECT = 0.002  # m
SLIP_OF_UNIT = 100.0  # times below the usual target: mJ in place of J makes it 1000
WEAK_LINING = 0.15  # expected reflectance below which a lining gives next to no gain
LEAST_UVC, MOST_UVC = 0.02, 1e3  # W of one lamp: anything outside is a typing error
# Share of the electrical watts: a quarter of the least of the tubes in the library; own choice.
LEAST_SHARE = 0.05
THINNEST_TUBE, THICKEST_TUBE = 0.0005, 0.2  # m


def check_scene(scene: BuiltScene, progress: Progress = nobody_watching) -> list[Fault]:
    """All faults of a scene, including those of `build_scene`; errors first.

    Where sizes are absurd the checks of contact are skipped: they would only repeat that fault.

    >>> import raysim
    >>> scene = raysim.load_scene("scenes/lining_white_paint.toml")
    >>> [(fault.level.value, fault.key) for fault in check_scene(scene)]
    [('warning', 'chamber.lining')]
    """
    notes = Notes(str(scene.name), list(scene.faults))
    _sizes(scene, notes)
    absurd = notes.refused
    for look in (
        refuse_too_large,
        _lamp_ratings,
        doubt_likeness,
        _linings,
        _targets,
        _sheets,
        _cold,
    ):
        look(scene, notes)
    if not absurd:
        doubt_height(scene, notes)
        first = stretch(progress, 0, len(scene.poses))
        notes.faults += [*gap_faults(scene), *contact_faults(scene.in_pose(0), first)]
        notes.faults += _other_poses(scene, set(notes.faults), progress)
    return sorted(notes.faults, key=lambda fault: fault.level is not Level.ERROR)


def _other_poses(scene: BuiltScene, known: set[Fault], progress: Progress) -> list[Fault]:
    """Who is in whose way in the poses after the first, as far as the first does not say so."""
    faults = []
    for number, pose in enumerate(scene.poses[1:], 1):
        part = stretch(progress, number, len(scene.poses))
        for fault in contact_faults(scene.in_pose(number), part):
            if fault not in known:
                faults.append(replace(fault, key=f'pose {number + 1} "{pose.name}": {fault.key}'))
    return faults


def _cold(scene: BuiltScene, notes: Notes) -> None:
    """Air so cold that lamps start badly."""
    air = scene.written.lamps_behaviour.air
    if air is not None and air[0] < HARD_START:
        what = (
            f"lamps start badly or not at all in air of {air[0]:.3g} C (below {HARD_START:g} C; "
            "lighting maker's article, read)"
        )
        mend = "warm the box before each cycle"
        notes.warning(Code.COLD_START, "lamps_behaviour.air", what, mend)


def _size(points: np.ndarray) -> np.ndarray:
    return np.ptp(points.reshape(-1, 3), axis=0)


def _metres(size: np.ndarray) -> str:
    in_mm = [1000.0 * float(side) for side in size]
    return " x ".join(f"{mm:,.0f}" if mm >= 100.0 else f"{mm:.3g}" for mm in in_mm) + " mm"


def _sizes(scene: BuiltScene, notes: Notes) -> None:
    """Millimetres, inches and metres mixed up."""
    triangles, units = scene.triangles, scene.written.units
    chamber = _size(triangles.corners[triangles.on_wall])
    if chamber.min() < SMALLEST_CHAMBER or chamber.max() > LARGEST_CHAMBER:
        key = "chamber.inside" if scene.written.chamber.inside else "chamber.mesh"
        what = f"the box is {_metres(chamber)} inside, which is not the size of a box"
        mend = f'check units = "{units}" and scale'
        if scene.written.chamber.mesh:
            scale, room = scene.written.chamber.scale, np.full(3, LARGEST_CHAMBER)
            mend = scale_mend(units, scale, chamber, room, least=SMALLEST_CHAMBER)
        notes.error(Code.BOX_SIZE, key, what, mend)
        return
    scales = {entry.name: entry.scale for entry in scene.written.object}
    wrong: dict[str, list[tuple[int, str]]] = {}  # by their mend, which most often is one for all
    for body, entry in enumerate(triangles.bodies):
        if entry.kind != "object":
            continue
        size = _size(triangles.corners_of(body))
        what = ""
        if (np.sort(size) > np.sort(chamber)).any():
            what = f"it measures {_metres(size)}, more than the box ({_metres(chamber)})"
        elif size.max() < SMALLEST_OBJECT:
            what = f"it measures only {_metres(size)}"
        if what:
            mend = scale_mend(units, scales.get(entry.name, 1.0), size, chamber)
            wrong.setdefault(mend, []).append((body, what))
    for mend, ((body, what), *others) in wrong.items():
        names = ", ".join(f'"{triangles.bodies[other].name}"' for other, _ in others[:2])
        alike = f"; it is alike with {names}" if names else ""
        alike += f" and {len(others) - 2} more" if len(others) > 2 else ""
        notes.error(Code.OBJECT_SIZE, f"{scene.object_key(body)}.scale", what + alike, mend)
    for number, lamp in enumerate(scene.written.lamp):
        if not THINNEST_TUBE <= lamp.diameter <= THICKEST_TUBE:
            key = f'lamp {number + 1} "{lamp.name}".diameter'
            what = f"a tube of {1000 * lamp.diameter:.3g} mm is not the size of a lamp"
            mend = f'check the number; plain ones are in units = "{units}"'
            notes.error(Code.LAMP_DIAMETER, key, what, mend)


def _lamp_ratings(scene: BuiltScene, notes: Notes) -> None:
    """Electrical watts given as UVC watts, and lamps past their life."""
    rated = scene.written.lamps_behaviour.rated_hours
    limit = assumptions()["uvc_share_limit"]
    for number, lamp in enumerate(scene.written.lamp):
        key = f'lamp {number + 1} "{lamp.name}"'
        power = scene.triangles.lamps[number].uvc_W
        if lamp.electrical is not None and power > limit.value * lamp.electrical:
            what = (
                f"{power:.3g} W of UVC from {lamp.electrical:g} electrical watts is more than "
                f"{limit.value:.0%}, the upper limit in print ({limit.source})"
            )
            mend = "take uvc from the maker's data sheet, about a third of the electrical watts"
            notes.error(Code.MAINS_WATTS, f"{key}.uvc", what, mend)
        elif lamp.electrical is not None and power < LEAST_SHARE * lamp.electrical:
            what = (
                f"{power:.3g} W of UVC from {lamp.electrical:g} electrical watts is less than "
                f"{LEAST_SHARE:.0%}, where known tubes give a fifth and more"
            )
            mend = "check the unit against the maker's data sheet: mW for W?"
            notes.error(Code.LAMP_POWER, f"{key}.uvc", what, mend)
        elif not LEAST_UVC <= power <= MOST_UVC:
            rating = "uvc" if lamp.uvc is not None else "irradiance_at_1m"
            what = f"{power:.3g} W of UVC from one lamp, which no tube for a box gives"
            mend = "check the unit against the maker's data sheet"
            notes.error(Code.LAMP_POWER, f"{key}.{rating}", what, mend)
        if lamp.hours > rated:
            what = f"{lamp.hours:g} h are past the rated {rated:g} h"
            notes.warning(Code.LAMP_PAST_LIFE, f"{key}.hours", what, "change the lamp")


def _linings(scene: BuiltScene, notes: Notes) -> None:
    """Walls that do not reflect 254 nm, or reflect more than is credible."""
    triangles = scene.triangles
    believable = assumptions()["reflectance_max_believable"].value
    walls: dict[int, list[str]] = {}
    for part in triangles.parts:
        if triangles.bodies[part.body].kind == "wall":
            walls.setdefault(part.surface, []).append(triangles.bodies[part.body].short_name)
    for row, names in walls.items():
        surface = triangles.surfaces[row]
        if surface.reflectance < WEAK_LINING:
            bright = " however bright it looks" if surface.looks_bright else ""
            what = (
                f'"{surface.name}" ({", ".join(names)}) reflects only about '
                f"{surface.reflectance:.0%} of 254 nm{bright}; as a lining it is nearly black"
            )
            mend = "bare aluminium or PTFE do reflect; see 'raysim materials'"
            notes.warning(Code.WEAK_LINING, "chamber.lining", what, mend)
    written_tubes = {
        rating.surface
        for lamp, rating in zip(scene.written.lamp, triangles.lamps, strict=True)
        if lamp.reflectance is not None
    }
    for row, surface in enumerate(triangles.surfaces):
        if surface.mark != GIVEN:
            continue
        if surface.reflectance_high > believable:
            what = (
                f'"{surface.name}": a reflectance of {surface.reflectance_high:g} at 254 nm is '
                f"more than a lining in use keeps ({believable:g})"
            )
            mend = "take a measured value at 254 nm"
            notes.warning(Code.LINING_TOO_BRIGHT, "surface", what, mend)
        sure = surface.reflectance_low == surface.reflectance > WEAK_LINING
        if sure and not surface.is_fresnel and row not in written_tubes:
            what = (
                f'"{surface.name}" has no low end, so the cautious case takes it as if it were '
                "certain"
            )
            notes.warning(Code.NO_LOW_END, "surface", what, "give reflectance_low as well")


def _targets(scene: BuiltScene, notes: Notes) -> None:
    """Targets that are low or hide dark spots, and gaps that a dose leaves out."""
    default, target = assumptions()["target_dose_J_cm2"], scene.written.target
    given = target.dose / 1e4
    if given < default.value * (1.0 - 1e-9):
        what = f"{given:g} J/cm2 is below the {default.value:g} J/cm2 of {default.source}"
        key = "target.dose" if target.organism is None else "target.allow_below_default"
        mend = "raise it unless you can defend it"
        if given <= default.value / SLIP_OF_UNIT:
            mend = f"were J/cm2 meant? If not, {mend}"
        notes.warning(Code.LOW_TARGET, key, what, mend)
    if target.organism is not None and target.carrier != "fabric":
        what = f"figures on {target.carrier} are far too low for a respirator, which is fabric"
        mend = 'take carrier = "fabric"'
        notes.warning(Code.CARRIER_NOT_FABRIC, "target.carrier", what, mend)
    if target.judge_area is not None:
        area = 1e4 * target.judge_area
        what = f"patches of {area:.3g} cm2 are judged, so a darker spot within one goes unseen"
        mend = "leave the key out to judge every face by itself"
        notes.warning(Code.JUDGE_AREA, "target.judge_area", what, mend)


def _sheets(scene: BuiltScene, notes: Notes) -> None:
    """Open sheets whose normals mostly point to their own middle, so that sides are swapped."""
    triangles = scene.triangles
    middles = triangles.centroids
    for number, part in enumerate(triangles.parts):
        if not (part.two_sided and triangles.bodies[part.body].judged):
            continue
        faces = np.flatnonzero(triangles.face_part == number)
        outward = _outwardness(middles[faces], triangles, faces)
        if outward < -0.5 and "strap" not in part.name.casefold():
            what = "it seems inside out: its normals point to its own middle"
            mend = "flip the normals, or 'outside' and 'inside' change names in the report"
            notes.warning(Code.INSIDE_OUT, f"{scene.object_key(part.body)}.mesh", what, mend)


def _outwardness(middles: np.ndarray, triangles: SceneTriangles, faces: np.ndarray) -> float:
    """Area-weighted mean cosine between normals and the direction from the middle of the sheet."""
    areas = triangles.areas[faces]
    away = middles - np.average(middles, axis=0, weights=areas)
    away /= np.maximum(np.linalg.norm(away, axis=1), 1e-12)[:, None]
    return float(np.average((away * triangles.normals[faces]).sum(axis=1), weights=areas))
