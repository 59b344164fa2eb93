"""Where the lamps should go, and how many."""

from raysim.studies.lamps.kinds import kinds_of
from raysim.studies.lamps.places import LampClearances, LampGrid, Place
from raysim.studies.lamps.result import LampStudy
from raysim.studies.lamps.run import study

__all__ = ["LampClearances", "LampGrid", "LampStudy", "Place", "kinds_of", "study"]
