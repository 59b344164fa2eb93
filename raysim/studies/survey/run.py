"""What meter readings say of lamps and lining: a fit of their outputs and of one reflectance."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from raysim.base.errors import RaysimError
from raysim.dose.agreement import compare, mean_reflectances, predicted, reading_uncertainty
from raysim.dose.readings import Comparison, MeterResult
from raysim.scene.build import BuiltScene
from raysim.scene.triangles import SceneTriangles
from raysim.studies.asked import a_scene, checked
from raysim.studies.survey.fit import Fit, fit_readings
from raysim.transport.kernel_scene import kernel_scene
from raysim.transport.options import RunOptions


@dataclass(frozen=True)
class Survey:
    """What a meter at each point of a scene should show, beside its reading if there is one.

    `fit` holds the lamp outputs and the reflectance that come nearest to the readings, None where
    there are none above zero.
    """

    scene: BuiltScene
    seed: int
    rows: tuple[Comparison, ...]
    fit: Fit | None


def study(scene: BuiltScene, *, options: RunOptions | None = None) -> Survey:
    """Predict the meter points of a scene by backward paths, and fit its readings.

    Raises
    ------
    RaysimError
        No scene, one without [[meter]], or numbers out of range.

    Source: `agreement.predicted`.

    >>> import raysim
    >>> found = study(raysim.load_scene("scenes/lining_white_paint.toml"))
    >>> [row.meter.irradiance > 0.0 for row in found.rows], found.fit  # W/m2; nothing was read
    ([True, True], None)
    """
    options = checked(options)
    triangles = a_scene(scene).triangles
    if not triangles.meters:
        raise RaysimError(
            f"{scene.name}: meter: the scene has no [[meter]]. Mend: 'raysim meter --places' "
            "proposes some"
        )
    meters = predicted(scene, kernel_scene(triangles), options)
    return Survey(scene, options.seed, tuple(compare(meters)), _fitted(meters, triangles))


def place_of_expected(triangles: SceneTriangles) -> float:
    """Where the expected mean reflectance lies between low (0) and high (1), kept off the ends."""
    low, middle, high = mean_reflectances(triangles)
    return float(np.clip((middle - low) / max(high - low, 1e-12), 0.05, 0.95))


def _fitted(meters: Sequence[MeterResult], triangles: SceneTriangles) -> Fit | None:
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
