"""raysim: dose and exposure time in a home-made 254 nm box for respirators.

Two calls do the work; everything else is in what they return, and `write_results` writes it:

>>> import raysim
>>> scene = raysim.load_scene("scenes/clinic_locker.toml")
>>> scene.written.title
'Village clinic: tool locker, six respirators'
>>> result = raysim.simulate(scene, photons=65_536, seed=1)  # few photons: quick and noisy
>>> result.lamp_irradiance.shape == (len(raysim.CASES), 4, len(scene.triangles.corners), 2)
True
>>> cautious = result.cases["cautious"]
>>> cautious.worst.object.startswith("respirator"), cautious.worst.side in raysim.SIDES
(True, True)
>>> energy = cautious.energy
>>> round(sum(energy.absorbed.values()) + energy.escaped + energy.lost, 6)  # all of what
30.6432
>>> round(energy.emitted, 6)  # the lamps gave, W
30.6432

Left to itself, `simulate(scene)` goes on until the bound on the worst face-side is within 2 % of
its irradiance; `result.timer` is then the timer setting in seconds, `inf` if none can be vouched
for. Whether the box may be used says the `verdict` of `with_verdict(result, stray_light(scene))`.
`Result` holds arrays per case, lamp, face and side; see its documentation for shapes and units (SI
inside: m, W, W/m2, J/m2, s). `RaysimError` and `SceneError` say what a user can mend.

What the other commands find out is found by `study(scene, ..., options=RunOptions(seed=2))` and
written by `write(found, folder)`: of `raysim.studies.linings` and `raysim.output.studies.linings`,
and likewise of shadows, hooks, leak, survey, lamps and design (which takes a wish, not a scene).

The calculation says what light reaches which surface. It is no medical device: check every figure
with a calibrated 254 nm meter.
"""

from typing import TYPE_CHECKING

from raysim.base.on_first_use import on_first_use
from raysim.version import __version__

if TYPE_CHECKING:
    from raysim.base.cases import CASES
    from raysim.base.errors import Fault, Level, RaysimError, SceneError
    from raysim.base.units import minutes_seconds, parse_quantity, to_mJ_cm2, to_mm, to_mW_cm2
    from raysim.dose.readings import MeterResult
    from raysim.dose.result import (
        Budget,
        CaseResult,
        Contribution,
        DoseSummary,
        EnergyAccount,
        LampFailure,
        Result,
        Spot,
    )
    from raysim.dose.seeds import simulate_seeds
    from raysim.dose.simulate import load_scene, simulate
    from raysim.library.surfaces import Surface, find_surface, surfaces
    from raysim.output.files.results import write_results
    from raysim.output.words.cautions import CAUTION_LINE, CAUTIONS
    from raysim.scene.build import BuiltScene
    from raysim.scene.check.check import check_scene
    from raysim.scene.triangles import SIDES, SceneTriangles
    from raysim.transport.options import RunOptions
    from raysim.verdict.rules import with_verdict
    from raysim.verdict.stray_light import stray_light

# Public name -> module that holds it, imported when the name is first used.
_HOME = {
    "load_scene": "raysim.dose.simulate",
    "check_scene": "raysim.scene.check.check",
    "simulate": "raysim.dose.simulate",
    "simulate_seeds": "raysim.dose.seeds",
    "stray_light": "raysim.verdict.stray_light",
    "with_verdict": "raysim.verdict.rules",
    "write_results": "raysim.output.files.results",
    "RunOptions": "raysim.transport.options",
    "BuiltScene": "raysim.scene.build",
    "SIDES": "raysim.scene.triangles",
    "SceneTriangles": "raysim.scene.triangles",
    "Result": "raysim.dose.result",
    "CaseResult": "raysim.dose.result",
    "Spot": "raysim.dose.result",
    "DoseSummary": "raysim.dose.result",
    "EnergyAccount": "raysim.dose.result",
    "MeterResult": "raysim.dose.readings",
    "LampFailure": "raysim.dose.result",
    "Budget": "raysim.dose.result",
    "Contribution": "raysim.dose.result",
    "CASES": "raysim.base.cases",
    "Surface": "raysim.library.surfaces",
    "surfaces": "raysim.library.surfaces",
    "find_surface": "raysim.library.surfaces",
    "Fault": "raysim.base.errors",
    "Level": "raysim.base.errors",
    "RaysimError": "raysim.base.errors",
    "SceneError": "raysim.base.errors",
    "CAUTIONS": "raysim.output.words.cautions",
    "CAUTION_LINE": "raysim.output.words.cautions",
    "parse_quantity": "raysim.base.units",
    "minutes_seconds": "raysim.base.units",
    "to_mW_cm2": "raysim.base.units",
    "to_mJ_cm2": "raysim.base.units",
    "to_mm": "raysim.base.units",
}

__all__ = [
    "CASES",
    "CAUTIONS",
    "CAUTION_LINE",
    "SIDES",
    "Budget",
    "BuiltScene",
    "CaseResult",
    "Contribution",
    "DoseSummary",
    "EnergyAccount",
    "Fault",
    "LampFailure",
    "Level",
    "MeterResult",
    "RaysimError",
    "Result",
    "RunOptions",
    "SceneError",
    "SceneTriangles",
    "Spot",
    "Surface",
    "__version__",
    "check_scene",
    "find_surface",
    "load_scene",
    "minutes_seconds",
    "parse_quantity",
    "simulate",
    "simulate_seeds",
    "stray_light",
    "surfaces",
    "to_mJ_cm2",
    "to_mW_cm2",
    "to_mm",
    "with_verdict",
    "write_results",
]

__getattr__, __dir__ = on_first_use(__name__, _HOME)
