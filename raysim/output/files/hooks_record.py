"""The study of hooks as plain data, for result.json."""

from typing import Any

from raysim.base.figures import finite_or_none
from raysim.base.units import to_mW_cm2
from raysim.estimate.bounds import CONFIDENCE
from raysim.output.files.records import built_record, rounded_mm, spot_record, study_head
from raysim.output.words.cautions import CAUTIONS
from raysim.output.words.hooks import FATE_WORDS
from raysim.studies.hooks.load import Hang
from raysim.studies.hooks.result import HookStudy, NumberResult, Ranked


def hooks_record(study: HookStudy, said: str) -> dict[str, Any]:
    """The study, and what it `said`, in mm, degrees, mW/cm2 and seconds."""
    load, clear, scene = study.load, study.clearances, study.load.scene
    about = built_record(scene)
    return {
        **study_head("hooks", about, study.seed, said),
        "confidence": CONFIDENCE,
        "interrupted": study.interrupted,
        "hung": [entry.name for entry in load.hung],
        "stays": [entry.name for entry in load.stays],
        "clearances_mm": {
            "wall": rounded_mm(clear.wall),
            "lamp": rounded_mm(clear.lamp),
            "other": rounded_mm(clear.other),
        },
        "no_room": dict(study.no_room),
        "loading_s": study.loading,
        "points": [
            {
                **_hang(point.hang),
                "exposure_time_s": finite_or_none(point.time),
                "verdict": FATE_WORDS[point.fate],
            }
            for point in study.points
        ],
        "best_number": study.best.number,
        "contacts": list(study.touching),
        "none_found_for": study.beyond,
        "numbers": [_number(one) for one in study.numbers],
        "rays": study.rays,
        "cautions": list(CAUTIONS),
    }


def _hang(hang: Hang) -> dict[str, Any]:
    return {"at_mm": [rounded_mm(value) for value in hang.at], "turn_degrees": hang.turn}


def _number(result: NumberResult) -> dict[str, Any]:
    return {
        "respirators": result.number,
        "respirators_per_hour": finite_or_none(result.per_hour),
        "layouts_tried": result.tried,
        "shown_to_be_worse": result.worse,
        "set_aside": result.aside,
        "too_dark": result.dark,
        "any_other_better_by_at_most": finite_or_none(result.could_gain),
        "layouts": [_layout(one) for one in result.layouts],
        "as_now": None
        if result.now is None
        else _layout(result.now)
        | {
            "in_the_way": result.now.in_the_way,
            "shown_to_be_worse": result.best.beats(result.now),
        },
        "worse_than_layout_1": [result.best.beats(one) for one in result.layouts[1:]],
    }


def _layout(one: Ranked) -> dict[str, Any]:
    return {
        "hooks": [_hang(hang) for hang in one.layout],
        "worst": spot_record(one.worst) if one.worst is not None else None,
        "irradiance_mW_cm2": finite_or_none(to_mW_cm2(one.estimate)),
        "standard_error_mW_cm2": finite_or_none(to_mW_cm2(one.error)),
        "lower_bound_mW_cm2": finite_or_none(to_mW_cm2(one.lower)) if one.has_bound else None,
        "upper_bound_mW_cm2": finite_or_none(to_mW_cm2(one.upper)),
        "exposure_time_s": finite_or_none(one.time),
    }
