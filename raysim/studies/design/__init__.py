"""Whole boxes from a wish: respirators, limits, lamps and linings to be had."""
