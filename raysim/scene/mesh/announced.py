"""Number of triangles that a mesh file announces, found before a reader of foreign formats sees it.

A hundred bytes can announce fifty million triangles, and a file that is cut short can still be read
in part. The number is compared with the limits first, and later with the triangles that were read.
"""

import json
import re
import struct
from dataclasses import dataclass
from typing import Any

from raysim.scene.mesh.fault import Misfit

# Elements that a reader may leave out without changing the shape.
_HARMLESS = ("KHR_materials_", "KHR_texture_", "KHR_lights_", "EXT_texture_")

_SOLID = re.compile(rb"^[ \t]*solid\b", re.I | re.M)
_END_OF_SOLID = re.compile(rb"^[ \t]*endsolid\b", re.I | re.M)
_FACET = re.compile(rb"^[ \t]*facet\b", re.I | re.M)
_END_OF_FACET = re.compile(rb"^[ \t]*endfacet\b", re.I | re.M)
_OBJ_FACE = re.compile(rb"\n[ \t]*f[ \t]")  # a pattern that begins with a letter is found sooner
_OBJ_PART = re.compile(rb"\n[ \t]*[og][ \t]")
_OBJ_STUMP = re.compile(rb"^[ \t]*f(?:[ \t]+[^\s#]+){0,2}[ \t]*(?:#.*)?$", re.M)
_OBJ_ZERO = re.compile(rb"^[ \t]*f[ \t](?:[^\n#]*[ \t])?0(?=[/\s]|$)", re.M)


@dataclass(frozen=True)
class Announced:
    """Least number of triangles, and named parts, that a file announces."""

    triangles: int
    parts: int = 1


def announced(data: bytes, kind: str) -> Announced:
    """Triangles and parts that a mesh file announces.

    Parameters
    ----------
    data : bytes
        The whole file.
    kind : str
        stl, obj, ply or glb.

    Raises
    ------
    Misfit
        If the file contradicts itself: it is cut short, or of another kind.
    """
    return {"stl": _stl, "obj": _obj, "ply": _ply, "glb": _glb}[kind](data)


def _stl(data: bytes) -> Announced:
    if len(data) >= 84:
        (count,) = struct.unpack_from("<I", data, 80)
        if len(data) == 84 + 50 * count:
            return Announced(count)
        if not data[:80].lstrip().lower().startswith(b"solid") or b"\0" in data[:2000]:
            held = (len(data) - 84) // 50
            raise Misfit(f"announces {count:,} triangles, but holds {held:,}")
    facets, parts = len(_FACET.findall(data)), len(_SOLID.findall(data))
    ends = len(_END_OF_FACET.findall(data)), len(_END_OF_SOLID.findall(data))
    if ends != (facets, parts):
        raise Misfit(f"begins {facets} facets in {parts} solids, but ends {ends[0]} in {ends[1]}")
    return Announced(facets, parts)


def _obj(data: bytes) -> Announced:
    stump = _OBJ_STUMP.search(data)
    if stump is not None:
        raise Misfit("has a face with fewer than three corners" + _line(data, stump.start()))
    zero = _OBJ_ZERO.search(data)
    if zero is not None:
        raise Misfit("names corner 0, and counts from 1" + _line(data, zero.start()))
    lines = b"\n" + data
    return Announced(len(_OBJ_FACE.findall(lines)), len(_OBJ_PART.findall(lines)))


def _line(data: bytes, place: int) -> str:
    """Line of a place in a text, in words."""
    return f" (line {data.count(bytes([10]), 0, place) + 1})"


def _ply(data: bytes) -> Announced:
    head, found, body = data.partition(b"end_header")
    if not data.startswith(b"ply") or not found:
        raise Misfit("has no head of a PLY file")
    counts = {}
    for line in head.decode("ascii", "replace").splitlines():
        words = line.split()
        if words[:1] == ["element"]:
            if len(words) != 3 or not words[2].isdecimal() or len(words[2]) > 18:
                raise Misfit(f'has a head with the line "{line[:40]}"')
            counts[words[1]] = int(words[2])
    if re.search(rb"^format\s+ascii\b", head, re.M):
        lines = sum(map(bool, map(bytes.strip, body.splitlines())))
        if lines != sum(counts.values()):
            raise Misfit(f"announces {sum(counts.values()):,} lines, but has {lines:,}")
    elif sum(counts.values()) > len(body):  # every element takes a byte at least
        raise Misfit(f"announces {sum(counts.values()):,} elements in {len(body):,} bytes")
    return Announced(counts.get("face", 0))


def _glb(data: bytes) -> Announced:
    magic, version, length = struct.unpack_from("<4sII", data) if len(data) >= 20 else (b"", 0, 0)
    if magic != b"glTF":
        raise Misfit("has no head of a GLB file")
    if version != 2:
        raise Misfit(f"is glTF {version}, and only glTF 2 is known here")
    if length != len(data):
        raise Misfit(f"announces {length:,} bytes, but has {len(data):,}")
    (size,) = struct.unpack_from("<I", data, 12)
    tree = json.loads(data[20 : 20 + size])
    for extension in tree.get("extensionsRequired", []):
        if not extension.startswith(_HARMLESS):
            without = ", so export it without compression" if "compression" in extension else ""
            raise Misfit(f"needs the extension {extension[:40]}, not known here{without}")
    if any("uri" in buffer for buffer in tree.get("buffers", [])):
        raise Misfit("keeps its numbers in another file")
    nodes = tree.get("nodes", [])
    uses = [nodes[number]["mesh"] for number in _nodes_shown(tree) if "mesh" in nodes[number]]
    sizes = [_triangles(tree, mesh) for mesh in tree.get("meshes", [])]
    return Announced(sum(sizes[use] for use in uses), len(uses))


def _nodes_shown(tree: dict[str, Any]) -> list[int]:
    """Nodes of the scene that the file shows; none may have two parents, or contain itself."""
    nodes = tree.get("nodes", [])
    scenes = tree.get("scenes", [])
    roots = scenes[tree.get("scene", 0)].get("nodes", []) if scenes else range(len(nodes))
    waiting, seen = list(roots), set()
    while waiting:
        number = waiting.pop()
        if number in seen and scenes:
            raise Misfit(f"hangs node {number} in two places")
        if number not in seen:
            seen.add(number)
            waiting += nodes[number].get("children", [])
    return sorted(seen)


def _triangles(tree: dict[str, Any], mesh: dict[str, Any]) -> int:
    """Triangles of one mesh by the counts of its accessors."""
    total = 0
    for primitive in mesh["primitives"]:
        used = [primitive["attributes"]["POSITION"]]
        used += [primitive["indices"]] if "indices" in primitive else []
        for accessor in (tree["accessors"][number] for number in used):
            if "bufferView" not in accessor or not accessor["count"] > 0:
                raise Misfit("names an array that holds nothing")
        count = int(tree["accessors"][used[-1]]["count"])
        total += {4: count // 3, 5: count - 2, 6: count - 2}.get(primitive.get("mode", 4), 0)
    return total
