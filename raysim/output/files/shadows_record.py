"""The study of shadows as plain data, for its result.json."""

from typing import Any

from raysim.base.figures import finite_or_none
from raysim.base.units import to_mm, to_mW_cm2
from raysim.output.files.records import scene_record, study_head
from raysim.output.words.cautions import CAUTIONS
from raysim.studies.shadows.remedies import Remedy
from raysim.studies.shadows.run import Shadow, ShadowStudy


def shadows_record(study: ShadowStudy, said: str) -> dict[str, Any]:
    """The study, and what it `said`, as plain data for result.json."""
    result = study.result
    about = scene_record(result.title, result.sha256, result.scene_file)
    return {
        **study_head("shadows", about, study.seed, said),
        "limit_mW_cm2": finite_or_none(to_mW_cm2(study.limit)),
        "median_mW_cm2": finite_or_none(to_mW_cm2(study.median)),
        "dark_area_cm2": 1e4 * study.dark_area,
        "left_out": study.left_out,
        "patches": [_shadow(shadow) for shadow in study.shadows],
        "remedies": [
            _remedy(number_, r)
            for number_, tried in enumerate(study.tried, 1)
            for r in tried.remedies
        ],
        "does_not_fit": [
            {"patch": number_, "change": what}
            for number_, tried in enumerate(study.tried, 1)
            for what in tried.skipped
        ],
        "cautions": list(CAUTIONS),
    }


def _remedy(patch: int, remedy: Remedy) -> dict[str, Any]:
    return {
        "patch": patch,
        "change": remedy.what,
        "irradiance_mW_cm2": finite_or_none(to_mW_cm2(remedy.irradiance)),
        "standard_error_mW_cm2": finite_or_none(to_mW_cm2(remedy.error)),
        "gain": finite_or_none(remedy.gain),
        "gain_standard_error": finite_or_none(remedy.gain_error),
        "clear": remedy.clear,
        "too_dark": remedy.dark,
    }


def _shadow(shadow: Shadow) -> dict[str, Any]:
    return {
        "place": shadow.place,
        "sets_the_timer": shadow.worst is not None,
        "centroid_mm": [round(float(v), 2) for v in to_mm(shadow.patch.centroid)],
        "area_cm2": 1e4 * shadow.patch.area,
        "faces": shadow.patch.faces.tolist(),
        "side": shadow.patch.side,
        "irradiance_mW_cm2": finite_or_none(to_mW_cm2(shadow.irradiance)),
        "standard_error_mW_cm2": finite_or_none(to_mW_cm2(shadow.error)),
        "extra_time_s": None if shadow.dark else finite_or_none(shadow.extra_time),
        "too_dark": shadow.dark,
        "close_before": None
        if shadow.in_front is None
        else {"name": shadow.in_front.name, "distance_mm": float(to_mm(shadow.in_front.distance))},
        "lamps": [{"name": s.lamp, "seen": s.seen, "hidden_by": s.hidden} for s in shadow.sights],
    }
