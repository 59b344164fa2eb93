"""Broken mesh files of every format: how each is made, and what must be said of it."""

import json
import os
import struct
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from scene_corpus import Case
from small_scenes import box, small_scene, write_scene

SQUARE = "v 0 0 0\nv 40 0 0\nv 40 0 40\nv 0 0 40\n"
WHOLE = SQUARE + "f 1 2 3\nf 1 3 4\n"
LOWER, UPPER = ("0 0 0", "40 0 0", "40 0 40"), ("0 0 0", "40 0 40", "0 0 40")
POINTS = "0 0 0\n40 0 0\n40 0 40\n0 0 40\n"
FACES = "3 0 1 2\n3 0 2 3\n"
CROSSED = "4 0 1 3 2\n"
# A square with two opposite corners far off the plane of the others.
BENT = "v 0 0 0\nv 40 25 0\nv 40 0 40\nv 0 25 40\nf 1 2 3 4\n"
FOUR = np.array([[0, 0, 0], [40, 0, 0], [40, 0, 40], [0, 0, 40]], "<f4").tobytes()
HUGE = 50_000_000


def mesh(
    name: str, content: str | bytes | Callable[[Path], Any], **keys: Any
) -> Callable[[Path], Any]:
    """The small scene whose judged object comes from this file, with further keys of the scene."""

    def write(folder: Path) -> None:
        data = small_scene() | keys
        data["object"][0]["mesh"] = name
        write_scene(folder, data)
        if callable(content):
            content(folder / name)
        else:
            (folder / name).write_bytes(content if isinstance(content, bytes) else content.encode())

    return write


def room(*shapes: Any, **keys: Any) -> Callable[[Path], Any]:
    """The small scene in a chamber of these shapes, with further keys of the scene."""
    import trimesh

    def write(folder: Path) -> None:
        data = small_scene() | keys
        data["chamber"] = {"mesh": "room.stl", "lining": "aluminium foil, bright side"}
        write_scene(folder, data)
        trimesh.util.concatenate(list(shapes)).export(folder / "room.stl")

    return write


def stl(*triangles: tuple[str, str, str], name: str = "a") -> str:
    """ASCII STL."""
    facet = "facet normal 0 0 0\nouter loop\nvertex {}\nvertex {}\nvertex {}\nendloop\nendfacet\n"
    return f"solid {name}\n" + "".join(facet.format(*t) for t in triangles) + f"endsolid {name}\n"


def binary_stl(count: int, *corners: tuple[float, ...]) -> bytes:
    """Binary STL that announces `count` triangles."""
    body = b"".join(struct.pack("<12fH", 0, 0, 0, *triangle, 0) for triangle in corners)
    return b"x" * 80 + struct.pack("<I", count) + body


def ply(points: Any, faces: Any, body: str | bytes, form: str = "ascii") -> bytes:
    """PLY file that announces so many points and faces."""
    head = (
        f"ply\nformat {form} 1.0\nelement vertex {points}\nproperty float x\nproperty float y\n"
        f"property float z\nelement face {faces}\nproperty list uchar int vertex_indices\n"
        "end_header\n"
    )
    return head.encode() + (body if isinstance(body, bytes) else body.encode())


def glb(tree: Any, numbers: bytes = b"") -> bytes:
    """GLB file of a tree and its numbers."""
    text = json.dumps(tree).encode()
    text += b" " * (-len(text) % 4)
    body = struct.pack("<I4s", len(text), b"JSON") + text
    if numbers:
        body += struct.pack("<I4s", len(numbers), b"BIN\0") + numbers
    return struct.pack("<4sII", b"glTF", 2, 12 + len(body)) + body


def square_glb(**changes: Any) -> bytes:
    """GLB file of a square, with parts of its tree replaced."""
    corners = np.array([[0, 0, 0], [40, 0, 0], [40, 0, 40], [0, 0, 40]], "<f4").tobytes()
    tree = {
        "asset": {"version": "2.0"},
        "scene": 0,
        "scenes": [{"nodes": [0]}],
        "nodes": [{"mesh": 0}],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 0}, "indices": 1}]}],
        "accessors": arrays(4, 6, stored=True),
        "bufferViews": [
            {"buffer": 0, "byteOffset": 0, "byteLength": 48},
            {"buffer": 0, "byteOffset": 48, "byteLength": 12},
        ],
        "buffers": [{"byteLength": 60}],
    }
    return glb(tree | changes, corners + np.array([0, 1, 2, 0, 2, 3], "<u2").tobytes())


def arrays(points: int, indices: int, stored: bool) -> list[dict[str, Any]]:
    """Accessors of so many points and indices, with the bytes behind them or without."""
    found: list[dict[str, Any]] = [
        {"componentType": 5126, "count": points, "type": "VEC3", "min": [0] * 3, "max": [40] * 3},
        {"componentType": 5123, "count": indices, "type": "SCALAR"},
    ]
    return [a | ({"bufferView": k} if stored else {}) for k, a in enumerate(found)]


TRIANGLE = (0, 0, 0, 40, 0, 0, 40, 0, 40)
STL = {
    "empty": Case("is an empty file", mesh("a.stl", b"")),
    "text": Case("cannot be read", mesh("a.stl", "hello world\n" * 20)),
    "zeros": Case("holds no triangle", mesh("a.stl", b"\0" * 70)),
    "no-triangles": Case("holds no triangle", mesh("a.stl", binary_stl(0))),
    "50-million-in-100-bytes": Case("announces 50,000,000", mesh("a.stl", binary_stl(HUGE) + b"\0" * 16)),
    "4-thousand-million": Case("announces 4,294,967,295", mesh("a.stl", binary_stl(2**32 - 1, TRIANGLE))),
    "cut-short": Case("announces 2", mesh("a.stl", binary_stl(2, TRIANGLE))),
    "cut-in-a-triangle": Case("announces 2", mesh("a.stl", binary_stl(2, TRIANGLE, TRIANGLE)[:-7])),
    "bytes-behind": Case("announces 1", mesh("a.stl", binary_stl(1, TRIANGLE) + b"\0" * 9)),
    "nan": Case("not a finite number", mesh("a.stl", binary_stl(1, (float("nan"), *TRIANGLE[1:])))),
    "infinite": Case("not a finite number", mesh("a.stl", binary_stl(1, (float("inf"), *TRIANGLE[1:])))),
    "far-away": Case("fits no unit", mesh("a.stl", binary_stl(1, (3e38, *TRIANGLE[1:])))),
    "no-area": Case("holds no triangles", mesh("a.stl", binary_stl(1, (0, 0, 0, 1, 0, 0, 2, 0, 0)))),
    "one-point": Case("holds no triangles", mesh("a.stl", binary_stl(1, (5.0,) * 9))),
    "ascii-cut": Case("begins 2 facets", mesh("a.stl", stl(LOWER, UPPER)[:150])),
    "ascii-cut-solid": Case("begins 2 facets in 2 solids", mesh("a.stl", stl(LOWER) + stl(UPPER)[:90])),
    "ascii-comma": Case("where a number should", mesh("a.stl", stl(LOWER, ("0,5 0 0", *UPPER[1:]), LOWER))),
    "ascii-word": Case("where a number should", mesh("a.stl", stl(LOWER, ("zero 0 0", *UPPER[1:])))),
    "ascii-two-numbers": Case("cannot be read", mesh("a.stl", stl(LOWER, ("0 0", *UPPER[1:])))),
    "ascii-facets-of-four": Case("announces 3 triangles, and 4", mesh("a.stl", stl(LOWER, LOWER, LOWER).replace("endloop", "vertex 0 0 40\nendloop"))),
    "ascii-on-one-line": Case("cannot be read", mesh("a.stl", stl(LOWER, UPPER).replace("\n", " "))),
    "ascii-ends-first": Case("cannot be read", mesh("a.stl", "endsolid\nsolid\n" + stl(LOWER))),
    "pipe": Case("no ordinary file", mesh("a.stl", os.mkfifo)),
    "device": Case("no ordinary file", mesh("a.stl", lambda path: path.symlink_to("/dev/zero"))),
    "folder": Case("no ordinary file", mesh("a.stl", lambda path: path.mkdir())),
    "link-to-itself": Case("no such file", mesh("a.stl", lambda path: path.symlink_to("a.stl"))),
}  # fmt: skip

PLY = {
    "text": Case("no head of a PLY", mesh("a.ply", "hello\n")),
    "head-only": Case("no head of a PLY", mesh("a.ply", "ply\nformat ascii 1.0\nelement vertex 3\n")),
    "50-million-in-300-bytes": Case("announces 100,000,000", mesh("a.ply", ply(HUGE, HUGE, POINTS))),
    "50-million-binary": Case("announces 100,000,000", mesh("a.ply", ply(HUGE, HUGE, b"\0" * 50, "binary_little_endian"))),
    "count-of-thirty-digits": Case("has a head with the line", mesh("a.ply", ply("9" * 30, 2, POINTS + FACES))),
    "count-below-zero": Case("has a head with the line", mesh("a.ply", ply(-4, 2, POINTS + FACES))),
    "count-in-words": Case("has a head with the line", mesh("a.ply", ply("four", 2, POINTS + FACES))),
    "face-missing": Case("announces 6 lines, but has 5", mesh("a.ply", ply(4, 2, POINTS + FACES[:8]))),
    "face-cut": Case("announces 2 triangles", mesh("a.ply", ply(4, 2, POINTS + FACES[:-3]))),
    "face-too-many": Case("announces 5 lines", mesh("a.ply", ply(4, 1, POINTS + FACES))),
    "comma": Case("where a number should", mesh("a.ply", ply(4, 2, POINTS.replace("40", "4,5", 1) + FACES))),
    "word": Case("where a number should", mesh("a.ply", ply(4, 2, POINTS.replace("40", "no", 1) + FACES))),
    "corner-below-zero": Case("a corner that does not exist", mesh("a.ply", ply(4, 2, POINTS + FACES.replace("2", "-2", 1)))),
    "corner-beyond": Case("does not exist", mesh("a.ply", ply(4, 2, POINTS + FACES.replace("2", "99999", 1)))),
    "nan": Case("not a finite number", mesh("a.ply", ply(4, 2, POINTS.replace("40", "nan", 1) + FACES))),
    "overflow": Case("not a finite number", mesh("a.ply", ply(4, 2, POINTS.replace("40", "1e400", 1) + FACES))),
    "utf-16": Case("no head of a PLY", mesh("a.ply", ply(4, 2, POINTS + FACES).decode().encode("utf-16"))),
    "binary-cut": Case("cannot be read", mesh("a.ply", ply(4, 2, b"\0" * 60, "binary_little_endian"))),
    "binary-form-unknown": Case("cannot be read", mesh("a.ply", ply(4, 2, b"\0" * 60, "compressed"))),
    "points-only": Case("holds no triangle", mesh("a.ply", ply(4, 0, POINTS))),
    "crossed": Case("crosses or touches itself (face 2)", mesh("a.ply", ply(4, 2, POINTS + "3 0 1 2\n" + CROSSED))),
    "crossed-binary": Case("crosses or touches itself (face 1)", mesh("a.ply", ply(4, 1, FOUR + b"\x04" + struct.pack("<4i", 0, 1, 3, 2), "binary_little_endian"))),
    "polygon-corner-below-zero": Case("a corner that does not exist (face 1)", mesh("a.ply", ply(4, 1, POINTS + "4 0 1 -2 3\n"))),
    "polygon-corner-beyond": Case("does not exist (face 1)", mesh("a.ply", ply(4, 1, POINTS + "4 0 1 4 3\n"))),
    "polygon-corner-in-words": Case("where a number should", mesh("a.ply", ply(4, 1, POINTS + "4 0 one 2 3\n"))),
    "polygon-nan": Case("not a finite number", mesh("a.ply", ply(4, 1, POINTS.replace("40", "nan", 1) + "4 0 1 2 3\n"))),
    "polygon-comma": Case("where a number should", mesh("a.ply", ply(4, 1, POINTS.replace("40", "4,5", 1) + "4 0 1 2 3\n"))),
    "polygon-cut": Case("ends within its faces", mesh("a.ply", ply(4, 1, POINTS + "4 0 1 2\n"))),
    "polygon-point-cut": Case("too few numbers", mesh("a.ply", ply(4, 1, POINTS.replace("40 0 0", "40 0") + "4 0 1 2 3\n"))),
    "polygon-binary-cut": Case("ends within its faces", mesh("a.ply", ply(4, 2, FOUR + b"\x04" + struct.pack("<3i", 0, 1, 2), "binary_little_endian"))),
    "polygon-binary-more": Case("bytes more than", mesh("a.ply", ply(4, 1, FOUR + b"\x04" + struct.pack("<5i", 0, 1, 2, 3, 4), "binary_little_endian"))),
    "face-of-two": Case("fewer than three corners (face 2)", mesh("a.ply", ply(4, 2, POINTS + "3 0 1 2\n2 0 1\n"))),
    "face-of-giants": Case("over 1000 corners (face 1)", mesh("a.ply", ply(4, 1, POINTS + "1004" + " 0 1 2 3" * 251 + "\n"))),
    "face-of-4-thousand-million": Case("cannot be read", mesh("a.ply", ply(4, 1, FOUR + b"\xff" * 60, "binary_little_endian").replace(b"list uchar", b"list uint"))),
    "doubled-back-to-back": Case("back to back", mesh("a.ply", ply(4, 4, POINTS + FACES + "3 2 1 0\n3 3 2 0\n"), repair=False)),
}  # fmt: skip

OBJ = {
    "text": Case("holds no triangle", mesh("a.obj", "hello\n")),
    "points-only": Case("holds no triangle", mesh("a.obj", SQUARE)),
    "face-of-two": Case("fewer than three corners (line 6)", mesh("a.obj", SQUARE + "f 1 2 3\nf 1 3\n")),
    "face-cut": Case("fewer than three corners", mesh("a.obj", (SQUARE + "f 1 2 3\nf 1 3 4")[:-2])),
    "face-of-giants": Case("over 1000 corners", mesh("a.obj", SQUARE + "f" + " 1 2 3 4" * 50_000 + "\n")),
    "corner-zero": Case("names corner 0", mesh("a.obj", SQUARE + "f 1 2 3\nf 0 2 3\n")),
    "corner-beyond": Case("cannot be read", mesh("a.obj", SQUARE + "f 1 2 3\nf 1 2 99999999999\n")),
    "corner-before": Case("does not exist (face 1, line 5)", mesh("a.obj", SQUARE + "f -9 -8 -7\n")),
    "crossed": Case("crosses or touches itself (face 2, line 6)", mesh("a.obj", SQUARE + "f 1 2 3\nf 1 2 4 3\n")),
    "far-from-flat": Case("far from flat (face 1, line 5)", mesh("a.obj", BENT)),
    "polygon-corner-beyond": Case("does not exist (face 1, line 5)", mesh("a.obj", SQUARE + "f 1 2 3 5\n")),
    "polygon-corner-before": Case("does not exist (face 1, line 5)", mesh("a.obj", SQUARE + "f 1 2 3 -9\n")),
    "polygon-corner-in-words": Case("where a number should", mesh("a.obj", SQUARE + "f 1 2 three 4\n")),
    "polygon-comma": Case("where a number should", mesh("a.obj", SQUARE.replace("40", "4,5", 1) + "f 1 2 3 4\n")),
    "polygon-two-numbers": Case("fewer than three numbers (line 2)", mesh("a.obj", SQUARE.replace("v 40 0 0", "v 40 0") + "f 1 2 3 4\n")),
    "polygon-nan": Case("not a finite number", mesh("a.obj", SQUARE.replace("40", "nan", 1) + "f 1 2 3 4\n")),
    "polygon-far-away": Case("fits no unit", mesh("a.obj", SQUARE.replace("40", "1e200") + "f 1 2 4 3\n")),
    "polygon-of-two-places": Case("holds no triangles", mesh("a.obj", SQUARE + "f 1 1 2 2\n")),
    "comma": Case("where a number should", mesh("a.obj", WHOLE.replace("40", "4,5", 1))),
    "word": Case("where a number should", mesh("a.obj", WHOLE.replace("40", "forty", 1))),
    "two-numbers": Case("cannot be read", mesh("a.obj", WHOLE.replace("v 40 0 0", "v 40 0"))),
    "nan": Case("not a finite number", mesh("a.obj", WHOLE.replace("40", "nan", 1))),
    "overflow": Case("not a finite number", mesh("a.obj", WHOLE.replace("40", "1e400", 1))),
    "far-away": Case("fits no unit", mesh("a.obj", WHOLE.replace("40", "1e200", 1))),
    "next-to-nothing": Case("fits no unit", mesh("a.obj", WHOLE.replace("40", "4e-20"))),
    "many-parts": Case("more than 1,000 parts", mesh("a.obj", SQUARE + "".join(f"o a{i}\nf 1 2 3\n" for i in range(20_000)))),
    "doubled-back-to-back": Case("back to back", mesh("a.obj", WHOLE + "f 3 2 1\nf 4 3 1\n", repair=False)),
    "mixed-sides": Case("face opposite ways", mesh("a.obj", SQUARE + "f 1 2 3\nf 1 4 3\n")),
    "png": Case("holds no triangle", mesh("a.obj", b"\x89PNG\r\n\x1a\n" + bytes(range(256)))),
}  # fmt: skip

GLB = {
    "text": Case("no head of a GLB", mesh("a.glb", "hello\n")),
    "head-only": Case("no head of a GLB", mesh("a.glb", square_glb()[:16])),
    "cut-in-the-tree": Case("announces", mesh("a.glb", square_glb()[:200])),
    "cut-in-the-numbers": Case("announces", mesh("a.glb", square_glb()[:-30])),
    "bytes-behind": Case("announces", mesh("a.glb", square_glb() + b"\0" * 8)),
    "length-lies": Case("announces 4,294,967,295 bytes", mesh("a.glb", square_glb()[:8] + b"\xff" * 4 + square_glb()[12:])),
    "version-1": Case("only glTF 2", mesh("a.glb", b"glTF\1\0\0\0" + square_glb()[8:])),
    "tree-is-a-list": Case("cannot be read", mesh("a.glb", glb([1, 2]))),
    "tree-is-text": Case("cannot be read", mesh("a.glb", glb("hello"))),
    "tree-is-empty": Case("holds no triangle", mesh("a.glb", glb({}))),
    "tree-too-deep": Case("cannot be read", mesh("a.glb", struct.pack("<4sIII4s", b"glTF", 2, 100_020, 100_000, b"JSON") + b"[" * 100_000)),
    "50-million-of-nothing": Case("holds nothing", mesh("a.glb", square_glb(accessors=arrays(HUGE, 3 * HUGE, stored=False)))),
    "50-million": Case("more than 2,000,000 triangles", mesh("a.glb", square_glb(accessors=arrays(HUGE, 3 * HUGE, stored=True)))),
    "count-below-zero": Case("holds nothing", mesh("a.glb", square_glb(accessors=arrays(-4, -6, stored=True)))),
    "count-in-words": Case("cannot be read", mesh("a.glb", square_glb(accessors=[{"count": "four", "bufferView": 0}] * 2))),
    "count-beyond": Case("cannot be read", mesh("a.glb", square_glb(accessors=arrays(400, 600, stored=True)))),
    "node-within-itself": Case("in two places", mesh("a.glb", square_glb(nodes=[{"mesh": 0, "children": [0]}]))),
    "nodes-in-a-circle": Case("in two places", mesh("a.glb", square_glb(nodes=[{"mesh": 0, "children": [1]}, {"children": [0]}]))),
    "node-with-two-parents": Case("in two places", mesh("a.glb", square_glb(nodes=[{"children": [k + 1, k + 1]} for k in range(40)] + [{"mesh": 0}]))),
    "node-that-is-none": Case("cannot be read", mesh("a.glb", square_glb(nodes=[{"mesh": 0, "children": [7]}]))),
    "many-nodes": Case("more than 1,000 parts", mesh("a.glb", square_glb(nodes=[{"mesh": 0}] * 20_000, scenes=[{"nodes": list(range(20_000))}]))),
    "nan-in-a-matrix": Case("not a finite number", mesh("a.glb", square_glb(nodes=[{"mesh": 0, "matrix": [float("nan")] * 16}]))),
    "flattened": Case("holds no triangles", mesh("a.glb", square_glb(nodes=[{"mesh": 0, "scale": [0, 1, 1]}]))),
    "numbers-of-the-web": Case("in another file", mesh("a.glb", square_glb(buffers=[{"byteLength": 60, "uri": "http://[::1]:9/x.bin"}]))),
    "numbers-of-a-device": Case("in another file", mesh("a.glb", square_glb(buffers=[{"byteLength": 60, "uri": "/dev/zero"}]))),
    "draco": Case("needs the extension", mesh("a.glb", square_glb(extensionsRequired=["KHR_draco_mesh_compression"]))),
    "points-only": Case("holds no triangle", mesh("a.glb", square_glb(meshes=[{"primitives": [{"attributes": {"POSITION": 0}, "mode": 0}]}]))),
}  # fmt: skip


def _inverted(shape: Any) -> Any:
    shape.invert()
    return shape


def _twisted() -> Any:
    """A box with two opposite corners of its ceiling exchanged: closed, and cut by itself."""
    shape = box([300, 250, 350])
    corners = np.array(shape.vertices)
    top = np.flatnonzero(corners[:, 2] > 300)
    corners[top[[0, 3]]] = corners[top[[3, 0]]]
    shape.vertices = corners
    return shape


def _without_a_triangle() -> Any:
    shape = box([300, 250, 350])
    shape.update_faces(np.arange(len(shape.faces)) != 5)
    return shape


ROOMS = {
    "with-a-hole": Case("is not closed", room(_without_a_triangle())),
    "twisted": Case("cuts itself", room(_twisted())),
    "two-that-cut": Case("cuts itself", room(box([300, 250, 350]), box([300, 250, 350], (100, 100, 100)))),
    "pillar-inside-out": Case("faces the wrong way", room(box([300, 250, 350]), box([20, 20, 100], (100, 60, 100)))),
    "stray-block": Case("faces the wrong way", room(box([300, 250, 350]), _inverted(box([9, 9, 9], (500, 500, 500))))),
    "back-to-back": Case("back to back", room(box([300, 250, 350]), _inverted(box([300, 250, 350])), repair=False)),
    "too-small": Case("not the size of a box", room(box([3, 3, 3]))),
}  # fmt: skip

CASES = {
    f"{group}:{name}": case
    for group, cases in {"stl": STL, "ply": PLY, "obj": OBJ, "glb": GLB, "room": ROOMS}.items()
    for name, case in cases.items()
}
