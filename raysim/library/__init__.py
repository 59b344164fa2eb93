"""Tables of the trade with their sources: surfaces, lamps, organisms, assumptions, meter heads."""
