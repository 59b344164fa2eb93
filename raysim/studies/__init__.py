"""Questions that take more than one trace."""
