"""Find the result that a user names: by its folder, its scene, or a zip of `raysim share`."""

import math
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from raysim.base.errors import RaysimError, SceneError
from raysim.dose.verdict_record import State
from raysim.output.files.folder import RESULT_FILE, record_in
from raysim.output.files.guide_scene import shows
from raysim.output.files.older import brought_up
from raysim.output.files.scene_file import scene_places
from raysim.scene.build import build_scene
from raysim.scene.file.named import parcel_of
from raysim.scene.file.parcel import SUFFIX, opened
from raysim.scene.file.read import file_hash, read_scene, scene_files

ANEW = "Mend: run 'raysim dose' on its scene anew"


@dataclass(frozen=True)
class Found:
    """A result of `raysim dose`, and what lies with it.

    Attributes
    ----------
    name : str
        As the user named it.
    record : dict
        Content of its result.json, in the present version.
    folder : Path
        Where it lies.
    scene : Path or None
        Its scene file, where that is still the one that was traced.
    guide : dict or None
        What a guide with prices says of the cost; of a guide of another state of the scene, None.
    """

    name: str
    record: dict[str, Any]
    folder: Path
    scene: Path | None
    guide: dict[str, Any] | None


@contextmanager
def found_result(named: Path) -> Iterator[Found]:
    """The result that a path stands for, while the block runs.

    A scene stands for the results in the usual folder, if they are of its present state: nothing is
    traced here.

    Raises
    ------
    RaysimError
        Where there is none, it is of another state of its scene, or it is not one of raysim.
    """
    if not named.exists():
        raise RaysimError(f"{named}: there is no such file or folder. Mend: check the name")
    if named.suffix.lower() == SUFFIX and named.is_file():
        with opened(named) as scene:
            parcel = parcel_of(scene)
            assert parcel is not None
            place = scene.parents[parcel.manifest["scene"]["file"].count("/")]
            if not (place / "results" / RESULT_FILE).is_file():
                raise RaysimError(f"{named}: was shared without results. Mend: ask for them")
            yield _found(named, place / "results", scene, place / "guide")
    elif named.is_dir() or named.name == RESULT_FILE:
        folder = named if named.is_dir() else named.parent
        yield _found(named, folder, None, folder.with_name(f"{folder.resolve().name}_guide"))
    else:
        folder = Path("results") / named.stem
        _sound(named)
        if not (folder / RESULT_FILE).is_file():
            raise RaysimError(
                f"{named}: was not traced yet: {folder} holds no {RESULT_FILE}. Mend: 'raysim dose "
                f"{named}', or name the folder of its results"
            )
        found = _found(named, folder, named, folder.with_name(f"{named.stem}_guide"))
        if found.scene is None:
            raise RaysimError(
                f"{named}: has changed since {folder} was written, or that is of another scene. "
                f"Mend: 'raysim dose {named}' anew, or name the folder of its results"
            )
        yield found


def _sound(scene: Path) -> None:
    """Refuse what is no scene, in the words of whoever reads scenes."""
    read_scene(scene)


def _found(named: Path, folder: Path, scene: Path | None, guide: Path) -> Found:
    record = _record(folder / RESULT_FILE)
    unchanged = _unchanged(scene, folder, record)
    costs = _guide(guide)
    packed = scene is not None and parcel_of(scene) is not None  # whoever packs looks at that
    if costs and not packed and not (unchanged and _is_shown(unchanged, guide)):
        costs = None
    return Found(str(named), record, folder, unchanged, costs)


def _record(path: Path) -> dict[str, Any]:
    """Content of a result.json of `raysim dose`, of which all that is compared is sound."""
    if not path.is_file():
        raise RaysimError(
            f"{path.parent}: holds no {path.name}. Mend: name a folder that 'raysim dose' wrote"
        )
    try:
        record = record_in(path)
        if "study" in record:
            raise ValueError(f"it is one of 'raysim {record['study']}'")
        record = brought_up(record)
        _refuse_odd(record)
    except (OSError, ValueError, LookupError, TypeError, AttributeError, RecursionError) as error:
        what = f"{type(error).__name__}: {error}"[:120]
        raise RaysimError(f"{path}: is no result of 'raysim dose' ({what}). {ANEW}") from None
    return record


def _refuse_odd(record: dict[str, Any]) -> None:
    """Refuse figures that `raysim dose` would not write.

    Raises
    ------
    LookupError, TypeError, ValueError
    """
    case, verdict = record["cases"]["cautious"], record["verdict"]
    state = State(verdict["state"])
    if state is State.DO_NOT_USE and verdict["timer_s"] is not None:
        raise ValueError("a timer beside DO NOT USE")
    figures = [verdict["timer_s"], verdict["calculated_s"], *case["percentiles"].values()]
    figures += [case["worst"][f"{key}_mW_cm2"] for key in ("irradiance", "lower_bound")]
    figures += [case["worst"]["standard_error_mW_cm2"], *record["target"].values()]
    figures += [lamp["uvc_W"] for lamp in record["lamps"]]
    figures += [len(case["per_object"]), (record.get("reuse") or {"cycles": None})["cycles"]]
    for figure in figures:
        if figure is not None and not (type(figure) in (int, float) and 0.0 <= figure < math.inf):
            raise ValueError(f"{str(figure)[:20]!r} is no figure")
    words = [case["worst"][key] for key in ("object", "part", "side", "place")]
    words += [record["scene"][key] for key in ("title", "sha256", "file")]
    words += [reason[key] for reason in verdict["reasons"] for key in ("code", "says", "mend")]
    if not all(isinstance(word, str) for word in words):
        raise TypeError("words are missing")


def _unchanged(scene: Path | None, folder: Path, record: dict[str, Any]) -> Path | None:
    """The scene of a record, where it is found and still the one that was traced."""
    recorded = record["scene"]
    for place in [scene] if scene else scene_places(folder, recorded["file"]):
        with suppress(RaysimError, SceneError, OSError, ValueError):
            if place.is_file() and place.suffix.lower() != SUFFIX:
                now = file_hash(scene_files(place, read_scene(place)))
                if now == recorded["sha256"]:
                    return place
    return None


def _guide(folder: Path) -> dict[str, Any] | None:
    """Record of a guide with prices; None where there is none."""
    with suppress(OSError, ValueError, LookupError, TypeError, RecursionError):
        record = record_in(folder / RESULT_FILE)
        if record["study"] == "guide" and type(record["cost"]) in (int, float):
            return {key: record[key] for key in ("cost", "currency", "lines_without_price")}
    return None


def _is_shown(scene: Path, guide: Path) -> bool:
    """Whether a guide is of a scene as it is now."""
    with suppress(RaysimError, SceneError, OSError, ValueError, LookupError):
        unit = record_in(guide / RESULT_FILE)["unit"]
        return shows(build_scene(scene, read_scene(scene)), guide, unit)
    return False
