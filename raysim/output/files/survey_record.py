"""What 'raysim meter --json' prints."""

from collections.abc import Sequence
from typing import Any

from raysim.base.figures import finite_or_none
from raysim.dose.agreement import COVERAGE
from raysim.dose.readings import Comparison
from raysim.dose.result import Result
from raysim.output.files.readings_record import meter_record, readings_record
from raysim.output.words.cautions import CAUTIONS
from raysim.scene.build import BuiltScene
from raysim.studies.survey.fit import Fit
from raysim.version import __version__


def survey_record(
    built: BuiltScene,
    seed: int,
    rows: Sequence[Comparison],
    fit: Fit | None,
    result: Result | None,
) -> dict[str, Any]:
    """Everything `raysim meter --json` prints; `result` of the run that the timer is from."""
    record: dict[str, Any] = {
        "raysim_version": __version__,
        "scene": built.written.title,
        "seed": seed,
        "coverage_factor_k": COVERAGE,
        "points": [meter_record(row) for row in rows],
    }
    if fit is not None:
        record["fit"] = {
            "lamps": [
                {
                    "name": lamp.name,
                    "output": float(o),
                    "relative_error": float(e),
                    "settled": bool(s),
                }
                for lamp, o, e, s in zip(
                    built.triangles.lamps,
                    *(fit.output, fit.output_error, fit.settled[:-1]),
                    strict=True,
                )
            ],
            "reflectance_place": fit.place,
            "reflectance_settled": bool(fit.settled[-1]),
            "cannot_be_told_apart": [list(pair) for pair in fit.together],
        }
    if result is not None:
        record["timer_s"] = finite_or_none(result.timer)
        record["calculated_s"] = finite_or_none(result.calculated)
        record["readings"] = readings_record(result)
    record["cautions"] = list(CAUTIONS)
    return record
