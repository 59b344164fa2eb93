"""Whole boxes from a wish: respirators, limits, lamps and linings to be had."""

from raysim.studies.design.result import Design, DesignStudy, Relaxation
from raysim.studies.design.run import study
from raysim.studies.design.wish import Wish, read_wish

__all__ = ["Design", "DesignStudy", "Relaxation", "Wish", "read_wish", "study"]
