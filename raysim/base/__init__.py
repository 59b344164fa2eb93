"""What every room stands on: faults, units, figures that may be told, progress, Ctrl-C."""
