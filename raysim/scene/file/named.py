"""What the user calls a scene file: a parcel (`scene/file/parcel.py`) is unpacked elsewhere."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any


@dataclass(frozen=True)
class Parcel:
    """A parcel that is open: where it lies, and its manifest."""

    path: Path
    manifest: dict[str, Any]


_open: dict[Path, Parcel] = {}  # by the scene file that was unpacked from it


def parcel_of(scene: Path) -> Parcel | None:
    """The open parcel that a scene file was unpacked from; None for any other file."""
    return _open.get(scene)


def named(scene: Path) -> Path:
    """The file that the user named to have this scene: itself, or its parcel."""
    parcel = parcel_of(scene)
    return scene if parcel is None else parcel.path


def keep_open(scene: Path, parcel: Parcel | None) -> None:
    """Note from which parcel a scene file was unpacked; None once it is gone."""
    if parcel is None:
        _open.pop(scene, None)
    else:
        _open[scene] = parcel
