"""raysim: dose and exposure time in a home-made 254 nm box for respirators.

>>> import raysim
>>> scene = raysim.load_scene("scenes/clinic_locker.toml")  # doctest: +SKIP
>>> result = raysim.simulate(scene, seed=1)  # doctest: +SKIP
"""

from typing import TYPE_CHECKING, Any

from raysim.version import __version__

if TYPE_CHECKING:
    from raysim.errors import RaysimError, SceneError
    from raysim.result import Result
    from raysim.run import load_scene, simulate

_HOME = {
    "load_scene": "raysim.run",
    "simulate": "raysim.run",
    "Result": "raysim.result",
    "RaysimError": "raysim.errors",
    "SceneError": "raysim.errors",
}

__all__ = ["RaysimError", "Result", "SceneError", "__version__", "load_scene", "simulate"]


def __getattr__(name: str) -> Any:
    """Import the public names on first use: the kernels behind them take a while."""
    if name in _HOME:
        from importlib import import_module

        return getattr(import_module(_HOME[name]), name)
    raise AttributeError(f"module 'raysim' has no attribute '{name}'")
