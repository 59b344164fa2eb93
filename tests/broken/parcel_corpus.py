"""Hostile parcels: a whole one, and what somebody could make of it."""

import io
import json
import stat
import struct
import warnings
import zipfile
from collections.abc import Callable

from parcels import listed, opened, zipped

LINK = (stat.S_IFLNK | 0o777) << 16
DEVICE = (stat.S_IFCHR | 0o666) << 16
PIPE = (stat.S_IFIFO | 0o666) << 16
FOLDER = (stat.S_IFDIR | 0o755) << 16


def with_member(name: str, content: bytes = b"x", **odd: int) -> Callable[[bytes], bytes]:
    """A member more, which the manifest lists."""
    return lambda whole: zipped(listed(opened(whole) | {name: content}), **odd)


def with_manifest(**changed: object) -> Callable[[bytes], bytes]:
    """Another manifest."""
    return lambda whole: zipped(listed(opened(whole), **changed))


def with_scene(old: str, new: str) -> Callable[[bytes], bytes]:
    """Another scene, which the manifest lists."""

    def made(whole: bytes) -> bytes:
        members = opened(whole)
        text = members["scene/scene.toml"].decode()
        assert old in text
        members["scene/scene.toml"] = text.replace(old, new).encode()
        return zipped(listed(members))

    return made


def twice(whole: bytes) -> bytes:
    """Two members of one name."""
    file = io.BytesIO(zipped(listed(opened(whole))))
    with warnings.catch_warnings(), zipfile.ZipFile(file, "a") as archive:
        warnings.simplefilter("ignore")
        archive.writestr("scene/scene.toml", "title = 'another'")
    return file.getvalue()


def patched(pattern: bytes, at: int, layout: str, value: int) -> Callable[[bytes], bytes]:
    """A number in the last header of a kind, changed."""

    def made(whole: bytes) -> bytes:
        found = bytearray(whole)
        struct.pack_into(layout, found, found.rindex(pattern) + at, value)
        return bytes(found)

    return made


def bitten(whole: bytes) -> bytes:
    """One bit of the packed scene turned."""
    found = bytearray(whole)
    with zipfile.ZipFile(io.BytesIO(whole)) as archive:
        entry = archive.getinfo("scene/scene.toml")
    found[entry.header_offset + 30 + len(entry.filename) + 40] ^= 1
    return bytes(found)


def announced_small(whole: bytes) -> bytes:
    """A member that unpacks to more than its size says, and the manifest with it."""
    members = opened(whole) | {"scene/z.stl": bytes(5_000_000)}
    members = listed(members)
    record = json.loads(members["manifest.json"])
    for row in record["files"]:
        if row["name"] == "scene/z.stl":
            row["bytes"] = 1000
    found = bytearray(zipped(members | {"manifest.json": json.dumps(record).encode()}))
    at = found.rindex(b"PK\x01\x02")
    struct.pack_into("<L", found, at + 24, 1000)
    return bytes(found)


def with_nul(whole: bytes) -> bytes:
    """A name that ends earlier for some programs than for others; zipfile writes none."""
    made = with_member("scene/evil.toml#.png")(whole)
    return made.replace(b"scene/evil.toml#", b"scene/evil.toml\0")


def damaged(whole: bytes) -> bytes:
    """A mesh of the same size that the manifest does not know."""
    members = opened(whole)
    mesh = members["scene/plate.ply"]
    return zipped(members | {"scene/plate.ply": mesh[:-1] + bytes([mesh[-1] ^ 1])})


END, ENTRY = b"PK\x05\x06", b"PK\x01\x02"
# What is done to a whole parcel, and words that must be said of it.
PARCELS: dict[str, tuple[Callable[[bytes], bytes], str]] = {
    "empty": (lambda whole: b"", "is no zip file, or was cut"),
    "text": (lambda whole: b"hello " * 100, "is no zip file, or was cut"),
    "cut": (lambda whole: whole[: len(whole) // 2], "is no zip file, or was cut"),
    "cut-at-the-end": (lambda whole: whole[:-1], "is no zip file, or was cut"),
    "more-behind": (lambda whole: whole + bytes(1000), "is no zip file, or was cut"),
    "no-members": (lambda whole: zipped({}), "holds no manifest.json"),
    "other-zip": (lambda whole: zipped({"a.txt": b"hello"}), "holds no manifest.json"),
    "bit": (bitten, "scene.zip: "),
    "up": (with_member("../evil.toml"), "leads out of it"),
    "up-inside": (with_member("scene/../../evil.toml"), "leads out of it"),
    "absolute": (with_member("/tmp/evil.toml"), "leads out of it"),
    "drive": (with_member("C:/evil.toml"), "not every system takes"),
    "backslashes": (with_member("..\\..\\evil.toml"), "not every system takes"),
    "share-of-windows": (with_member("\\\\host\\evil.toml"), "not every system takes"),
    "nul": (with_nul, "not every system takes"),
    "colours": (with_member("scene/\x1b[31m.stl"), "not every system takes"),
    "turned-round": (with_member("scene/\u202elts.stl"), "not every system takes"),
    "device-name": (with_member("scene/NUL.stl"), "name of a device"),
    "trailing-dot": (with_member("scene/cup.stl."), "no name of a file"),
    "empty-part": (with_member("scene//cup.stl"), "no name of a file"),
    "too-long": (with_member("scene/" + "n" * 300 + ".stl"), "too long"),
    "too-deep": (with_member("a/" * 500 + "b.stl"), "too long"),
    "link": (with_member("scene/l.stl", b"/etc/passwd", external_attr=LINK), "is a link"),
    "device": (with_member("scene/d.stl", b"", external_attr=DEVICE), "is a link, a folder"),
    "pipe": (with_member("scene/p.stl", b"", external_attr=PIPE), "is a link, a folder"),
    "folder": (with_member("scene/f.stl", b"", external_attr=FOLDER), "is a link, a folder"),
    "twice": (twice, "twice"),
    "twice-by-case": (with_member("SCENE/Scene.TOML"), "twice"),
    "twice-by-accent": (
        lambda whole: with_member("scene/a\u0308.stl")(with_member("scene/\u00e4.stl")(whole)),
        "twice",
    ),
    "file-and-folder": (with_member("scene/scene.toml/x.stl"), "as a file and as a folder"),
    "bomb": (with_member("scene/z.stl", bytes(50_000_000)), "times its size"),
    "bomb-of-many": (
        lambda whole: zipped(listed(opened(whole) | {f"scene/{n}.stl": b"x" for n in range(1200)})),
        "more than 1,000 members",
    ),
    "announces-little": (announced_small, "scene.zip: "),
    "announces-much": (patched(ENTRY, 24, "<L", 2_000_000_000), "scene.zip: has "),
    "endless-list": (patched(END, 12, "<L", 900_000_000), "more than 1,000 members"),
    "encrypted": (patched(ENTRY, 8, "<H", 1), "is encrypted"),
    "odd-packing": (patched(ENTRY, 10, "<H", 99), "packed in a way"),
    "lies-in-another": (patched(ENTRY, 42, "<L", 0), "scene.zip: "),
    "not-listed": (lambda whole: zipped(opened(whole) | {"more.txt": b"x"}), "other files than"),
    "damaged": (damaged, "other than its manifest says: it was damaged"),
    "newer": (with_manifest(version=2), "is of version 2, and here 1 is read"),
    "other-kind": (with_manifest(kind="holiday pictures"), "is no parcel"),
    "no-scene": (with_manifest(scene={"file": "scene/none.toml"}), "holds no scene"),
    "scene-of-numbers": (with_manifest(scene=[1]), "cannot be read"),
    "scene-is-a-mesh": (with_manifest(scene={"file": "scene/plate.ply"}), "holds no scene"),
    "manifest-text": (
        lambda whole: zipped(opened(whole) | {"manifest.json": b"hello"}),
        "cannot be read",
    ),
    "manifest-deep": (
        lambda whole: zipped(opened(whole) | {"manifest.json": b'{"a":' * 100_000}),
        "cannot be read",
    ),
    "mesh-outside": (with_scene("plate.ply", "../../../etc/passwd.stl"), "which is not in it"),
    "mesh-absolute": (with_scene("plate.ply", "/dev/zero.stl"), "which is not in it"),
}
