"""Which spots stay dark, what hides them, and what helps."""

from raysim.studies.shadows.run import ShadowStudy, study

__all__ = ["ShadowStudy", "study"]
