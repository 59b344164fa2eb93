"""The window on a finished result."""
