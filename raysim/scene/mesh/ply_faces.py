"""Faces of PLY files as they were drawn, read if not all are triangles, or some are strips."""

import re
import struct
from dataclasses import dataclass

import numpy as np

from raysim.scene.mesh.drawn_faces import DrawnFile, numbers_in
from raysim.scene.mesh.fault import Misfit
from raysim.scene.mesh.polygons import Cut, Polygons

# Type letters of `struct` and numpy.
_TYPES = {
    "char": "b", "uchar": "B", "short": "h", "ushort": "H", "int": "i", "uint": "I",
    "float": "f", "double": "d", "int8": "b", "uint8": "B", "int16": "h", "uint16": "H",
    "int32": "i", "uint32": "I", "int64": "q", "uint64": "Q", "float16": "e", "float32": "f",
    "float64": "d",
}  # fmt: skip
_LISTS_OF_CORNERS = ("vertex_index", "vertex_indices")
_HEAD = (
    "ply\nformat binary_little_endian 1.0\nelement vertex {}\nproperty double x\n"
    "property double y\nproperty double z\nelement face {}\n"
    "property list uchar int vertex_indices\nend_header\n"
)
_ENDS = "ends within its faces"
_STRIPS = "tristrips"  # rows of triangles, each with two corners of the one before; -1 ends a row
_LISTED = ("face", _STRIPS)
_Found = tuple[np.ndarray, np.ndarray, np.ndarray]  # points, corners and counts, as in Polygons


@dataclass(frozen=True)
class _Property:
    """A number of every corner or face, or a list of them; types as letters of `struct`."""

    name: str
    kind: str
    length: str = ""  # type of the length of a list


@dataclass(frozen=True)
class _Element:
    name: str
    count: int
    properties: list[_Property]

    def place(self, *names: str) -> int:
        """Number of the first property with one of these names (definition)."""
        found = [one.name in names for one in self.properties]
        if True not in found:
            raise Misfit(f"has no {names[0]} in its element {self.name}")
        return found.index(True)


def ply_faces(data: bytes) -> DrawnFile | None:
    """Faces of a PLY file; None if all are triangles one by one, or if it has none.

    Raises
    ------
    Misfit, MeshFault
        Where a corner or a face cannot be read.
    """
    head, _, rest = data.partition(b"end_header")
    body = rest.partition(b"\n")[2]
    announced = _elements(head.decode("ascii", "replace"))
    elements = [element for element in announced if element.count]
    names = {element.name for element in elements}
    if "vertex" not in names or not names & {"face", _STRIPS}:
        return None
    if re.search(rb"^format\s+ascii\b", head, re.M):
        found = _from_text(body, elements)
    else:
        big = re.search(rb"^format\s+binary_big", head, re.M)
        found = _from_bytes(body, elements, ">" if big else "<")
    if found is None or ((found[2] == 3).all() and _STRIPS not in names):
        return None
    polygons = Polygons(*found)

    def with_triangles(cut: Cut) -> bytes:
        rows = np.empty(len(cut.triangles), [("corners", "u1"), ("corner", "<i4", 3)])
        rows["corners"], rows["corner"] = 3, cut.triangles
        points = polygons.vertices.astype("<f8")
        return _HEAD.format(len(points), len(rows)).encode() + points.tobytes() + rows.tobytes()

    return DrawnFile(polygons, lambda face: f"face {face + 1}", with_triangles)


def _elements(head: str) -> list[_Element]:
    """Elements that a file header announces, in their order."""
    elements: list[_Element] = []
    for line in head.splitlines():
        match line.split():
            case ["element", name, count]:
                elements.append(_Element(name, int(count), []))
            case ["property", "list", length, kind, name]:
                own = _Property(name, _TYPES[kind], _TYPES[length])
                elements[-1].properties.append(own)
            case ["property", kind, name]:
                elements[-1].properties.append(_Property(name, _TYPES[kind]))
    return elements


def _list_of_corners(faces: _Element) -> int:
    """Number of the property that lists corners: by its name, or the only one."""
    return 0 if len(faces.properties) == 1 else faces.place(*_LISTS_OF_CORNERS)


def _plainly_triangles(body: bytes, elements: list[_Element]) -> bool:
    """Whether the file ends with the faces and all their lines begin with a 3: a quick test."""
    before = sum(element.count for element in elements[:-1])
    start = re.match(rb"(?:[^\n]*\n){%d}" % before, body)
    if start is None or elements[-1].name != "face":
        return False
    faces = elements[-1]
    return _list_of_corners(faces) == 0 and body.count(b"\n3 ", start.end() - 1) == faces.count


def _from_text(body: bytes, elements: list[_Element]) -> _Found | None:
    if _plainly_triangles(body, elements):
        return None
    lines = list(filter(bytes.strip, body.splitlines()))
    rows = {}
    for element in elements:
        rows[element.name], lines = (element, lines[: element.count]), lines[element.count :]
    try:
        faces = [_as_faces(name, *_faces_of_rows(*rows[name])) for name in _LISTED if name in rows]
        return (_points_of_rows(*rows["vertex"]), *_joined(faces))
    except IndexError:
        raise Misfit("has a line of too few numbers") from None


def _points_of_rows(vertices: _Element, rows: list[bytes]) -> np.ndarray:
    axes = [vertices.place(axis) for axis in "xyz"]
    if any(one.length for one in vertices.properties[: max(axes)]):
        raise Misfit("has lists before the places of its corners")
    words = [words[axis] for words in map(bytes.split, rows) for axis in axes]
    return np.array(numbers_in(words)).reshape(-1, 3)


def _faces_of_rows(faces: _Element, rows: list[bytes]) -> tuple[np.ndarray, np.ndarray]:
    """Corners and counts of faces."""
    wanted = _list_of_corners(faces)
    corners: list[float] = []
    counts: list[int] = []
    for row in rows:
        numbers = numbers_in(row.split())
        at = 0
        for one in faces.properties[:wanted]:
            at += 1 + int(numbers[at]) if one.length else 1
        counts.append(int(numbers[at]))
        corners += numbers[at + 1 : at + 1 + counts[-1]]
        if len(numbers) < at + 1 + counts[-1]:
            raise Misfit(_ENDS)
    return np.array(corners, np.int64), np.array(counts, np.int64)


def _from_bytes(body: bytes, elements: list[_Element], order: str) -> _Found:
    at, faces = 0, []
    for element in elements:
        table = _table(body, at, element, order)
        if element.name in _LISTED:
            wanted = _list_of_corners(element)
            if table is None:
                corners, counts, at = _walked(body, at, element, order, wanted)
                faces.append(_as_faces(element.name, corners, counts))
                continue
            lists = table[str(wanted)].astype(np.int64)
            counts = np.full(len(lists), lists.shape[1])
            faces.append(_as_faces(element.name, lists.reshape(-1), counts))
        elif table is None:
            raise Misfit(f"has lists of different lengths in its element {element.name}")
        elif element.name == "vertex":
            points = np.stack([table[str(element.place(axis))] for axis in "xyz"], axis=1)
        at += table.nbytes
    if at != len(body):
        raise Misfit(f"holds {len(body) - at:,} bytes more than it announces")
    return (points.astype(np.float64), *_joined(faces))


def _joined(faces: list[tuple[np.ndarray, np.ndarray]]) -> tuple[np.ndarray, np.ndarray]:
    """Corners and counts of several elements, one after the other."""
    corners, counts = zip(*faces, strict=True)
    return np.concatenate(corners), np.concatenate(counts)


def _as_faces(name: str, corners: np.ndarray, counts: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Corners and counts of faces; those of strips as triangles.

    Every second triangle of a strip runs the other way round; those with a corner twice only lead
    on to the next ones (definition of triangle strips).
    """
    if name != _STRIPS:
        return corners, counts
    ends = np.insert(corners, np.cumsum(counts), -1)
    since = np.where(ends == -1, np.arange(1, len(ends) + 1), 0)
    place = np.arange(len(ends)) - np.maximum.accumulate(since)
    three = np.stack([ends[:-2], ends[1:-1], ends[2:]], axis=1)
    odd = place[: len(three)] % 2 == 1
    three[odd] = three[odd][:, [1, 0, 2]]
    a, b, c = three.T
    three = three[(three != -1).all(axis=1) & (a != b) & (b != c) & (a != c)]
    return three.reshape(-1), np.full(len(three), 3)


def _table(body: bytes, at: int, element: _Element, order: str) -> np.ndarray | None:
    """Records of an element; None if its lists differ in length."""
    fields: list[tuple[str, str, tuple[int, ...]]] = []
    try:
        for number, one in enumerate(element.properties):
            shape: tuple[int, ...] = ()
            if one.length:
                shape = struct.unpack_from(order + one.length, body, at + np.dtype(fields).itemsize)
                fields.append((f"length {number}", order + one.length, ()))
            fields.append((str(number), order + one.kind, shape))
        table = np.frombuffer(body, np.dtype(fields), element.count, at)
    except (struct.error, ValueError):  # the file is too short, or the length is absurd
        return None
    lengths = [table[name] for name, _, _ in fields if name.startswith("length")]
    return table if all((length == length[:1]).all() for length in lengths) else None


def _walked(
    body: bytes, at: int, faces: _Element, order: str, wanted: int
) -> tuple[np.ndarray, np.ndarray, int]:
    """Corners and counts of faces, record by record, and where the last one ends."""
    corners: list[int] = []
    counts: list[int] = []
    try:
        for _ in range(faces.count):
            for number, one in enumerate(faces.properties):
                length = 1
                if one.length:
                    (length,) = struct.unpack_from(order + one.length, body, at)
                    at += struct.calcsize(order + one.length)
                if number == wanted:
                    corners += struct.unpack_from(f"{order}{length}{one.kind}", body, at)
                    counts.append(length)
                at += length * struct.calcsize(order + one.kind)
    except struct.error:
        raise Misfit(_ENDS) from None
    return np.array(corners, np.int64), np.array(counts, np.int64), at
