"""The logbook: respirators, cycles and lamps in one SQLite file; rows are only ever added."""
