"""OFF files as PLY files, in memory."""

import re

from raysim.scene.mesh.fault import Misfit

_HEAD = re.compile(rb"\s*C?N?OFF\b[ \t]*(BINARY)?", re.I)  # colours and normals follow the places


def off_as_ply(data: bytes) -> bytes:
    """The corners and faces of an OFF file, of any number of corners, as an ASCII PLY file.

    Raises
    ------
    Misfit
        Where it is of another kind, or cut short.

    Source: Geomview manual, "OFF: Object File Format".
    """
    head = _HEAD.match(data)
    if head is None or head[1]:
        raise Misfit("has no head of an OFF file in text")
    text = re.sub(rb"#[^\n]*", b"", data[head.end() :])
    lines = list(filter(None, (line.split() for line in text.splitlines())))
    counts = [word.decode("ascii", "replace") for word in lines[0]] if lines else []
    if len(counts) < 2 or not all(word.isdecimal() and len(word) < 10 for word in counts[:2]):
        raise Misfit("does not say how many corners and faces it has")
    corners, faces = int(counts[0]), int(counts[1])
    if len(lines) != 1 + corners + faces:
        raise Misfit(
            f"announces {corners + faces:,} corners and faces, but has {len(lines) - 1:,} lines"
        )
    rows = [words[:3] for words in lines[1 : 1 + corners]]
    for words in lines[1 + corners :]:
        size = words[0].decode("ascii", "replace")
        rows.append(words[: 1 + int(size)] if size.isdecimal() and len(size) < 10 else words)
    return (
        f"ply\nformat ascii 1.0\nelement vertex {corners}\nproperty double x\nproperty double y\n"
        f"property double z\nelement face {faces}\nproperty list int int vertex_indices\n"
        "end_header\n"
    ).encode() + b"".join(b" ".join(row) + b"\n" for row in rows)
