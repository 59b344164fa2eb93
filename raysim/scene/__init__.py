"""From a scene file to triangles: read, load meshes, place, split, check."""
