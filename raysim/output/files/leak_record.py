"""The study of leaks as plain data: what `raysim leak --json` prints."""

from typing import Any

from raysim.base.units import UW_CM2_PER_W_M2, to_mm
from raysim.output.files.schemas.versions import VERSIONS
from raysim.output.words.cautions import CAUTIONS
from raysim.studies.leak.exposure_limits import effective
from raysim.studies.leak.run import Leak, LeakStudy
from raysim.version import __version__


def leak_record(study: LeakStudy) -> dict[str, Any]:
    """The study in mm, uW/cm2 and seconds."""
    scene = study.scene
    return {
        "schema_version": VERSIONS["leak"],
        "raysim_version": __version__,
        "scene": scene.written.title,
        "pose": scene.poses[0].name if study.poses else None,
        "seed": study.seed,
        "safety_factor": scene.written.target.safety_factor,
        "leaks": [_record(leak) for leak in study.leaks],
        "cautions": list(CAUTIONS),
    }


def _record(leak: Leak) -> dict[str, Any]:
    parts = {
        "irradiance_unweighted_uW_cm2": leak.irradiance,
        "standard_error_unweighted_uW_cm2": leak.error,
        "in_sight_unweighted_uW_cm2": leak.in_sight,
        "off_walls_unweighted_uW_cm2": leak.off_walls,
        "irradiance_effective_uW_cm2": effective(leak.irradiance),
        "inside_opening_unweighted_uW_cm2": leak.inside,
    }
    return {
        "name": leak.gap.name,
        "wall": leak.gap.wall,
        "eye_mm": [round(float(v), 2) for v in to_mm(leak.eye)],
        **{key: UW_CM2_PER_W_M2 * value for key, value in parts.items()},
        "at_most": leak.at_most,
        "permissible_time_eyes_s": leak.times[0],
        "permissible_time_skin_s": leak.times[1],
    }
