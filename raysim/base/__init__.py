"""What every room stands on: faults, units, checked figures, progress, Ctrl-C."""
