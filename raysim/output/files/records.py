"""A result as plain data in common units, for result.json and faces.csv."""

import csv
import math
from pathlib import Path
from typing import Any

import numpy as np

from raysim.base.cases import CAUTIOUS, EXPECTED
from raysim.base.csv_cells import safe_cell
from raysim.base.figures import finite_or_none
from raysim.base.units import to_mJ_cm2, to_mm, to_mW_cm2
from raysim.dose.agreement import compare
from raysim.dose.result import CaseResult, DoseSummary, LampFailure, PoseResult, Result, Spot
from raysim.output.files.readings_record import meter_record, readings_record
from raysim.output.files.schemas.versions import VERSIONS
from raysim.output.words.cautions import CAUTIONS
from raysim.output.words.germs import germ_records
from raysim.output.words.life import lamp_life_record
from raysim.output.words.parts import time_by_itself
from raysim.output.words.uncertainty import budget_record
from raysim.output.words.verdict import the_verdict, verdict_record
from raysim.output.words.wear import reuse_record
from raysim.scene.build import BuiltScene
from raysim.scene.triangles import SIDES
from raysim.version import __version__

FACE_COLUMNS = (
    "object",
    "face",
    "side",
    "x_mm",
    "y_mm",
    "z_mm",
    "area_cm2",
    "irradiance_mW_cm2",
    "standard_error_mW_cm2",
    "dose_at_timer_mJ_cm2",
)


def scene_record(title: str, sha256: str, file: str) -> dict[str, str]:
    """The scene of some results; a run of another scene does not overwrite them unless told to."""
    return {"title": title, "sha256": sha256, "file": file}


def built_record(scene: BuiltScene) -> dict[str, str]:
    """The same of a scene that was built (definition)."""
    return scene_record(scene.written.title, scene.sha256, scene.name.as_posix())


def study_head(kind: str, scene: dict[str, str], seed: int, said: str) -> dict[str, Any]:
    """What result.json of a study begins with: which study, of which scene, and what it `said`."""
    return {
        "schema_version": VERSIONS[kind],
        "study": kind,
        "scene": scene,
        "raysim_version": __version__,
        "seed": seed,
        "answer": said,
    }


def rounded_mm(length: float) -> float:
    """A length (m) in mm, to micrometres (definition)."""
    return round(float(to_mm(length)), 3)


def result_record(result: Result, case: str = CAUTIOUS) -> dict[str, Any]:
    """The content of result.json; numbers that are not finite become null.

    The energy account at the top level is that of `case`.
    """
    return {
        "schema_version": VERSIONS["dose"],
        "raysim_version": result.raysim_version,
        "made_at": the_verdict(result).made_at.isoformat(timespec="seconds"),
        "scene": scene_record(result.title, result.sha256, result.scene_file),
        "seed": result.seed,
        "photons": result.photons,
        "backward_paths": result.paths,
        "segments": result.segments,
        "seconds": finite_or_none(result.seconds),
        "confidence": result.confidence,
        "precision_asked": result.precision_asked,
        "interrupted": result.interrupted,
        "target": {
            "dose_mJ_cm2": finite_or_none(to_mJ_cm2(result.target_dose)),
            "safety_factor": result.safety_factor,
        },
        "verdict": verdict_record(result),
        "case": case,
        "energy": _energy(result.cases[case]),
        "cases": {name: _case(result, entry) for name, entry in result.cases.items()},
        "lamps": _lamps(result),
        "without": list(result.without),
        "lamp_failures": [_failure(failure) for failure in result.lamp_failures],
        "poses": [_pose(pose) for pose in result.poses],
        "meters": [meter_record(row) for row in compare(result.meters)],
        "readings": readings_record(result),
        "uncertainty": budget_record(result.budget),
        "reuse": reuse_record(result),
        "lamp_life": lamp_life_record(result),
        "log_reductions": germ_records(result),
        "warnings": [str(fault) for fault in result.warnings],
        "assumptions": [
            {"what": what, "value": value, "source": source}
            for what, value, source in result.assumptions
        ],
        "cautions": list(CAUTIONS),
    }


def write_faces(result: Result, path: Path, case: str = CAUTIOUS) -> None:
    """Write faces.csv: one row per judged face-side, in one case."""
    triangles = result.triangles
    faces, sides = np.nonzero(triangles.judged)
    names = [safe_cell(body.name) for body in triangles.bodies]
    chosen = result.cases[case]
    dose = to_mJ_cm2(result.dose_at_timer(case))
    columns = (
        [names[body] for body in triangles.face_body[faces]],
        faces.tolist(),
        [SIDES[side] for side in sides],
        *np.round(to_mm(triangles.centroids[faces].T), 3).tolist(),
        [f"{area:.6g}" for area in 1e4 * triangles.areas[faces]],
        [f"{e:.6g}" for e in to_mW_cm2(chosen.irradiance[faces, sides])],
        [f"{s:.4g}" for s in to_mW_cm2(chosen.standard_error[faces, sides])],
        [f"{h:.6g}" if math.isfinite(h) else "" for h in dose[faces, sides]],
    )
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(FACE_COLUMNS)
        writer.writerows(zip(*columns, strict=True))


def spot_record(spot: Spot) -> dict[str, Any]:
    """A spot as plain data, mm and mW/cm2."""
    return {
        "object": spot.object,
        "part": spot.part,
        "side": spot.side,
        "face": spot.face,
        "centroid_mm": [round(float(x), 3) for x in to_mm(spot.centroid)],
        "place": spot.place,
        "irradiance_mW_cm2": finite_or_none(to_mW_cm2(spot.irradiance)),
        "standard_error_mW_cm2": finite_or_none(to_mW_cm2(spot.standard_error)),
        "lower_bound_mW_cm2": finite_or_none(to_mW_cm2(spot.lower_bound)),
    }


def _summary(summary: DoseSummary) -> dict[str, Any]:
    names = ("worst", "worst_1cm2", "percentile_1", "percentile_5", "mean", "best")
    light = {f"{name}_mW_cm2": to_mW_cm2(getattr(summary, name)) for name in names}
    figures = {"area_cm2": 1e4 * summary.area_m2} | light
    return {name: finite_or_none(value) for name, value in figures.items()}


def _energy(case: CaseResult) -> dict[str, Any]:
    return {f"{name}_W": value for name, value in vars(case.energy).items()}


def _case(result: Result, case: CaseResult) -> dict[str, Any]:
    worst = spot_record(case.worst)
    worst["lower_bound_mW_cm2"] = finite_or_none(to_mW_cm2(case.bound))
    return {
        "lamp_factor": case.lamp_factor,
        "worst": worst,
        "best": spot_record(case.best),
        "precision": finite_or_none(case.precision),
        "exposure_time_s": finite_or_none(case.exposure_time),
        "percentiles": _summary(case.summary),
        "per_object": [
            {"object": summary.name, **_summary(summary), "worst": spot_record(spot)}
            for summary, spot in zip(case.per_object, case.worst_per_object, strict=True)
        ],
        "per_part": [
            {
                "object": spot.object,
                "part": spot.part,
                "time_by_itself_s": finite_or_none(time_by_itself(result, spot)),
                "worst": spot_record(spot),
            }
            for spot in case.worst_per_part
        ],
        "energy": _energy(case),
    }


def _failure(failure: LampFailure) -> dict[str, Any]:
    return {
        "lamp": failure.lamp,
        "worst": spot_record(failure.worst),
        "exposure_time_s": finite_or_none(failure.exposure_time),
        "dose_at_timer_mJ_cm2": None
        if failure.dose_at_timer is None
        else float(to_mJ_cm2(failure.dose_at_timer)),
        "counted_only": failure.counted_only,
    }


def _pose(pose: PoseResult) -> dict[str, Any]:
    return {
        "name": pose.name,
        "share": pose.share,
        "time_s": finite_or_none(pose.time),
        "alone_s": finite_or_none(pose.alone),
        "alone_least_s": finite_or_none(pose.alone_least),
        "alone_worst": spot_record(pose.alone_worst),
        "cycle_worst_mW_cm2": None if pose.at_worst is None else float(to_mW_cm2(pose.at_worst)),
    }


def _lamps(result: Result) -> list[dict[str, Any]]:
    """Lamps, and the light of each on the worst spot of the expected case at its full rating."""
    case = result.cases[EXPECTED]
    number = list(result.cases).index(EXPECTED)
    side = SIDES.index(case.worst.side)
    share = result.lamp_irradiance[number, :, case.worst.face, side]
    return [
        {
            "name": lamp.name,
            "uvc_W": lamp.uvc_W,
            "hours": lamp.hours,
            "irradiance_at_expected_worst_mW_cm2": finite_or_none(to_mW_cm2(value)),
        }
        for lamp, value in zip(result.triangles.lamps, share, strict=True)
    ]
