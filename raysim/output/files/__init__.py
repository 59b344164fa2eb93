"""The folder of results, and what is written into it."""
