"""What meter readings say of lamps and lining: a fit of their outputs and of one reflectance."""

from collections.abc import Sequence

import numpy as np

from raysim.dose.agreement import mean_reflectances, predicted, reading_uncertainty
from raysim.dose.readings import MeterResult
from raysim.scene.build import BuiltScene
from raysim.scene.triangles import SceneTriangles
from raysim.studies.survey.fit import Fit, fit_readings
from raysim.transport.kernel_scene import kernel_scene
from raysim.transport.threads import default_threads


def predict(scene: BuiltScene, seed: int, threads: int | None = None) -> tuple[MeterResult, ...]:
    """What the meter at each point should show, by backward paths.

    Source: `meter.predicted`.
    """
    return predicted(scene, kernel_scene(scene.triangles), seed, threads or default_threads())


def place_of_expected(triangles: SceneTriangles) -> float:
    """Where the expected mean reflectance lies between low (0) and high (1), kept off the ends."""
    low, middle, high = mean_reflectances(triangles)
    return float(np.clip((middle - low) / max(high - low, 1e-12), 0.05, 0.95))


def fitted(meters: Sequence[MeterResult], triangles: SceneTriangles) -> Fit | None:
    """Lamp outputs and reflectance from the readings; None where there are none above zero.

    An output is a share of what a lamp should give at its age when the meter was read.
    """
    read = [m for m in meters if m.point.reading and m.irradiance > 0.0]
    if not read:
        return None
    readings = np.array([meter.reading for meter in read], float)
    counting = np.array([meter.standard_error / meter.irradiance for meter in read])
    by_lamp = np.stack([meter.by_lamp * meter.output for meter in read], axis=2)
    errors = np.hypot(reading_uncertainty(), counting)
    return fit_readings(readings, by_lamp, errors, place_of_expected(triangles))
