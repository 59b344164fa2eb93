"""Mend what can only be meant in one way: triangles back to back, and turned ones."""

import numpy as np

from raysim.base.fault_codes import Code
from raysim.scene.mesh.fault import MeshFault

# Of the area of one piece: if more is turned, nobody can tell which side was meant to be outside
# (own choice).
MOST_TURNED = 1.0 / 3.0


def backs(faces: np.ndarray, keep: np.ndarray) -> np.ndarray:
    """Kept faces, (faces,) bool, that lie back to back on an earlier one.

    `faces` (faces, 3); of those in `keep` (faces,) bool no two have the same corners in the same
    order of rotation.
    """
    corners = np.sort(faces, axis=1)
    proper = np.flatnonzero(keep & (np.diff(corners, axis=1) > 0).all(axis=1))
    codes = _as_numbers(corners[proper])
    _, first = np.unique(codes, return_index=True)
    found = np.zeros(len(faces), bool)
    found[np.delete(proper, first)] = True
    return found


def refuse_backs(faces: np.ndarray, keep: np.ndarray, back: np.ndarray, repair: bool) -> None:
    """Refuse faces back to back, unless they are to be taken out and can be.

    Where one of a pair would be left as a wall between spaces or where a sheet meets something
    else, nobody can tell whether it was drawn on purpose; where all are double, it was not.

    Raises
    ------
    MeshFault
    """
    if not back.any():
        return
    left = keep & ~back
    all_double = 2 * int(back.sum()) == int(keep.sum())
    unclear = not all_double and _meets_others(faces, left, back)
    if unclear or not repair:
        why = ", and where they meet others nobody can tell which is meant" if unclear else ""
        raise MeshFault(
            Code.MESH_BACK_TO_BACK,
            f"has {back.sum()} pairs of triangles back to back in one place, which shade each "
            f"other{why}",
            "delete one of each pair: an open sheet has two sides by itself",
        )


def _meets_others(faces: np.ndarray, left: np.ndarray, back: np.ndarray) -> bool:
    """Whether an edge of a pair would be one of more than two faces once `back` is taken out."""
    corners = np.sort(faces, axis=1)
    twins = left & np.isin(_as_numbers(corners), _as_numbers(corners[back]))
    edges = np.sort(faces[:, [[0, 1], [1, 2], [2, 0]]], axis=2)
    code = edges @ np.array([int(faces.max()) + 1, 1])
    many, count = np.unique(code[left], return_counts=True)
    return bool(np.isin(code[twins], many[count > 2]).any())


def _as_numbers(rows: np.ndarray) -> np.ndarray:
    """A number for each row (rows, 3), the same for equal rows and no others (definition)."""
    from trimesh.grouping import hashable_rows

    return np.asarray(hashable_rows(rows))


def turned_faces(faces: np.ndarray, areas: np.ndarray) -> np.ndarray | None:
    """Faces (faces,) bool to be turned so that neighbours agree; None if nobody can tell.

    Parameters
    ----------
    faces : (faces, 3) int64
    areas : (faces,) float64
        In any unit.

    Neighbours share an edge with nobody else. Nobody can tell where a piece has one side only (a
    twisted ring), or where more than `MOST_TURNED` of its area would be turned, unless all is one
    closed piece, whose outside is known by its volume.

    Source: connected components of face-sides, each joined to the same side of its neighbours.
    """
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    count = len(faces)
    edges = faces[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2)
    code = np.sort(edges, axis=1) @ np.array([int(faces.max()) + 1, 1])
    order = np.argsort(code, kind="stable")
    _, first, shared = np.unique(code[order], return_index=True, return_counts=True)
    one, other = order[first[shared == 2]], order[first[shared == 2] + 1]
    across = np.where(edges[one, 0] != edges[other, 0], 0, count)  # 0 where they agree already
    rows = np.concatenate([one // 3, one // 3 + count])
    columns = np.concatenate([other // 3 + across, other // 3 + count - across])
    joined = coo_array((np.ones(len(rows)), (rows, columns)), (2 * count, 2 * count))
    pieces, label = connected_components(joined, directed=False)
    front, back = label[:count], label[count:]
    if (front == back).any():
        return None
    piece, flipped = np.minimum(front, back), front > back
    there = np.bincount(piece, areas * flipped, pieces)
    whole = np.bincount(piece, areas, pieces)
    most = there > 0.5 * whole  # the majority stays as it is
    turned = np.where(most, whole - there, there)
    one_closed = bool((shared == 2).all()) and len(np.unique(piece)) == 1
    if not one_closed and (turned > MOST_TURNED * whole).any():
        return None
    return np.asarray(flipped != most[piece])
