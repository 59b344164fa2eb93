"""Where the hooks should go, and how many respirators."""

from raysim.studies.hooks.clearances import Clearances
from raysim.studies.hooks.load import Hang
from raysim.studies.hooks.points import Grid
from raysim.studies.hooks.result import HookStudy
from raysim.studies.hooks.run import study

__all__ = ["Clearances", "Grid", "Hang", "HookStudy", "study"]
