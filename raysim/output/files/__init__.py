"""The folder of results and its files."""
