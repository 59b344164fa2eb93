"""Mesh files of the demo shapes as bytes: OBJ, STL and PLY.

Coordinates are millimetres rounded to 0.001 mm, so that the files come out byte for byte the
same each time. To keep the parts of an OBJ file apart, load it with
``trimesh.load(path, split_objects=True)``.
"""

from __future__ import annotations

import numpy as np
import trimesh

from raysim.starter.cup import cup_strap_fallen_in
from raysim.starter.flat_fold import flat_fold
from raysim.starter.hooks import hook, rail
from raysim.starter.shapes import SHAPES
from raysim.starter.sheets import Array, Parts

NOTE = "invented generic shape, millimetres, z up, outside faces -y"


def _rounded(points: Array) -> Array:
    """Coordinates (..., 3) in mm to three decimals, without negative zeros."""
    rounded: Array = np.round(points, 3) + 0.0
    return rounded


def obj_bytes(parts: Parts) -> bytes:
    """Wavefront OBJ with one object per part."""
    lines = [f"# {NOTE}, origin at the hook point"]
    first = 1
    for name, mesh in parts.items():
        lines.append(f"o {name}")
        lines += ["v {:.3f} {:.3f} {:.3f}".format(*v) for v in _rounded(mesh.vertices)]
        lines += ["f {} {} {}".format(*f) for f in np.asarray(mesh.faces) + first]
        first += len(mesh.vertices)
    return ("\n".join(lines) + "\n").encode("ascii")


def stl_bytes(mesh: trimesh.Trimesh) -> bytes:
    """Binary STL."""
    corners = _rounded(mesh.vertices)[mesh.faces]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    record = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
    table = np.zeros(len(corners), dtype=record)
    table["normal"], table["corners"] = _rounded(trimesh.unitize(normals)), corners
    count = len(corners).to_bytes(4, "little")
    return NOTE.encode("ascii").ljust(80) + count + table.tobytes()


def ply_bytes(mesh: trimesh.Trimesh) -> bytes:
    """Binary little-endian PLY."""
    header = (
        f"ply\nformat binary_little_endian 1.0\ncomment {NOTE}\n"
        f"element vertex {len(mesh.vertices)}\n"
        "property float x\nproperty float y\nproperty float z\n"
        f"element face {len(mesh.faces)}\n"
        "property list uchar int vertex_indices\nend_header\n"
    )
    table = np.zeros(len(mesh.faces), dtype=[("count", "u1"), ("corners", "<i4", 3)])
    table["count"], table["corners"] = 3, mesh.faces
    vertices = _rounded(mesh.vertices).astype("<f4")
    return header.encode("ascii") + vertices.tobytes() + table.tobytes()


def mesh_files() -> dict[str, bytes]:
    """File name and content of every ready-made mesh."""
    return {shape.file: obj_bytes(shape.make()) for shape in SHAPES.values()} | {
        "cup_strap_fallen_in.obj": obj_bytes(cup_strap_fallen_in()),
        "flat_fold_shut.obj": obj_bytes(flat_fold(0.0)),
        "hook.stl": stl_bytes(hook()),
        "rail.ply": ply_bytes(rail()),
    }
