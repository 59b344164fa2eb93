"""A mesh file with every face cut into triangles, before the reader of foreign formats sees it."""

from dataclasses import dataclass

from raysim.base.fault_codes import Code
from raysim.scene.mesh.drawn_faces import obj_faces
from raysim.scene.mesh.fault import MeshFault, too_many_triangles
from raysim.scene.mesh.ply_faces import ply_faces
from raysim.scene.mesh.polygons import BadPolygon, cut

# Degrees between a face and a triangle that it is cut into. A face that is not flat can be cut in
# more than one way, and nobody knows which was meant. The light on a surface goes with the cosine
# of incidence: at 45 degrees, a lean of 2 degrees changes it by 3.5 %, one of 20 by 36 % (tan 45 x
# the lean). From 2 degrees on there is a warning, from 20 an error; both limits are our own choice.
LEAN_TOLD, LEAN_REFUSED = 2.0, 20.0
_FORMATS = {"obj": obj_faces, "ply": ply_faces}  # STL and GLB hold nothing but triangles


@dataclass(frozen=True)
class Bent:
    """Faces of a mesh file that are not flat."""

    count: int
    lean: float  # degrees: largest angle between a face and a triangle cut from it
    where: str  # place of that face, in words


@dataclass(frozen=True)
class OnlyTriangles:
    """A mesh file of triangles."""

    data: bytes
    count: int
    bent: Bent | None


def only_triangles(data: bytes, kind: str, count: int, most: int) -> OnlyTriangles:
    """The mesh file with triangles in place of all faces of more than three corners.

    Parameters
    ----------
    data : bytes
        The whole file.
    kind : str
        stl, obj, ply or glb.
    count, most : int
        Number of faces that the file announces, and largest number of triangles.

    Raises
    ------
    MeshFault
        If a face cannot be cut or is far from flat, or if more than `most` triangles result.
    Misfit
        If the file contradicts itself.
    """
    drawn = _FORMATS[kind](data) if kind in _FORMATS else None
    if drawn is None:
        return OnlyTriangles(data, count, None)
    if (drawn.polygons.counts - 2).sum() > most:
        raise too_many_triangles(most)
    try:
        pieces = cut(drawn.polygons)
    except BadPolygon as bad:
        what = f"has a face that {bad.what} ({drawn.where(bad.face)})"
        mend = "mend that face in the mesh editor, and export again"
        raise MeshFault(Code.MESH_BAD_FACE, what, mend) from None
    worst = int(pieces.lean.argmax())
    bent = Bent(int((pieces.lean > LEAN_TOLD).sum()), float(pieces.lean[worst]), drawn.where(worst))
    if bent.lean > LEAN_REFUSED:
        raise MeshFault(
            Code.MESH_BAD_FACE,
            f"has a face that is far from flat ({bent.where}): cut into triangles, one of them "
            f"leans {bent.lean:.0f} degrees from the plane of the whole",
            "cut it into triangles in the mesh editor, where it shows which way it folds",
        )
    return OnlyTriangles(
        drawn.with_triangles(pieces), len(pieces.triangles), bent if bent.count else None
    )
