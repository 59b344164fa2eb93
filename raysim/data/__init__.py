"""Data tables with their sources: surfaces at 254 nm, lamp types and stated assumptions."""
