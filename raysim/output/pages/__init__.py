"""Pages to read and to print."""
