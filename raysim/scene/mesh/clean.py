"""Clean one part of a mesh: weld corners, drop and turn triangles, tell inside from outside."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from raysim.base.fault_codes import Code
from raysim.scene.mesh.enclosure import signed_volume
from raysim.scene.mesh.fault import MeshFault
from raysim.scene.mesh.mend import backs, refuse_backs, turned_faces
from raysim.scene.mesh.only_triangles import Bent

# With corners farther out, or a size below this, no unit of length makes sense.
FARTHEST_CORNER, SMALLEST_MESH = 1e9, 1e-4
# If more than this share of the faces is unconnected, corners were written with noise or too few
# digits. They are then joined within the second share of the mesh's size. Our own estimates.
LOOSE_SHARE, WELD = 0.1, 1e-5


@dataclass(frozen=True)
class MeshPart:
    """One named part of a mesh file, in the file's own numbers."""

    name: str
    vertices: np.ndarray  # (vertices, 3) float64
    faces: np.ndarray  # (faces, 3) int64, every face with area
    closed: bool
    consistent: bool  # neighbouring faces agree on which side is outside
    turned_round: bool  # closed, but it was inside out
    dropped: int  # faces left out: without area, or there twice
    loose: int  # faces without a neighbour, so that their outside is unknown
    backs: int = 0  # faces left out: back to back with another
    turned: int = 0  # faces turned so that neighbours agree
    bent: Bent | None = None  # faces of the whole file that were not flat


def cleaned(name: str, vertices: np.ndarray, faces: np.ndarray, *, repair: bool = True) -> MeshPart:
    """Weld equal corners, drop faces without area, and note the properties of the mesh.

    With `repair`, one face is left of each pair back to back, and turned faces are turned back.
    """
    import trimesh

    if len(faces) and (faces.min() < 0 or faces.max() >= len(vertices)):
        raise MeshFault(Code.MESH_BAD_FACE, "a face names a corner that does not exist")
    mesh = trimesh.Trimesh(vertices, faces, process=False)
    used = np.asarray(mesh.vertices)[mesh.referenced_vertices]
    if not np.isfinite(used).all():
        raise MeshFault(Code.MESH_BAD_NUMBER, "a corner is not a finite number")
    farthest = np.abs(used).max(initial=0.0)
    extent = np.ptp(used, axis=0).max() if len(used) else 0.0
    if farthest > FARTHEST_CORNER:
        what = f"has a corner at {farthest:.3g}, which fits no unit of length"
        raise MeshFault(Code.MESH_NO_UNIT, what)
    if 0.0 < extent < SMALLEST_MESH:
        what = f"measures {extent:.3g} in all, which fits no unit of length"
        raise MeshFault(Code.MESH_NO_UNIT, what)
    mesh.merge_vertices(merge_tex=True, merge_norm=True)
    size = float(np.ptp(mesh.vertices, axis=0).max()) if len(mesh.vertices) else 0.0
    if _loose(mesh) > LOOSE_SHARE * len(mesh.faces):
        mesh = trimesh.Trimesh(*welded(mesh.vertices, mesh.faces, WELD * size), process=False)
    keep = (mesh.area_faces > 1e-14 * size * size) & first_of_its_kind(np.asarray(mesh.faces))
    back = backs(np.asarray(mesh.faces), keep)
    refuse_backs(np.asarray(mesh.faces), keep, back, repair)
    if not keep.all() or back.any():
        mesh.update_faces(keep & ~back)
    turned = turn_faces(mesh) if repair and not mesh.is_winding_consistent else 0
    closed = bool(mesh.is_watertight)
    consistent = bool(mesh.is_winding_consistent)
    turned_round = closed and consistent and signed_volume(mesh.triangles) < 0.0
    if turned_round:
        mesh.invert()
    return MeshPart(
        name,
        np.array(mesh.vertices, float),
        np.array(mesh.faces, np.int64),
        closed,
        consistent,
        bool(turned_round),
        int((~keep).sum()),
        _loose(mesh),
        int(back.sum()),
        turned,
    )


def turn_faces(mesh: Any) -> int:
    """Turn faces of a trimesh so that neighbours agree, where all can be; returns how many."""
    turn = turned_faces(np.asarray(mesh.faces), np.asarray(mesh.area_faces))
    if turn is None:
        return 0
    mesh.faces = np.where(turn[:, None], mesh.faces[:, ::-1], mesh.faces)
    return int(turn.sum())


def _loose(mesh: Any) -> int:
    """Number of faces that share no edge with any other (definition)."""
    neighbours = np.bincount(np.ravel(mesh.face_adjacency), minlength=len(mesh.faces))
    return int((neighbours == 0).sum())


def welded(vertices: np.ndarray, faces: np.ndarray, reach: float) -> tuple[np.ndarray, np.ndarray]:
    """Corners within `reach` of each other taken as one, and the faces (n, 3) over them.

    Source: connected components of corners within `reach` (definition).
    """
    from scipy.spatial import cKDTree
    from trimesh.graph import connected_component_labels

    near = cKDTree(vertices).query_pairs(reach, output_type="ndarray")
    label = connected_component_labels(near, len(vertices))  # type: ignore[no-untyped-call]
    _, first = np.unique(label, return_index=True)
    return vertices[first], label[faces]


def first_of_its_kind(faces: np.ndarray) -> np.ndarray:
    """Whether each face (faces,) is the first with its corners in this order of rotation."""
    from trimesh.grouping import hashable_rows

    lowest = faces.argmin(axis=1)[:, None] if len(faces) else np.zeros((0, 1), int)
    turned = np.take_along_axis(faces, (lowest + np.arange(3)) % 3, axis=1)
    _, first = np.unique(hashable_rows(turned), return_index=True)
    keep = np.zeros(len(faces), bool)
    keep[first] = True
    return keep
