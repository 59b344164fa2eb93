"""What 'raysim meter --json' prints."""

from typing import Any

from raysim.base.cases import CAUTIOUS
from raysim.dose.readings_together import COVERAGE
from raysim.dose.result import Result
from raysim.output.files.readings_record import meter_record, readings_record
from raysim.output.files.records import spot_record
from raysim.output.words.cautions import CAUTIONS
from raysim.output.words.verdict import verdict_record
from raysim.studies.survey.run import Survey
from raysim.version import __version__


def survey_record(study: Survey, result: Result | None = None) -> dict[str, Any]:
    """The study; `result` of the run that the timer is from, if there was one."""
    scene, fit = study.scene, study.fit
    record: dict[str, Any] = {
        "raysim_version": __version__,
        "scene": scene.written.title,
        "seed": study.seed,
        "coverage_factor_k": COVERAGE,
        "points": [meter_record(row) for row in study.rows],
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
                    scene.triangles.lamps,
                    *(fit.output, fit.output_error, fit.decided[:-1]),
                    strict=True,
                )
            ],
            "reflectance_place": fit.place,
            "reflectance_settled": bool(fit.decided[-1]),
            "cannot_be_told_apart": [list(pair) for pair in fit.together],
        }
    if result is not None:
        record["verdict"] = verdict_record(result)
        record["readings"] = readings_record(result)
        record["strip_at"] = spot_record(result.cases[CAUTIOUS].worst)
    record["cautions"] = list(CAUTIONS)
    return record
