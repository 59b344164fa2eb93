"""Tables of figures with their sources: surfaces, lamps, organisms, assumptions, meter heads."""
