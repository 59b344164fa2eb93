"""Results in words and tables."""
