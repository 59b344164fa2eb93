"""What meter readings say of lamps and lining."""

from raysim.studies.survey.places import propose
from raysim.studies.survey.run import Survey, study

__all__ = ["Survey", "propose", "study"]
