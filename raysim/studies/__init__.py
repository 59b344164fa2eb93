"""Questions that take more than one trace: each composes what `raysim.run` and below offer."""
