"""A scene file as it is named: itself, or the one in a parcel of `raysim share`.

A parcel is unpacked into a private folder while it is needed: its scene, its meshes and the
numbers of its results, no other member. Nothing in it is run. Its hashes tell of damage, not of who
made it.
"""

import hashlib
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext, suppress
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

from raysim.base.errors import RaysimError, SceneError
from raysim.scene.file.named import Parcel, keep_open

if TYPE_CHECKING:
    from zipfile import ZipFile

SUFFIX = ".zip"
MESHES = {".stl", ".obj", ".ply", ".off", ".3mf", ".glb", ".gltf", ".bin"}
CHUNK = 1 << 20  # bytes
# What `raysim compare` reads of results; dose and guide have a folder each.
NUMBERS = {"results/result.json", "results/dose_map.vtp", "guide/result.json"}


@contextmanager
def opened(path: Path) -> Iterator[Path]:
    """The scene file that `path` stands for; of a parcel, unpacked while the block runs.

    Raises
    ------
    RaysimError
        Where a parcel is cut, hostile, too large, of another version, or cannot be unpacked.
    """
    if path.suffix.lower() != SUFFIX or not path.is_file():
        yield path
        return
    try:
        place = Path(tempfile.mkdtemp(prefix="raysim-parcel-")).resolve()
    except OSError as error:
        raise _refused(path, f"cannot be unpacked ({error.strerror})", "make room") from None
    scene = place
    try:
        with _reading(path), path.open("rb") as file:
            manifest = unpack(file, place)
        scene = place / manifest["scene"]["file"]
        _refuse_ways_out(path, scene, place)
        keep_open(scene, Parcel(path, manifest))
        yield scene
    finally:
        keep_open(scene, None)
        shutil.rmtree(place, ignore_errors=True)


def unpack(file: IO[bytes], place: Path | None) -> dict[str, Any]:
    """Check every member of a parcel, unpack scene and meshes to `place`; returns its manifest.

    Raises
    ------
    Unfit, zipfile.BadZipFile, zlib.error, RuntimeError, EOFError, OSError, ValueError
        Where it is not fit, before anything is unpacked; or not as it announces, while it is.
    """
    from zipfile import ZipFile

    from raysim.scene.file.parcel_members import members, read_manifest, refuse_endless

    refuse_endless(file)
    with ZipFile(file) as archive:
        found = members(file, archive)
        manifest = read_manifest(archive, found)
        for row in manifest["files"]:
            name = row["name"]
            wanted = name in NUMBERS or name == manifest["scene"]["file"]
            wanted = wanted or Path(name).suffix.lower() in MESHES
            _unpack_one(archive, row, place / name if place and wanted else None)
    return manifest


def _unpack_one(archive: "ZipFile", row: dict[str, Any], target: Path | None) -> None:
    """Read one member, to `target` if there is one; its size and hash must be as announced."""
    from raysim.scene.file.parcel_members import Unfit

    digest, size = hashlib.sha256(), 0
    if target is not None:
        target.parent.mkdir(parents=True, exist_ok=True)
    with (
        archive.open(row["name"]) as member,
        target.open("xb") if target is not None else nullcontext() as file,
    ):
        while size <= row["bytes"] and (piece := member.read(CHUNK)):
            size += len(piece)
            digest.update(piece)
            if file is not None:
                file.write(piece)
    if size != row["bytes"] or digest.hexdigest() != row["sha256"]:
        raise Unfit(f'holds "{row["name"][:60]}" other than its manifest says: it was damaged')


@contextmanager
def _reading(path: Path) -> Iterator[None]:
    """Whatever goes wrong with a parcel, in one line."""
    import zlib
    from zipfile import BadZipFile

    from raysim.scene.file.parcel_members import Unfit

    try:
        yield
    except Unfit as error:
        raise _refused(path, str(error), error.mend) from None
    except (BadZipFile, zlib.error, EOFError, RuntimeError, ValueError, LookupError) as error:
        unread = Unfit(f"cannot be read as a parcel ({error})")
        raise _refused(path, str(unread), unread.mend) from None
    except OSError as error:
        reason = f"cannot be unpacked ({error.strerror or error})"
        raise _refused(path, reason, "check the rights, and make room") from None


def _refuse_ways_out(path: Path, scene: Path, place: Path) -> None:
    """Refuse a scene that names meshes outside of its parcel: files of whoever opens it."""
    from raysim.scene.file.read import mesh_names, read_scene

    with suppress(SceneError, ValueError, OSError):  # whoever reads it next tells every fault
        for name in mesh_names(read_scene(scene)):
            if not (scene.parent / name).resolve().is_relative_to(place):
                what = f'its scene names the mesh "{name}", which is not in it'
                raise _refused(path, what, "ask for a parcel with all meshes")


def _refused(path: Path, what: str, mend: str) -> RaysimError:
    return RaysimError(f"{path}: {what}. Mend: {mend}")
