"""The study of lamps as plain data, for result.json."""

from typing import Any

from raysim.base.figures import finite_or_none
from raysim.base.units import to_mW_cm2
from raysim.estimate.bounds import CONFIDENCE
from raysim.output.files.records import built_record, rounded_mm, spot_record, study_head
from raysim.output.words.cautions import CAUTIONS
from raysim.studies.lamps.places import Place
from raysim.studies.lamps.result import LampCount, LampStudy
from raysim.studies.lamps.trace import TracedLamps


def lamps_record(study: LampStudy, said: str) -> dict[str, Any]:
    """The study, and what it `said`, in mm, mW/cm2 and seconds."""
    scene, clear = study.scene, study.clearances
    about = built_record(scene)
    return {
        **study_head("lamps", about, study.seed, said),
        "confidence": CONFIDENCE,
        "interrupted": study.interrupted,
        "respirators": study.respirators,
        "clearances_mm": {name: rounded_mm(value) for name, value in vars(clear).items()},
        "no_room": dict(study.no_room),
        "spacing_mm": None if study.spacing is None else rounded_mm(study.spacing),
        "places": [_place(place) for place in study.places],
        "currency": study.currency,
        "told_number": study.number,
        "numbers": [_number(study, one) for one in study.numbers],
        "as_now": None if study.now is None else _traced(study.now),
        "photons": study.photons,
        "rays": study.rays,
        "cautions": list(CAUTIONS),
    }


def _place(place: Place) -> dict[str, Any]:
    return {
        "lamp": place.kind.name,
        "from_mm": [rounded_mm(value) for value in place.start],
        "to_mm": [rounded_mm(value) for value in place.end],
    }


def _number(study: LampStudy, one: LampCount) -> dict[str, Any]:
    return {
        "lamps": one.number,
        "seconds_a_respirator": finite_or_none(one.best.time / study.respirators),
        "cost": one.cost,
        "as_sources_alone_mW_cm2": finite_or_none(to_mW_cm2(one.alone)),
        "lines_without_price": one.unpriced,
        "any_other_at_most_mW_cm2": finite_or_none(to_mW_cm2(one.most)),
        "any_other_better_by_at_most": finite_or_none(one.could_gain),
        "share_with_each_place_swapped_in": [round(float(share), 4) for share in one.swaps],
        "choices": [
            {"places": list(choice)} | _traced(traced)
            for choice, traced in zip(one.choices, one.traced, strict=True)
        ],
    }


def _traced(one: TracedLamps) -> dict[str, Any]:
    return {
        "worst": spot_record(one.worst),
        "exposure_time_s": finite_or_none(one.time),
        "best_over_worst": finite_or_none(one.spread),
        "light_left_without_each_lamp": [round(share, 4) for share in one.left],
    }
