"""Mesh files in formats that another one can say: turned into that, in memory."""

from pathlib import Path

from raysim.scene.mesh.gltf import gltf_as_glb
from raysim.scene.mesh.off import off_as_ply
from raysim.scene.mesh.threemf import threemf_as_obj

LARGEST_MESH_FILE = 200_000_000  # of a mesh file, or of what it keeps beside it
MOST_TRIANGLES = 2_000_000
MOST_PARTS = 1000


def converted(data: bytes, path: Path, folder: Path) -> tuple[bytes, str]:
    """A mesh file as stl, obj, ply or glb, and which of these.

    `path` of the file, and the `folder` of the scene, outside of which nothing is opened.

    Raises
    ------
    Misfit, MeshFault
        Where the file contradicts itself.
    """
    kind = path.suffix.lower()[1:]
    if kind == "off":
        return off_as_ply(data), "ply"
    if kind == "3mf":
        return threemf_as_obj(data, MOST_TRIANGLES, MOST_PARTS), "obj"
    if kind in ("gltf", "glb"):
        whole = data if kind == "glb" and b'"uri"' not in data else None
        return whole or gltf_as_glb(data, path, folder, LARGEST_MESH_FILE), "glb"
    return data, kind
