"""glTF files with their numbers in other files, as one GLB file, in memory."""

import base64
import json
import re
import struct
from pathlib import Path
from typing import Any
from urllib.parse import unquote

from raysim.scene.mesh.fault import Misfit

_INLINE = re.compile(r"data:[\w/.+-]*;base64,")
# Letters that stand in the name of a file, not of a folder, a drive or a place in the web.
_PLAIN_NAME = re.compile(r"[^/\\:\0]+")


def buffer_files(path: Path) -> list[Path]:
    """Files beside a glTF file that hold its numbers; none where it cannot be read."""
    if path.suffix.lower() not in (".gltf", ".glb"):
        return []
    try:
        tree, _ = _tree(path.read_bytes())
        uris = [str(one["uri"]) for one in tree.get("buffers", []) if "uri" in one]
    except (OSError, ValueError, LookupError, TypeError, AttributeError, RecursionError):
        return []
    return [path.parent / name for uri in uris if (name := _name(uri))]


def gltf_as_glb(data: bytes, path: Path, folder: Path, most_bytes: int) -> bytes:
    """A glTF or GLB file with all its numbers in itself.

    Parameters
    ----------
    data : bytes
        The whole file at `path`.
    folder : Path
        Buffers are files beside the mesh; they are read only inside of this folder.
    most_bytes : int
        Of all buffers together.

    Raises
    ------
    Misfit
        Where it is broken, or a buffer lies elsewhere, is missing or too short.

    Source: glTF 2.0 specification, 3.6.1 (buffers) and 4 (GLB).
    """
    tree, own = _tree(data)
    buffers = tree.get("buffers", [])
    if data.startswith(b"glTF") and not any("uri" in one for one in buffers):
        return data
    numbers, starts = b"", []
    for one in buffers:
        held = _held(str(one["uri"]), path, folder, most_bytes) if "uri" in one else own
        if not 0 <= int(one["byteLength"]) <= len(held):
            raise Misfit(
                f"announces a buffer of {one['byteLength']:,} bytes, which has {len(held):,}"
            )
        starts.append(len(numbers))
        numbers += held + b"\0" * (-len(held) % 4)
        if len(numbers) > most_bytes:
            raise Misfit(f"has buffers of more than {most_bytes:,} bytes")
    for view in tree.get("bufferViews", []):
        view["byteOffset"] = view.get("byteOffset", 0) + starts[view["buffer"]]
        view["buffer"] = 0
    text = json.dumps(
        tree | {"buffers": [{"byteLength": len(numbers)}] if buffers else []}
    ).encode()
    text += b" " * (-len(text) % 4)
    body = struct.pack("<I4s", len(text), b"JSON") + text
    body += struct.pack("<I4s", len(numbers), b"BIN\0") + numbers if numbers else b""
    return struct.pack("<4sII", b"glTF", 2, 12 + len(body)) + body


def _tree(data: bytes) -> tuple[dict[str, Any], bytes]:
    """The JSON of a glTF or GLB file, and the numbers in the file itself."""
    if not data.startswith(b"glTF"):
        return json.loads(data), b""
    size = struct.unpack_from("<I", data, 12)[0] if len(data) >= 20 else 0
    return json.loads(data[20 : 20 + size]), data[28 + size :]


def _name(uri: str) -> str:
    """Name of a file beside the mesh, "" if it is none."""
    name = unquote(uri)
    return name if _PLAIN_NAME.fullmatch(name) and name not in (".", "..") else ""


def _held(uri: str, path: Path, folder: Path, most_bytes: int) -> bytes:
    inline = _INLINE.match(uri)
    if inline:
        return base64.b64decode(uri[inline.end() :], validate=True)
    name = _name(uri)
    if not name:
        raise Misfit(f'keeps its numbers in another file, "{uri[:40]}", which is not beside it')
    beside = (path.parent / name).resolve()
    if not beside.is_relative_to(folder.resolve()):
        raise Misfit(f'keeps its numbers in "{name[:40]}", outside the folder of the scene')
    if not beside.is_file():
        raise Misfit(f'keeps its numbers in "{name[:40]}", which is not there')
    if beside.stat().st_size > most_bytes:
        raise Misfit(f'keeps its numbers in "{name[:40]}", which has too many bytes')
    return beside.read_bytes()
