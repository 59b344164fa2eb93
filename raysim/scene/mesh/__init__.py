"""Mesh files: read safely, doubted, and made into triangles that may be traced."""
