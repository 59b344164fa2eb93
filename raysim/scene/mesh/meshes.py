"""Load mesh files: named parts, welded corners, no broken triangles."""

import difflib
import io
import re
import warnings
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from raysim.base.errors import printable
from raysim.base.fault_codes import Code
from raysim.scene.mesh.announced import announced
from raysim.scene.mesh.enclosure import signed_volume
from raysim.scene.mesh.fault import MeshFault, Misfit, no_number, too_many_triangles
from raysim.scene.mesh.only_triangles import Bent, only_triangles

FORMATS = {".stl", ".obj", ".ply", ".glb"}
LARGEST_MESH_FILE = 200_000_000  # bytes
MOST_TRIANGLES = 2_000_000
MOST_PARTS = 1000
AS_TRIANGLES = "export the mesh again, as triangles"
NO_NUMBER = "could not be read to its end"  # part of numpy's warning or error
LONGEST_NAME = 80  # letters of the name of a part
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
    bent: Bent | None = None  # faces of the whole file that were not flat


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
            warnings.simplefilter("ignore")  # broken numbers get a message of our own
            warnings.filterwarnings("error", message=f".*{NO_NUMBER}")
            geometries, bent = _geometries(path)
            parts = [replace(_clean(name, *arrays), bent=bent) for name, arrays in geometries]
    except MeshFault:
        raise
    except PermissionError:
        what = "must not be read (Permission denied)"
        raise MeshFault(Code.MESH_UNREADABLE, what, "check the rights") from None
    except Exception as error:  # readers of foreign formats fail in every way there is
        if NO_NUMBER in str(error):
            raise no_number() from None
        reason = str(error).splitlines()[0][:120] if str(error) else type(error).__name__
        it = "it " if isinstance(error, Misfit) else ""
        what = f"cannot be read as {path.suffix[1:].upper()} ({it}{reason})"
        raise MeshFault(Code.MESH_UNREADABLE, what) from None
    if not any(len(part.faces) for part in parts):
        raise MeshFault(Code.MESH_EMPTY, "holds no triangles", AS_TRIANGLES)
    if sum(len(part.faces) for part in parts) > MOST_TRIANGLES:
        raise too_many_triangles(MOST_TRIANGLES)
    return [part for part in parts if len(part.faces)]


def _nearest_file(path: Path) -> str:
    """What may have been meant by the name of a mesh that is not there."""
    where = "paths are relative to the scene file"
    try:
        there = [one for one in path.parent.iterdir() if one.suffix.lower() in FORMATS]
    except (OSError, ValueError):
        return where
    by_stem = {one.stem.casefold(): one.name for one in there if one.name.isprintable()}
    close = difflib.get_close_matches(path.stem.casefold(), by_stem, n=1)
    return f'did you mean "{by_stem[close[0]]}"? {where}' if close else where


def _refuse_odd_file(path: Path) -> None:
    if path.suffix.lower() not in FORMATS:
        what = f'"{path.suffix}" is not a mesh format known here'
        raise MeshFault(Code.MESH_FORMAT, what, "use .stl, .obj, .ply or .glb")
    try:
        there = path.is_file()
        size = path.stat().st_size if there else 0
    except (OSError, ValueError) as error:
        what, mend = f"cannot be read ({error})", "check the name and the rights"
        raise MeshFault(Code.MESH_UNREADABLE, what, mend) from None
    if not there and path.exists():  # a folder; a pipe would keep us waiting, a device has no end
        raise MeshFault(Code.MESH_UNREADABLE, "is no ordinary file", "name a mesh file")
    if not there:
        raise MeshFault(Code.MESH_MISSING, "is not there (no such file)", _nearest_file(path))
    if size == 0:
        raise MeshFault(Code.MESH_EMPTY, "is an empty file")
    if size > LARGEST_MESH_FILE:
        raise MeshFault(Code.MESH_TOO_LARGE, "is larger than 200 MB", "simplify the mesh")


def _geometries(
    path: Path,
) -> tuple[list[tuple[str, tuple[np.ndarray, np.ndarray]]], Bent | None]:
    """Name and (vertices, faces) in the scene's frame, of every mesh of a file, and bent faces."""
    import trimesh

    kind = path.suffix.lower()[1:]
    data = path.read_bytes()
    if kind in ("stl", "obj"):
        data = _plain_text(data, kind)
    promise = announced(data, kind)
    if promise.triangles > MOST_TRIANGLES:
        raise too_many_triangles(MOST_TRIANGLES)
    if promise.parts > MOST_PARTS:
        what = f"holds more than {MOST_PARTS:,} parts"
        raise MeshFault(Code.MESH_TOO_LARGE, what, "join the parts")
    anew = only_triangles(data, kind, MOST_TRIANGLES)
    data, count, bent = (
        (anew.data, anew.count, anew.bent) if anew else (data, promise.triangles, None)
    )
    options: dict[str, Any] = {"skip_materials": True} if kind != "stl" else {}
    if kind == "obj":
        options |= {"split_objects": True, "group_material": False}
    # Bytes, not the path: a reader that knows the folder would open other files named in this one.
    scene = trimesh.load_scene(io.BytesIO(data), file_type=kind, process=False, **options)
    found = [placed for node in scene.graph.nodes_geometry if (placed := _placed(scene, node))]
    if not found:
        raise MeshFault(Code.MESH_EMPTY, "holds no triangle mesh", AS_TRIANGLES)
    read = sum(len(faces) for _, _, (_, faces) in found)
    # More triangles mean that a face with more corners was taken for a triangle and cut blindly.
    if read < count or (read > count and kind != "glb"):
        what = f"announces {count:,} triangles, and {read:,} can be read"
        raise MeshFault(Code.MESH_INCOMPLETE, what, AS_TRIANGLES)
    if len(found) == 1:
        return [("", found[0][2])], bent  # a single mesh needs no name of its own
    return list(zip(_names(found), [arrays for _, _, arrays in found], strict=True)), bent


def _plain_text(data: bytes, kind: str) -> bytes:
    """A text file in UTF-8, whatever its encoding was; a binary STL unchanged."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return data.decode("utf-16").encode()
    if kind == "stl" and (b"\0" in data[:2000] or not data[:80].lstrip().startswith(b"solid")):
        return data
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        data = data.decode("latin-1").encode()
    if b"\n" not in data:
        data = data.replace(b"\r", b"\n")
    if kind == "obj":
        data = re.sub(
            rb"[ \t]#[^\n]*", b"", data
        )  # comments at the end of a line, which trimesh would read
    return data.removeprefix(b"\xef\xbb\xbf").replace(b"\\\r\n", b" ").replace(b"\\\n", b" ")


def _placed(scene: Any, node: str) -> tuple[str, str, tuple[np.ndarray, np.ndarray]] | None:
    """Names of a node and of its mesh, and (vertices, faces) where the node puts them."""
    import trimesh

    transform, geometry = scene.graph[node]
    mesh = scene.geometry[geometry]
    if not isinstance(mesh, trimesh.Trimesh):
        return None
    vertices = trimesh.transform_points(np.asarray(mesh.vertices, float), transform)
    faces = np.asarray(mesh.faces, np.int64)
    if np.linalg.det(transform[:3, :3]) < 0.0:
        faces = faces[:, ::-1]  # mirroring reverses the order of corners
    return node, geometry, (vertices, faces)


def _names(found: list[tuple[str, str, Any]]) -> list[str]:
    """Unique names of parts: that of the shape, or of the node where a shape is used twice."""
    shapes = [shape for _, shape, _ in found]
    names: list[str] = []
    for node, shape, _ in found:
        name = printable(str(node if shapes.count(shape) > 1 else shape))[:LONGEST_NAME]
        double = sum(other.startswith(name) for other in names) if name in names else 0
        names.append(f"{name} ({double + 1})" if double else name)
    return names


def _clean(name: str, vertices: np.ndarray, faces: np.ndarray) -> MeshPart:
    """Weld equal corners, drop faces without area, and note the properties of the mesh."""
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
    keep = (mesh.area_faces > 1e-14 * size * size) & _first_of_its_kind(np.asarray(mesh.faces))
    dropped = int((~keep).sum())
    if dropped:
        mesh.update_faces(keep)
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
        dropped,
        _loose(mesh),
    )


def _loose(mesh: Any) -> int:
    """Number of faces that share no edge with any other (definition)."""
    return len(mesh.faces) - len(np.unique(mesh.face_adjacency))


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


def _first_of_its_kind(faces: np.ndarray) -> np.ndarray:
    """Whether each face (faces,) is the first with its corners in this order of rotation.

    Raises
    ------
    MeshFault
        If two faces lie on each other, back to back: each would shade the other.
    """
    from trimesh.grouping import hashable_rows

    lowest = faces.argmin(axis=1)[:, None] if len(faces) else np.zeros((0, 1), int)
    turned = np.take_along_axis(faces, (lowest + np.arange(3)) % 3, axis=1)
    _, first = np.unique(hashable_rows(turned), return_index=True)
    keep = np.zeros(len(faces), bool)
    keep[first] = True
    proper = (np.diff(np.sort(turned, axis=1), axis=1) > 0).all(axis=1)
    back = turned[:, [0, 2, 1]][keep & proper]
    both = np.vstack([turned[keep & proper], back])
    double = (len(both) - len(np.unique(hashable_rows(both)))) // 2
    if double:
        raise MeshFault(
            Code.MESH_BACK_TO_BACK,
            f"has {double} pairs of triangles back to back in one place, which shade each other",
            "delete one of each pair: an open sheet has two sides by itself",
        )
    return keep
