"""Load mesh files: named parts, welded corners, no broken triangles."""

import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

FORMATS = {".stl", ".obj", ".ply", ".glb"}
LARGEST_MESH_FILE = 200_000_000  # bytes
MOST_TRIANGLES = 2_000_000


class MeshFault(ValueError):
    """A mesh file that cannot be used: what is wrong, and how to mend it."""

    def __init__(self, what: str, mend: str) -> None:
        super().__init__(what)
        self.what = what
        self.mend = mend


@dataclass(frozen=True)
class MeshPart:
    """One named part of a mesh file, in the file's own numbers."""

    name: str
    vertices: np.ndarray  # (vertices, 3) float64
    faces: np.ndarray  # (faces, 3) int64, every face with area
    closed: bool
    consistent: bool  # neighbouring faces agree on which side is outside
    turned_round: bool  # closed, but was inside out
    dropped: int  # faces without area that were left out


def load_parts(path: Path) -> list[MeshPart]:
    """Parts of an STL, OBJ, PLY or GLB file, welded and cleaned.

    Raises
    ------
    MeshFault
        Where the file is missing, broken, empty, too large or not finite.
    """
    _refuse_odd_file(path)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # broken numbers are told of in our own words
            geometries = _geometries(path)
            parts = [_clean(name, *arrays) for name, arrays in geometries]
    except MeshFault:
        raise
    except Exception as error:  # readers of foreign formats fail in every way there is
        reason = str(error).splitlines()[0][:120] if str(error) else type(error).__name__
        raise MeshFault(
            f"cannot be read as {path.suffix[1:].upper()} ({reason})", "export the mesh again"
        ) from None
    if sum(len(part.faces) for part in parts) == 0:
        raise MeshFault("holds no triangles", "export the mesh again, as triangles")
    if sum(len(part.faces) for part in parts) > MOST_TRIANGLES:
        raise MeshFault(f"holds more than {MOST_TRIANGLES:,} triangles", "simplify the mesh")
    return [part for part in parts if len(part.faces)]


def _refuse_odd_file(path: Path) -> None:
    if path.suffix.lower() not in FORMATS:
        raise MeshFault(
            f'"{path.suffix}" is not a mesh format known here', "use .stl, .obj, .ply or .glb"
        )
    try:
        there = path.is_file()
        size = path.stat().st_size if there else 0
    except (OSError, ValueError) as error:
        raise MeshFault(f"cannot be read ({error})", "check the name and the rights") from None
    if not there:
        raise MeshFault(f'there is no such file "{path}"', "paths are relative to the scene file")
    if size == 0:
        raise MeshFault("is an empty file", "export the mesh again")
    if size > LARGEST_MESH_FILE:
        raise MeshFault("is larger than 200 MB", "simplify the mesh")


def _geometries(path: Path) -> list[tuple[str, tuple[np.ndarray, np.ndarray]]]:
    """Name, and (vertices, faces) in the scene's frame, of every triangle mesh of a file."""
    import trimesh

    options: dict[str, Any] = {}
    if path.suffix.lower() == ".obj":
        options = {"split_objects": True, "group_material": False, "skip_materials": True}
    with path.open("rb") as file:
        scene = trimesh.load_scene(
            file, file_type=path.suffix.lower()[1:], process=False, **options
        )
    found = []
    for node in scene.graph.nodes_geometry:
        transform, geometry = scene.graph[node]
        mesh = scene.geometry[geometry]
        if not isinstance(mesh, trimesh.Trimesh):
            continue
        vertices = trimesh.transform_points(np.asarray(mesh.vertices, float), transform)
        found.append((node, geometry, (vertices, np.asarray(mesh.faces, np.int64))))
    if not found:
        raise MeshFault("holds no triangle mesh", "export the mesh again, as triangles")
    if len(found) == 1:
        return [("", found[0][2])]  # a single mesh is called after the file, if anything
    shapes = [shape for _, shape, _ in found]
    return [
        (str(node if shapes.count(shape) > 1 else shape), arrays) for node, shape, arrays in found
    ]


def _clean(name: str, vertices: np.ndarray, faces: np.ndarray) -> MeshPart:
    """Weld equal corners, drop faces without area, and note what kind of mesh it is."""
    import trimesh

    if len(faces) and (faces.min() < 0 or faces.max() >= len(vertices)):
        raise MeshFault("a face names a corner that does not exist", "export the mesh again")
    used = vertices[np.unique(faces)] if len(faces) else vertices[:0]
    if not np.isfinite(used).all():
        raise MeshFault("a corner is not a finite number", "export the mesh again")
    mesh = trimesh.Trimesh(vertices, faces, process=False)
    mesh.merge_vertices(merge_tex=True, merge_norm=True)
    size = float(np.ptp(mesh.vertices, axis=0).max()) if len(mesh.vertices) else 0.0
    keep = mesh.area_faces > 1e-14 * size * size
    dropped = int((~keep).sum())
    if dropped:
        mesh.update_faces(keep)
    closed = bool(mesh.is_watertight)
    consistent = bool(mesh.is_winding_consistent)
    turned_round = closed and consistent and mesh.volume < 0.0
    if turned_round:
        mesh.invert()
    return MeshPart(
        name,
        np.array(mesh.vertices, float),
        np.array(mesh.faces, np.int64),
        closed,
        consistent,
        bool(turned_round),
        dropped,
    )
