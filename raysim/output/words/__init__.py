"""Results in words and tables of text."""
