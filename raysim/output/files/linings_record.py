"""The study of linings as plain data, for its result.json."""

import math
from typing import Any

from raysim.base.figures import finite_or_none
from raysim.base.units import to_mW_cm2
from raysim.output.files.records import built_record, spot_record, study_head
from raysim.output.words.cautions import CAUTIONS
from raysim.studies.linings.bench import LiningRow
from raysim.studies.linings.compare import LiningPair
from raysim.studies.linings.run import LiningStudy


def linings_record(study: LiningStudy, said: str) -> dict[str, Any]:
    """The study, and what it `said`, as plain data for result.json."""
    scene = study.scene
    about = built_record(scene)
    return {
        **study_head("linings", about, study.seed, said),
        "linings": [_row(row) for row in study.rows],
        "bare_black_box": _row(study.black),
        "pairs": [_pair(pair) for pair in study.pairs],
        "wall_lining": study.wall_lining,
        "one_wall": [_row(row) for row in study.walls],
        "interrupted": study.interrupted,
        "cautions": list(CAUTIONS),
    }


def _row(row: LiningRow) -> dict[str, Any]:
    return {
        "name": row.name,
        "area_m2": row.area,
        "cost": row.cost,
        "worst_at_most_mW_cm2": finite_or_none(to_mW_cm2(row.most)),
        "cases": {
            name: {
                "worst": spot_record(case.worst),
                "exposure_time_s": finite_or_none(case.exposure_time),
                "stopped_at_least_s": case.stopped and finite_or_none(case.stopped),
                "best_over_worst": finite_or_none(case.evenness),
                "gain_over_black": finite_or_none(row.gain.get(name, math.nan)),
                "settled": case.settled,
            }
            for name, case in row.cases.items()
        },
    }


def _pair(pair: LiningPair) -> dict[str, Any]:
    return {
        "first": pair.first,
        "second": pair.second,
        "first_at_least_mW_cm2": finite_or_none(to_mW_cm2(pair.least)),
        "second_at_most_mW_cm2": finite_or_none(to_mW_cm2(pair.most)),
        "first_more_on_same_paths_mW_cm2": finite_or_none(to_mW_cm2(pair.same_paths)),
        "told_apart": pair.told_apart,
    }
