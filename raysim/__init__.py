"""raysim: dose and exposure time in a home-made 254 nm box for respirators.

Two calls do the work; everything else is in what they return:

>>> import raysim
>>> scene = raysim.load_scene("scenes/clinic_locker.toml")
>>> scene.written.title
'Village clinic: tool locker, six respirators'
>>> result = raysim.simulate(scene, seed=1)  # doctest: +SKIP

`Result` holds arrays per case, lamp, face and side; see its documentation for shapes and units
(SI inside: m, W, W/m2, J/m2, s). `RaysimError` and `SceneError` say what a user can mend.

The calculation says what light reaches which surface. It is no medical device: check every figure
with a calibrated 254 nm meter.
"""

from typing import TYPE_CHECKING, Any

from raysim.version import __version__

if TYPE_CHECKING:
    from raysim.errors import Fault, Level, RaysimError, SceneError
    from raysim.library import Surface, find_surface, surfaces
    from raysim.result import (
        CASES,
        Budget,
        CaseResult,
        Contribution,
        DoseSummary,
        EnergyAccount,
        LampFailure,
        MeterResult,
        Result,
        Spot,
    )
    from raysim.run import load_scene, simulate
    from raysim.scene.build import BuiltScene
    from raysim.scene.check import check_scene
    from raysim.scene.triangles import SceneTriangles
    from raysim.units import minutes_seconds, parse_quantity, to_mJ_cm2, to_mm, to_mW_cm2

# Public name -> module that holds it, imported when the name is first used.
_HOME = {
    "load_scene": "raysim.run",
    "check_scene": "raysim.scene.check",
    "simulate": "raysim.run",
    "BuiltScene": "raysim.scene.build",
    "SceneTriangles": "raysim.scene.triangles",
    "Result": "raysim.result",
    "CaseResult": "raysim.result",
    "Spot": "raysim.result",
    "DoseSummary": "raysim.result",
    "EnergyAccount": "raysim.result",
    "MeterResult": "raysim.result",
    "LampFailure": "raysim.result",
    "Budget": "raysim.result",
    "Contribution": "raysim.result",
    "CASES": "raysim.result",
    "Surface": "raysim.library",
    "surfaces": "raysim.library",
    "find_surface": "raysim.library",
    "Fault": "raysim.errors",
    "Level": "raysim.errors",
    "RaysimError": "raysim.errors",
    "SceneError": "raysim.errors",
    "parse_quantity": "raysim.units",
    "minutes_seconds": "raysim.units",
    "to_mW_cm2": "raysim.units",
    "to_mJ_cm2": "raysim.units",
    "to_mm": "raysim.units",
}

__all__ = [
    "CASES",
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
    "surfaces",
    "to_mJ_cm2",
    "to_mW_cm2",
    "to_mm",
]


def __getattr__(name: str) -> Any:
    """Import the public names on first use: the kernels behind them take a while (PEP 562)."""
    if name not in _HOME:
        raise AttributeError(f"module 'raysim' has no attribute '{name}'")
    from importlib import import_module

    found = getattr(import_module(_HOME[name]), name)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    """Names for completion, those not loaded yet included."""
    return sorted({*globals(), *__all__})
