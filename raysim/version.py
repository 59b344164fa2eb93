"""Version of the program, as it stands in results."""

__version__ = "0.2.0"
