"""What a parcel holds, looked at before anything is unpacked: names, kinds, sizes, manifest."""

import json
import stat
import struct
import unicodedata
from collections.abc import Iterable
from pathlib import PurePosixPath
from typing import IO, Any
from zipfile import ZIP_DEFLATED, ZIP_STORED, ZipFile, ZipInfo

from raysim.base.errors import first_control

MANIFEST = "manifest.json"
KIND, VERSION = "raysim parcel", 1
# Limits of a parcel, far beyond any box: a mesh has 200 MB at most.
MOST_BYTES = 500_000_000  # packed, and the same unpacked
MOST_MEMBERS = 1_000
LARGEST_LIST = 1_000_000  # bytes of the list of members, and of the manifest
MOST_RATIO, FROM = 200, 1_000_000  # unpacked to packed, asked of members from so many bytes on
LONGEST_NAME, DEEPEST = 120, 8  # bytes of a name, folders within folders
# No system takes these in names, or one takes them for something else (Windows, from memory).
_ODD = set('<>:"|?*\\')
_DEVICES = {"con", "prn", "aux", "nul"}
_DEVICES |= {f"{port}{number}" for port in ("com", "lpt") for number in range(1, 10)}
_END = struct.Struct("<4s4H2LH")  # end of central directory: APPNOTE.TXT 4.3.16 (from memory)


class Unfit(ValueError):
    """A parcel that is not opened; the text continues a sentence that begins with its name."""

    def __init__(self, what: str, mend: str = "have it sent anew, or ask for the files in it"):
        super().__init__(what)
        self.mend = mend


def unfit_name(name: str) -> str:
    """Why no member of a parcel may be called so; "" if it may.

    >>> unfit_name("scene/cup.obj"), unfit_name("../cup.obj")
    ('', 'leads out of it')
    """
    parts = name.split("/")
    if first_control(name) or _ODD & set(name):
        return "has letters that not every system takes"
    if name.startswith("/") or ".." in parts:
        return "leads out of it"
    longest = max(len(part.encode("utf-8", "replace")) for part in parts)
    if len(parts) > DEEPEST or longest > LONGEST_NAME:
        return "has a name that is too long"
    if any(p in ("", ".") or p[-1] in ". " or p[0] == " " for p in parts):
        return "is no name of a file"
    if any(part.split(".")[0].strip().casefold() in _DEVICES for part in parts):
        return "has the name of a device"
    return ""


def same_name(name: str) -> str:
    """What is equal for names that some system takes for the same: by case, by accents."""
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", name).casefold())


def members(file: IO[bytes], archive: ZipFile) -> dict[str, ZipInfo]:
    """Members of a parcel by name, the manifest among them, each found to be harmless.

    Raises
    ------
    Unfit
        With the first thing that is wrong.
    """
    entries = archive.infolist()
    for entry in entries:
        _refuse_odd(entry)
    _refuse_twice([entry.filename for entry in entries])
    whole = sum(entry.file_size for entry in entries)
    if whole > MOST_BYTES:
        raise Unfit(f"unpacks to {whole:,} bytes, more than {MOST_BYTES:,}")
    ends = [0, *sorted(entry.header_offset + entry.compress_size for entry in entries)]
    starts = [*sorted(entry.header_offset for entry in entries), file.seek(0, 2)]
    if any(end > start for end, start in zip(ends, starts, strict=True)):
        raise Unfit("has members that lie in each other")
    return {entry.filename: entry for entry in entries}


def refuse_endless(file: IO[bytes]) -> None:
    """Refuse a file that is cut, or whose list of members is too long to be read.

    Raises
    ------
    Unfit
        With what is wrong.
    """
    size = file.seek(0, 2)
    if size > MOST_BYTES:
        raise Unfit(f"has {size:,} bytes, more than {MOST_BYTES:,}")
    start = max(size - _END.size - 20, 0)
    file.seek(start)
    tail = file.read()
    end = tail[-_END.size :]
    if len(end) < _END.size or not end.startswith(b"PK\5\6") or end[-2:] != b"\0\0":
        raise Unfit("is no zip file, or was cut")
    count, listed = _END.unpack(end)[4:6]
    if b"PK\6\7" in tail or count > MOST_MEMBERS or listed > LARGEST_LIST:
        raise Unfit(f"has more than {MOST_MEMBERS:,} members")
    if listed < 46 * count:
        raise Unfit("is no zip file, or was cut")


def read_manifest(archive: ZipFile, found: dict[str, ZipInfo]) -> dict[str, Any]:
    """The manifest, which names every other member with its size and SHA-256.

    Raises
    ------
    Unfit
        Where it is missing, of another version, or names other members.
    """
    if MANIFEST not in found:
        raise Unfit(f'holds no {MANIFEST}, so it was not made by "raysim share"')
    if found[MANIFEST].file_size > LARGEST_LIST:
        raise Unfit(f"has a {MANIFEST} of more than {LARGEST_LIST:,} bytes")
    with archive.open(MANIFEST) as member:
        text = member.read(LARGEST_LIST + 1)
    try:
        record = json.loads(text)
        if record["kind"] != KIND:
            raise Unfit(f'is no parcel of "raysim share" by its {MANIFEST}')
        if record["version"] != VERSION:
            what = f"is of version {str(record['version'])[:20]}, and here {VERSION} is read"
            raise Unfit(what, "open it with the raysim that made it, or have it shared by this one")
        listed = {row["name"]: row["bytes"] for row in record["files"]}
        whole = all(type(row["bytes"]) is int and row["sha256"] for row in record["files"])
        scene = record["scene"]["file"]
        if not isinstance(scene, str) or not scene.endswith(".toml") or scene not in listed:
            raise Unfit(f"holds no scene by its {MANIFEST}")
    except Unfit:
        raise
    except (ValueError, LookupError, TypeError, RecursionError):
        raise Unfit(f"has a {MANIFEST} that cannot be read") from None
    sizes = {name: entry.file_size for name, entry in found.items() if name != MANIFEST}
    if not whole or len(listed) != len(record["files"]) or sizes != listed:
        raise Unfit(f"holds other files than its {MANIFEST} lists")
    return record


def _refuse_odd(entry: ZipInfo) -> None:
    """Refuse a member that is no plain file of a plain name, or unpacks to far more than it is."""
    name = entry.orig_filename  # zipfile cuts names at NUL
    shown = f'a member "{name[:60]}" that'
    if why := unfit_name(name):
        raise Unfit(f"has {shown} {why}")
    kind = stat.S_IFMT(entry.external_attr >> 16)
    if kind not in (0, stat.S_IFREG) or entry.external_attr & 0x10:
        raise Unfit(f"has {shown} is a link, a folder or a device")
    if entry.flag_bits & 0x2061:  # encrypted, patched, or its list encrypted
        raise Unfit(f"has {shown} is encrypted")
    if entry.compress_type not in (ZIP_STORED, ZIP_DEFLATED):
        raise Unfit(f"has {shown} is packed in a way not known here")
    if entry.file_size >= FROM and entry.file_size > MOST_RATIO * entry.compress_size:
        raise Unfit(f"has {shown} unpacks to more than {MOST_RATIO} times its size")


def _refuse_twice(names: Iterable[str]) -> None:
    """Refuse two members of one name, or one that would be a file and a folder."""
    seen: set[str] = set()
    folders: set[str] = set()
    for name in names:
        key = same_name(name)
        if key in seen:
            raise Unfit(f'holds "{name[:60]}" twice')
        seen.add(key)
        folders |= {str(folder) for folder in PurePosixPath(key).parents}
    if both := sorted(seen & folders):
        raise Unfit(f'holds "{both[0][:60]}" as a file and as a folder')
