"""Ready-made, invented parts for the demo scenes."""
