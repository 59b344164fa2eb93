"""Which lining, and what each buys."""

from raysim.studies.linings.run import LiningStudy, study

__all__ = ["LiningStudy", "study"]
