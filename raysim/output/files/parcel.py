"""A parcel: one zip file with a scene, its meshes and what was found of it, to hand on."""

import hashlib
import io
import json
import stat
import tempfile
from collections.abc import Mapping
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from zipfile import ZIP_DEFLATED, ZIP_STORED, ZipFile, ZipInfo
from zlib import compress

from raysim.base.errors import RaysimError, printable
from raysim.logbook.book import new_logbook
from raysim.output.files.folder import OWN_NAMES, RESULT_FILE, json_text, record_in
from raysim.output.files.guide_scene import SCENE_FILE, shows
from raysim.output.files.parcel_scene import GUIDE, RESULTS, SCENE, Packing
from raysim.output.files.parcel_texts import refuse_paths, retold
from raysim.output.words.cautions import CAUTIONS
from raysim.output.words.parcel import read_me, run_record
from raysim.scene.build import BuiltScene
from raysim.scene.file.parcel import unpack
from raysim.scene.file.parcel_members import KIND, MANIFEST, MOST_RATIO, VERSION, Unfit
from raysim.version import __version__
from raysim.workshop.grid import GRIDS

LOGBOOK, SHEET, READ_ME = "logbook.db", "survey.html", "README.txt"
_LONG_AGO = (1980, 1, 1, 0, 0, 0)  # the same for all: the same content is the same file
_PICTURED = "card.png"  # a picture, which shows the hash of the scene


@dataclass(frozen=True)
class Packed:
    """A parcel: its bytes, its manifest, its members, and what was left out of it and why."""

    content: bytes
    manifest: dict[str, Any]
    members: dict[str, bytes]
    left_out: list[str] = field(default_factory=list)


def packed(
    scene: BuiltScene, results: Path | None, guide: BuiltScene | None, sheet: Path | None
) -> Packed:
    """A parcel of a scene.

    Parameters
    ----------
    scene : BuiltScene
    results : Path, optional
        Folder of `raysim dose`, of this very scene.
    guide : BuiltScene, optional
        The scene in the folder of `raysim guide`; left out where it is of another scene.
    sheet : Path, optional
        A survey sheet (HTML).

    Raises
    ------
    RaysimError
        Where the results are of another scene, a file cannot be read, or a path of this machine
        stands in it.
    """
    try:
        return _packed(scene, results, guide, sheet)
    except OSError as error:
        where = error.filename or scene.name
        raise RaysimError(
            f"{where}: cannot be read ({error.strerror or error}). Mend: put it back, or check "
            "the rights"
        ) from None


def _packed(
    scene: BuiltScene, results: Path | None, guide: BuiltScene | None, sheet: Path | None
) -> Packed:
    packing, record, left_out = Packing(), None, []
    member = f"{SCENE}/{scene.path.stem}.toml"
    told = packing.add_scene(scene, member)
    if results is not None:
        record = read_record(results)
        if record["scene"]["sha256"] != scene.sha256:
            raise RaysimError(
                f"{results}: its result is of another state of {scene.name} or its meshes. Mend: "
                "run 'raysim dose' anew, or name its results with --results"
            )
        if told:
            left_out.append(f"{_PICTURED}, which shows the hash of the scene before")
        _add_folder(packing, results, RESULTS, told | _typed(record, member), bool(told))
        record = json.loads(packing.members[f"{RESULTS}/{RESULT_FILE}"])
    if guide is not None:
        why = _guide_stale(scene, guide)
        if why:
            left_out.append(f"{guide.path.parent}, {why}")
        else:
            page = f"{GUIDE}/{SCENE_FILE}"
            about = packing.add_scene(guide, page) | _typed(read_record(guide.path.parent), page)
            own = packing.members[page]
            _add_folder(packing, guide.path.parent, GUIDE, about)
            packing.members[page] = own
    if sheet is not None:
        if not sheet.is_file():  # a pipe would keep us waiting, a device has no end
            raise RaysimError(f"--sheet {sheet}: is no file. Mend: name one of 'raysim meter'")
        packing.members[SHEET] = sheet.read_bytes()
    packing.members[LOGBOOK] = _empty_logbook()
    manifest = _manifest(scene, member, packing, record)
    packing.members[READ_ME] = read_me(manifest, list(packing.members)).encode()
    refuse_paths(packing.members, scene.path)
    manifest["files"] = _listed(packing.members)
    packing.members[MANIFEST] = json_text(manifest).encode()
    return Packed(_zipped(packing.members, scene), manifest, packing.members, left_out)


def read_record(folder: Path) -> dict[str, Any]:
    """Content of the result.json in a folder of results.

    Raises
    ------
    RaysimError
        Where there is none of raysim.
    """
    path = folder / RESULT_FILE
    mend = "Mend: name a folder that 'raysim dose' has written, or run it anew"
    if not path.is_file():
        raise RaysimError(f"{folder}: holds no {RESULT_FILE}. {mend}")
    try:
        record = record_in(path)
        verdict, scene = record["verdict"], record["scene"]
        if not (isinstance(verdict, dict) and {"sha256", "file"} <= set(scene)):
            raise ValueError
    except (OSError, ValueError, LookupError, TypeError, RecursionError):
        raise RaysimError(f"{path}: is no result of raysim. {mend}") from None
    return record


def _typed(record: Mapping[str, Any], member: str) -> dict[str, str]:
    """The scene file as it was typed, and what it is in the parcel."""
    typed = str(record["scene"]["file"])
    return {form: member for form in (typed, str(Path(typed))) if form}


def _add_folder(
    packing: Packing, folder: Path, at: str, told: Mapping[str, str], unpictured: bool = False
) -> None:
    """Add what raysim has written into a folder, with what is told of the scene as it is there."""
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder)
        own = name.parts[0] in OWN_NAMES and not (unpictured and path.name == _PICTURED)
        if own and path.is_file() and not path.is_symlink() and path.suffix != ".part":
            member = f"{at}/{name.as_posix()}"
            packing.members[member] = retold(member, path.read_bytes(), told)


def _guide_stale(scene: BuiltScene, guide: BuiltScene) -> str:
    """Why a guide is not of this scene, which is rounded anew to see; "" if it is."""
    folder = guide.path.parent
    record = read_record(folder)
    if all(one.unit != record.get("unit") for one in GRIDS.values()):
        return "which is no guide of this raysim"
    same = shows(scene, folder, record["unit"])
    if not same or record["scene"]["sha256"] != guide.sha256:
        return "a guide to another state of the scene (run 'raysim guide' anew)"
    return ""


def _empty_logbook() -> bytes:
    with tempfile.TemporaryDirectory(prefix="raysim-parcel-") as folder:
        new_logbook(Path(folder) / LOGBOOK)
        return (Path(folder) / LOGBOOK).read_bytes()


def _manifest(
    scene: BuiltScene, member: str, packing: Packing, record: Mapping[str, Any] | None
) -> dict[str, Any]:
    """The manifest but for its list of files: what the parcel is, and what was found of it."""
    return {
        "kind": KIND,
        "version": VERSION,
        "raysim_version": __version__,
        "title": printable(scene.written.title),
        "scene": {"file": member, "sha256": packing.hashes[member]},
        "verdict": None if record is None else record["verdict"],
        "run": None if record is None else run_record(record),
        "cautions": list(CAUTIONS),
    }


def _listed(members: Mapping[str, bytes]) -> list[dict[str, Any]]:
    return [
        {"name": name, "bytes": len(content), "sha256": hashlib.sha256(content).hexdigest()}
        for name, content in sorted(members.items())
    ]


def _zipped(members: Mapping[str, bytes], scene: BuiltScene) -> bytes:
    """A zip file, the same for the same members; it must be one that raysim opens."""
    with closing(io.BytesIO()) as file:
        with ZipFile(file, "w") as archive:
            for name, content in sorted(members.items()):
                entry = ZipInfo(name, _LONG_AGO)
                entry.create_system, entry.external_attr = 3, (stat.S_IFREG | 0o644) << 16
                tight = MOST_RATIO * len(compress(content)) > 2 * len(content)
                entry.compress_type = ZIP_DEFLATED if tight else ZIP_STORED
                archive.writestr(entry, content)
        try:
            unpack(file, None)
        except Unfit as error:
            raise RaysimError(
                f"{scene.name}: the parcel {error}. Mend: simplify the meshes, or share fewer files"
            ) from None
        return file.getvalue()
