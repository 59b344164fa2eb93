"""Where the lamps should go, and how many."""

from raysim.studies.lamps.kinds import kinds_of
from raysim.studies.lamps.places import LampClearances, LampGrid, Place
from raysim.studies.lamps.result import LampStudy
from raysim.studies.lamps.run import best_places, study

__all__ = ["LampClearances", "LampGrid", "LampStudy", "Place", "best_places", "kinds_of", "study"]
