"""Stray light outside a gap, and how long one may stay there."""
