"""The commands of the logbook."""
