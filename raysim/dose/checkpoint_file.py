"""The file of a checkpoint: written whole or not at all, and read only as it was written.

It is written aside, flushed to the disk and renamed: whatever happens, the one before it stays
whole. It holds a digest of all that is in it: numbers that were changed since, by a damaged disk or
by hand, could make a timer too short, so such a file is refused.
"""

import json
import math
import os
from collections.abc import Mapping
from hashlib import blake2b
from pathlib import Path
from typing import Any, NamedTuple
from zipfile import ZIP_STORED, ZipFile

import numpy as np

from raysim.base.errors import RaysimError, printable
from raysim.dose.sparse_arrays import PLACES, with_zeros, without_zeros
from raysim.scene.check.memory import MOST_MEMORY

ASIDE = ".part"  # ends the name of one that is being written
FORMAT, FORMAT_VERSION = "raysim checkpoint", 3
HEADER, DIGEST = "header", "digest"
PER_PLACE = 65  # bytes of a byte of places and of the eight numbers that it stands for

Arrays = dict[str, np.ndarray]


class Kind(NamedTuple):
    """What such a file is to its reader, and what to do where it is broken."""

    name: str
    mend: str


CHECKPOINT = Kind("checkpoint", "begin anew with --force and without --resume")
PART = Kind("part of a run", "copy it again, or trace it again with --part and --force")


def write_checkpoint(path: Path, header: Mapping[str, Any], arrays: Arrays) -> None:
    """Write a NumPy .npz archive whose array `header` is JSON text in UTF-8.

    Raises
    ------
    OSError
        Where writing fails; what stood at `path` before is still there.
    """
    text = json.dumps({"format": FORMAT, "format_version": FORMAT_VERSION} | dict(header))
    kept = {HEADER: np.frombuffer(text.encode(), np.uint8)} | without_zeros(arrays)
    aside = path.with_name(path.name + ASIDE)
    try:
        with aside.open("wb") as file:
            # Archives are written in a file's own way only where it can be moved about in.
            np.savez(file, **{DIGEST: _digest(kept)}, **kept)  # type: ignore[arg-type]
            file.flush()
            os.fsync(file.fileno())
        os.replace(aside, path)
    except BaseException:
        aside.unlink(missing_ok=True)
        raise


def read_checkpoint(path: Path, kind: Kind = CHECKPOINT) -> tuple[dict[str, Any], Arrays]:
    """Header and arrays of a checkpoint.

    Raises
    ------
    RaysimError
        Where there is none, or it is broken, changed, or larger than what a checked scene needs.
    """
    try:
        with path.open("rb") as file:
            _refuse_too_large(file)
            with np.load(file, allow_pickle=False) as archive:
                kept = {name: archive[name] for name in archive.files}
        digest = kept.pop(DIGEST, None)
        header = json.loads(kept[HEADER].tobytes())
        known = header["format"] == FORMAT and header["format_version"] == FORMAT_VERSION
        if known and not np.array_equal(digest, _digest(kept)):
            raise ValueError("it was changed since it was written")
        del kept[HEADER]
        arrays = with_zeros(kept)
    except FileNotFoundError:
        raise RaysimError(
            f"--resume: no run was broken off in {path.parent}. Mend: leave out --resume, or name "
            "the folder of that run with --out"
        ) from None
    except OSError as error:
        reason = error.strerror or error
        raise RaysimError(f"{path}: cannot be read ({reason}). Mend: check the rights") from None
    except MemoryError:
        raise
    except Exception as error:  # broken archives fail in every way there is
        raise broken(path, str(error)[:120] or type(error).__name__, kind) from None
    if not known:
        raise broken(path, "of a format that this version does not know", kind)
    return header, arrays


def broken(path: Path, what: str, kind: Kind = CHECKPOINT) -> RaysimError:
    """The fault of a file that no run can go on from."""
    return RaysimError(printable(f"{path}: not a whole {kind.name} ({what}). Mend: {kind.mend}"))


def _digest(arrays: Arrays) -> np.ndarray:
    """Digest of the names, types, shapes and values of arrays, (32,) uint8."""
    found = blake2b(digest_size=32)
    for name, array in sorted(arrays.items()):
        found.update(f"{name} {array.dtype.str} {array.shape};".encode())
        found.update(np.ascontiguousarray(array).data.cast("B") if array.size else b"")
    return np.frombuffer(found.digest(), np.uint8)


def _refuse_too_large(file: Any) -> None:
    """Refuse an archive that announces more than it holds, or than a run needs.

    Raises
    ------
    ValueError
        Before any memory is taken for it.
    """
    whole = 0
    with ZipFile(file) as archive:
        for entry in archive.infolist():
            if entry.compress_type != ZIP_STORED:
                raise ValueError("it is compressed")
            with archive.open(entry) as inside:
                if np.lib.format.read_magic(inside) != (1, 0):
                    raise ValueError("it was not written by raysim")
                shape, _, kind = np.lib.format.read_array_header_1_0(inside)
                size = math.prod(shape) * kind.itemsize
                if size != entry.file_size - inside.tell():
                    raise ValueError(f"{entry.filename} announces {size:,} bytes")
            whole += size * (PER_PLACE if PLACES in entry.filename else 1)
            if whole > MOST_MEMORY:
                raise ValueError(f"it announces more than {MOST_MEMORY:,} bytes")
    held = file.seek(0, os.SEEK_END)
    if sum(entry.file_size for entry in archive.infolist()) > held:
        raise ValueError(f"it announces more than its {held:,} bytes")
    file.seek(0)
