"""Where the hooks should go, and how many respirators."""

from typing import TYPE_CHECKING

from raysim.base.on_first_use import on_first_use

if TYPE_CHECKING:
    from raysim.studies.hooks.clearances import Clearances
    from raysim.studies.hooks.load import Hang
    from raysim.studies.hooks.points import Grid
    from raysim.studies.hooks.result import HookStudy
    from raysim.studies.hooks.run import study

# Public name -> module that holds it.
_HOME = {
    "study": "raysim.studies.hooks.run",
    "HookStudy": "raysim.studies.hooks.result",
    "Grid": "raysim.studies.hooks.points",
    "Hang": "raysim.studies.hooks.load",
    "Clearances": "raysim.studies.hooks.clearances",
}

__all__ = ["Clearances", "Grid", "Hang", "HookStudy", "study"]

__getattr__, __dir__ = on_first_use(__name__, _HOME)
