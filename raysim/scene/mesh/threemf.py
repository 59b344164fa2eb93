"""3MF files as OBJ files, in memory: a zip of XML, of which nothing leads out of it."""

import io
import zipfile
from array import array
from collections.abc import Iterator, MutableSequence
from dataclasses import dataclass, field

import numpy as np

from raysim.scene.mesh.fault import Misfit, no_number, too_many_triangles

MOST_BYTES = 500_000_000  # of all models, unpacked
_ROOT = "3D/3dmodel.model"
_DEEPEST = 20  # objects made of objects
_Placed = tuple[str, str, np.ndarray]  # model ("" for the same), object, place (4, 3)


@dataclass
class _Shape:
    """One object: corners and triangles, or other objects in their places."""

    name: str
    corners: MutableSequence[float] = field(default_factory=lambda: array("d"))
    faces: MutableSequence[int] = field(default_factory=lambda: array("q"))
    pieces: list[_Placed] = field(default_factory=list)


def threemf_as_obj(data: bytes, most_faces: int, most_parts: int) -> bytes:
    """What a 3MF file builds, in its places and in its own numbers, as an OBJ file.

    Its unit is not looked at: meshes are read in the unit of the scene. Supports are left out.

    Raises
    ------
    Misfit, MeshFault
        Where it is broken or too large.

    Source: 3MF Core Specification 1.3; Production Extension 1.1 for objects in other models.
    """
    try:
        archive = zipfile.ZipFile(io.BytesIO(data))
    except zipfile.BadZipFile:
        raise Misfit("is no zip archive") from None
    if sum(entry.file_size for entry in archive.infolist()) > MOST_BYTES:
        raise Misfit(f"unpacks to more than {MOST_BYTES:,} bytes")
    text: list[str] = []
    corners, triangles = 1, 0
    for part, (shape, place) in enumerate(_built(archive, most_parts), 1):
        vertices = np.array(shape.corners).reshape(-1, 3)
        faces = np.array(shape.faces).reshape(-1, 3)
        triangles += len(faces)
        if triangles > most_faces:
            raise too_many_triangles(most_faces)
        if faces.min(initial=0) < 0 or faces.max(initial=-1) >= len(vertices):
            raise Misfit("has a triangle with a corner that does not exist")
        if np.linalg.det(place[:3]) < 0.0:
            faces = faces[:, ::-1]  # mirroring reverses the order of corners
        text.append(f"o {shape.name}" + (f" {part}" if part > 1 else ""))
        there = vertices @ place[:3] + place[3]
        text += ["v {!r} {!r} {!r}".format(*corner) for corner in there.tolist()]
        text += ["f {} {} {}".format(*face) for face in (faces + corners).tolist()]
        corners += len(vertices)
    return "\n".join([*text, ""]).encode("utf-8", "replace")


def _built(archive: zipfile.ZipFile, most_parts: int) -> Iterator[tuple[_Shape, np.ndarray]]:
    """Shapes that the file builds, each with its place (4, 3)."""
    models = {_ROOT: _Model(archive, _ROOT)}
    waiting = [(where or _ROOT, name, place, 0) for where, name, place in models[_ROOT].built]
    parts = 0
    while waiting:
        where, number, place, depth = waiting.pop(0)
        if where not in models:
            models[where] = _Model(archive, where)
        shape = models[where].shapes.get(number)
        if shape is None:
            raise Misfit(f"builds the object {number[:40]}, which is not there")
        if depth > _DEEPEST or parts + len(waiting) + len(shape.pieces) > most_parts:
            raise Misfit(f"has more than {most_parts:,} parts, or objects within themselves")
        for inner, name, own in shape.pieces:
            both = own @ place[:3]
            both[3] += place[3]
            waiting.append((inner or where, name, both, depth + 1))
        if shape.faces:
            parts += 1
            yield shape, place


class _Model:
    """Objects of one model of the archive by number, and what it builds."""

    def __init__(self, archive: zipfile.ZipFile, path: str) -> None:
        from xml.parsers.expat import ParserCreate

        self.shapes: dict[str, _Shape] = {}
        self.built: list[_Placed] = []
        self._last = _Shape("")
        parser = ParserCreate(namespace_separator=" ")
        parser.StartElementHandler = self._begin
        parser.StartDoctypeDeclHandler = _refuse_doctype
        try:
            parser.Parse(archive.read(path.lstrip("/")), True)
        except KeyError as error:
            raise Misfit(f"lacks {str(error)[:60]}") from None
        except ValueError as error:
            raise error if isinstance(error, Misfit) else no_number() from None

    def _begin(self, name: str, attributes: dict[str, str]) -> None:
        match name.rpartition(" ")[2]:
            case "vertex":
                self._last.corners.extend(float(attributes[axis]) for axis in "xyz")
            case "triangle":
                self._last.faces.extend(int(attributes[corner]) for corner in ("v1", "v2", "v3"))
            case "object":
                number = attributes["id"]
                self._last = _Shape(" ".join(attributes.get("name", "").split()) or number)
                if attributes.get("type") != "support":
                    self.shapes[number] = self._last
            case "component":
                self._last.pieces.append(_placed(attributes))
            case "item":
                self.built.append(_placed(attributes))


def _refuse_doctype(*_: object) -> None:
    """Entities multiply, or lead to other files."""
    raise Misfit("declares a type of document, which 3MF does not have")


def _placed(attributes: dict[str, str]) -> _Placed:
    """Model, object and place of an item or a component."""
    path = next((value for key, value in attributes.items() if key.endswith(" path")), "")
    words = attributes.get("transform", "1 0 0 0 1 0 0 0 1 0 0 0").split()
    if len(words) != 12:
        raise Misfit("places an object by other than twelve numbers")
    return path, attributes["objectid"], np.array([float(word) for word in words]).reshape(4, 3)
