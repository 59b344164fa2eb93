"""Read a finished result: its numbers, its map, and the scene it was traced from."""

import math
import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from raysim.base.cases import CASES
from raysim.base.errors import RaysimError, SceneError
from raysim.output.files.folder import RESULT_FILE, record_in
from raysim.output.files.older import brought_up
from raysim.output.files.scene_file import scene_places
from raysim.output.pictures.scale import DoseScale, scale_of_doses, scale_of_irradiance
from raysim.scene.build import BuiltScene
from raysim.scene.file.parcel import opened
from raysim.scene.file.read import file_hash
from raysim.scene.triangles import SIDES, is_wall_name

MAP_FILE = "dose_map.vtp"


@dataclass(frozen=True)
class ViewedResult:
    """What `raysim dose` left, as far as a view needs it.

    Attributes
    ----------
    record : dict
        Content of result.json.
    corners : (faces, 3, 3) float64, mm
    body : (faces,) int64
        Row of `names`.
    judged : (faces, 2) bool
    scale : DoseScale
        The values (faces, 2) and the meaning of their colours.
    """

    folder: Path
    record: dict[str, Any]
    corners: np.ndarray
    body: np.ndarray
    names: tuple[str, ...]
    judged: np.ndarray
    scale: DoseScale

    @property
    def case(self) -> dict[str, Any]:
        """Record of the case that the map shows."""
        case: dict[str, Any] = self.record["cases"][self.record["case"]]
        return case

    @property
    def is_wall(self) -> np.ndarray:
        """Whether each body is a wall of the chamber, (bodies,) bool."""
        walls = [is_wall_name(name) for name in self.names]
        return np.array(walls) & ~np.array(
            [bool(self.judged[self.body == k].any()) for k in range(len(self.names))]
        )


def worst_place(result: ViewedResult) -> tuple[np.ndarray, np.ndarray]:
    """Place (3,), mm, of the worst spot, and the unit normal (3,) towards its side."""
    worst = result.case["worst"]
    corners = result.corners[worst["face"]]
    normal = np.cross(corners[1] - corners[0], corners[2] - corners[0])
    normal *= (1.0 if worst["side"] == "outside" else -1.0) / np.linalg.norm(normal)
    return np.array(worst["centroid_mm"]), normal


def read_view(place: Path, irradiance: bool = False) -> ViewedResult:
    """The result in a folder, or beside a result.json or dose_map.vtp.

    Its colours show the dose at the timer, or the irradiance, if asked or where there is no timer.

    Raises
    ------
    RaysimError
        If one of the two files is missing or was not written by `raysim dose`.
    """
    folder = place if place.is_dir() else place.parent
    if not place.exists():
        raise RaysimError(f"{place}: there is no such file or folder. Mend: name a result folder")
    if not place.is_dir() and place.name not in (RESULT_FILE, MAP_FILE):
        raise RaysimError(
            f"{place}: not a result. Mend: name the folder of a result, its {RESULT_FILE} or its "
            f"{MAP_FILE}"
        )
    for name in (RESULT_FILE, MAP_FILE):
        if not (folder / name).is_file():
            raise RaysimError(
                f"{folder}: holds no {name}. Mend: name a folder that raysim dose has written"
            )
    record = _read_record(folder / RESULT_FILE)
    try:
        record = brought_up(record)
        _refuse_odd(record)
        return _joined(folder, record, _read_mesh(folder / MAP_FILE), irradiance)
    except (LookupError, ValueError, TypeError, AttributeError, OverflowError) as error:
        raise RaysimError(
            f"{folder}: {RESULT_FILE} and {MAP_FILE} are damaged or do not belong together "
            f"({type(error).__name__}: {error}). Mend: run raysim dose again"
        ) from None


def _read_record(path: Path) -> dict[str, Any]:
    try:
        record = record_in(path)
        if "cases" not in record:
            raise ValueError("it is not a result of raysim dose")
    except (OSError, ValueError, RecursionError) as error:
        raise RaysimError(
            f"{path}: cannot be read ({error}). Mend: run raysim dose again"
        ) from None
    return record


def _refuse_odd(record: dict[str, Any]) -> None:
    """Refuse a record in which something that a view needs is missing or of another kind.

    Raises
    ------
    KeyError, TypeError, ValueError
        Naming it.
    """
    scene, worst = record["scene"], record["cases"][record["case"]]["worst"]
    timer = record["verdict"]["timer_s"]
    needed = {
        "case": record["case"] in CASES,
        "seed": type(record["seed"]) is int and 0 <= record["seed"] < 2**64,
        "interrupted": type(record["interrupted"]) is bool,
        "timer_s": timer is None or _is_figure(timer),
        "scene": all(isinstance(scene[key], str) for key in ("title", "file", "sha256")),
        "target": all(_is_figure(value) for value in record["target"].values()),
        "worst": type(worst["face"]) is int
        and worst["side"] in SIDES
        and len(worst["centroid_mm"]) == 3
        and all(_is_figure(abs(value)) for value in worst["centroid_mm"]),
    }
    for key, fits in needed.items():
        if not fits:
            raise ValueError(f"{key} is not as raysim dose writes it")


def _is_figure(value: Any) -> bool:
    return type(value) in (int, float) and 0.0 <= value < math.inf


def _read_mesh(path: Path) -> Any:
    import pyvista
    from vtkmodules.vtkCommonCore import vtkLogger

    vtkLogger.SetStderrVerbosity(vtkLogger.VERBOSITY_OFF)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # a damaged file is found by the checks below
            mesh: Any = pyvista.read(path)
    except Exception as error:
        raise ValueError(f"the map cannot be read: {error}") from None
    if not isinstance(mesh, pyvista.PolyData) or not mesh.n_cells or not mesh.is_all_triangles:
        raise ValueError("the map is not a mesh of triangles")
    return mesh


def _joined(folder: Path, record: dict[str, Any], mesh: Any, irradiance: bool) -> ViewedResult:
    def sides(name: str, unit: str = "") -> np.ndarray:
        return np.stack([np.asarray(mesh.cell_data[f"{name}_{s}{unit}"]) for s in SIDES], axis=1)

    judged = sides("judged").astype(bool)
    names = tuple(str(name) for name in mesh.field_data["body_names"])
    case = record["cases"][record["case"]]
    best = (int(case["best"]["face"]), SIDES.index(case["best"]["side"]))
    if irradiance or record["verdict"]["timer_s"] is None:
        scale = scale_of_irradiance(sides("irradiance", "_mW_cm2").astype(float), judged)
    else:
        doses = sides("dose_at_timer", "_mJ_cm2").astype(float)
        target = record["target"]
        scale = scale_of_doses(
            doses, judged, float(doses[best]), target["dose_mJ_cm2"], target["safety_factor"]
        )
    corners = np.asarray(mesh.points, float)[mesh.regular_faces]
    body = np.asarray(mesh.cell_data["body"]).astype(np.int64)
    if body.min() < 0 or body.max() >= len(names) or int(case["worst"]["face"]) >= len(corners):
        raise ValueError("their faces or bodies differ")
    return ViewedResult(folder, record, corners, body, names, judged, scale)


def find_scene(view: ViewedResult, named: Path | None) -> BuiltScene:
    """The scene the result was traced from, unchanged.

    The place named by the user is tried first; else the recorded path, relative to the current
    folder, to the folder of the result and to the folders above that.

    Raises
    ------
    RaysimError
        If it is not found, cannot be read, or has changed since.
    """
    recorded: str = view.record["scene"]["file"]
    places = [named] if named else scene_places(view.folder, recorded)
    faults = []
    for place in places:
        if not place.is_file():
            continue
        try:
            return _unchanged(place, view.record["scene"]["sha256"])
        except SceneError as error:
            first = str(error).splitlines()[0]
            faults.append(f"{place}: the scene of this result cannot be read any more: {first}")
        except RaysimError as error:
            faults.append(str(error))
    if faults:
        raise RaysimError(faults[0])
    what = str(named or recorded or "no file recorded")
    raise RaysimError(
        f"{what}: the scene this result was traced from was not found. "
        "Mend: name it with --scene FILE"
    )


def _unchanged(place: Path, sha256: str) -> BuiltScene:
    from raysim.dose.simulate import load_scene

    with opened(place) as file:
        scene = load_scene(file)
        now = file_hash(list(scene.files))
    if now != sha256:
        raise RaysimError(
            f"{place}: the scene or one of its meshes has changed since this result was traced "
            f"(SHA-256 {now[:12]} instead of {sha256[:12]}), so its photon paths would not belong "
            "to this map. Mend: run raysim dose again"
        )
    return scene
