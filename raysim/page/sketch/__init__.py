"""The sketch of the light: a process of its own that traces while one looks."""
