"""Mesh files: read safely, checked, and made into triangles that can be traced."""
