"""Load mesh files: named parts, welded corners, no broken triangles."""

import difflib
import io
import logging
import re
import warnings
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from raysim.base.errors import printable
from raysim.base.fault_codes import Code
from raysim.scene.mesh.announced import announced
from raysim.scene.mesh.clean import MeshPart, cleaned
from raysim.scene.mesh.converted import LARGEST_MESH_FILE, MOST_PARTS, MOST_TRIANGLES, converted
from raysim.scene.mesh.fault import MeshFault, Misfit, no_number, too_many_triangles
from raysim.scene.mesh.only_triangles import Bent, only_triangles

FORMATS = {".stl", ".obj", ".ply", ".off", ".3mf", ".glb", ".gltf"}
AS_TRIANGLES = "export the mesh again, as triangles"
NO_NUMBER = "could not be read to its end"  # part of numpy's warning or error
LONGEST_NAME = 80  # letters of the name of a part

# What a reader of foreign formats logs of a file would stand on the terminal beside our own line.
logging.getLogger("trimesh").addHandler(logging.NullHandler())


def load_parts(path: Path, *, folder: Path | None = None, repair: bool = True) -> list[MeshPart]:
    """Parts of a mesh file, welded and cleaned; `repair` as in `cleaned`.

    What the file keeps in others beside it is read inside of `folder` only (default its own).

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
            geometries, bent = _geometries(path, folder or path.parent)
            parts = [
                replace(cleaned(name, *arrays, repair=repair), bent=bent)
                for name, arrays in geometries
            ]
    except (MeshFault, MemoryError):
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
        raise MeshFault(Code.MESH_FORMAT, what, "use .stl, .obj, .ply, .off, .3mf, .glb or .gltf")
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
    path: Path, folder: Path
) -> tuple[list[tuple[str, tuple[np.ndarray, np.ndarray]]], Bent | None]:
    """Name and (vertices, faces) in the scene's frame, of every mesh of a file, and bent faces."""
    import trimesh

    data, kind = converted(path.read_bytes(), path, folder)
    if kind in ("stl", "obj"):
        data = _plain_text(data, kind)
    promise = announced(data, kind)
    if promise.triangles > MOST_TRIANGLES:
        raise too_many_triangles(MOST_TRIANGLES)
    if promise.parts > MOST_PARTS:
        what = f"holds more than {MOST_PARTS:,} parts"
        raise MeshFault(Code.MESH_TOO_LARGE, what, "join the parts")
    plain = only_triangles(data, kind, promise.triangles, MOST_TRIANGLES)
    options: dict[str, Any] = {"skip_materials": True} if kind != "stl" else {}
    if kind == "obj":
        options |= {"split_objects": True, "group_material": False}
    # Bytes, not the path: a reader that knows the folder would open other files named in this one.
    scene = trimesh.load_scene(io.BytesIO(plain.data), file_type=kind, process=False, **options)
    found = [placed for node in scene.graph.nodes_geometry if (placed := _placed(scene, node))]
    if not found:
        raise MeshFault(Code.MESH_EMPTY, "holds no triangle mesh", AS_TRIANGLES)
    read = sum(len(faces) for _, _, (_, faces) in found)
    # More triangles mean that a face with more corners was taken for a triangle and cut blindly.
    if read < plain.count or (read > plain.count and kind != "glb"):
        what = f"announces {plain.count:,} triangles, and {read:,} can be read"
        raise MeshFault(Code.MESH_INCOMPLETE, what, AS_TRIANGLES)
    if len(found) == 1:
        return [("", found[0][2])], plain.bent  # a single mesh needs no name of its own
    return list(zip(_names(found), [arrays for _, _, arrays in found], strict=True)), plain.bent


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
