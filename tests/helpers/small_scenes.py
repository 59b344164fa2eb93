"""Small scenes for tests: TOML files and meshes of a few triangles, written into a folder."""

import json
from pathlib import Path

import trimesh

from raysim.base.errors import Fault, Level, SceneError
from raysim.base.fault_codes import Code
from raysim.dose.simulate import load_scene
from raysim.scene.check.check import check_scene

INSIDE = (300.0, 250.0, 350.0)  # mm
MILLI = 0.001


def toml_text(value) -> str:
    """A value as TOML; tables within tables are written inline."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, dict):
        pairs = (f"{json.dumps(key)} = {toml_text(inner)}" for key, inner in value.items())
        return "{ " + ", ".join(pairs) + " }"
    return "[" + ", ".join(toml_text(inner) for inner in value) + "]"


def plate(width: float = 40.0, height: float = 40.0) -> trimesh.Trimesh:
    """Upright open sheet of two triangles with one corner at the origin, facing the door."""
    corners = [[0, 0, 0], [width, 0, 0], [width, 0, height], [0, 0, height]]
    return trimesh.Trimesh(corners, [[0, 1, 2], [0, 2, 3]], process=False)


def box(size, at=(0.0, 0.0, 0.0)) -> trimesh.Trimesh:
    """Closed box with its lowest corner at `at`, normals outwards."""
    shape = trimesh.creation.box(size)
    shape.apply_translation([a + 0.5 * s for a, s in zip(at, size, strict=True)])
    return shape


def small_scene() -> dict:
    """A box with two upright tubes in opposite corners and one judged plate, lengths in mm."""
    ends = (("left", 40, 40), ("right", 260, 210))
    lamps = [
        {"name": n, "from": [x, y, 60], "to": [x, y, 290], "diameter": 16, "uvc": "2.4 W"}
        for n, x, y in ends
    ]
    respirator = {
        "name": "plate",
        "mesh": "plate.ply",
        "surface": "respirator fabric",
        "at": [130, 125, 150],
        "judged": True,
        "edge": 25,
    }
    return {
        "title": "small box",
        "chamber": {"inside": list(INSIDE), "lining": "aluminium foil, bright side"},
        "lamp": lamps,
        "object": [respirator],
    }


def write_scene(folder: Path, data: dict | None = None, **meshes: trimesh.Trimesh) -> Path:
    """Write scene.toml, plate.ply and `meshes` (by file stem, as PLY); returns the scene's path."""
    for stem, mesh in {"plate": plate(), **meshes}.items():
        mesh.export(folder / f"{stem}.ply")
    path = folder / "scene.toml"
    lines = [f"{key} = {toml_text(value)}" for key, value in (data or small_scene()).items()]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def with_object(**keys) -> dict:
    """The small scene and one object more, of bare steel unless told otherwise."""
    data = small_scene()
    data["object"].append(
        {"name": "thing", "mesh": "thing.ply", "surface": "stainless steel"} | keys
    )
    return data


def faults_of(path: Path) -> list[Fault]:
    """Everything wrong or doubtful in a scene file, as `raysim check` finds it."""
    try:
        return check_scene(load_scene(path))
    except SceneError as error:
        return error.faults


def errors_of(path: Path) -> list[Fault]:
    """What is wrong in a scene file."""
    return [fault for fault in faults_of(path) if fault.level is Level.ERROR]


def only_fault(path: Path) -> Fault:
    """The one fault of a scene file, which must read as one line."""
    faults = faults_of(path)
    assert len(faults) == 1, faults
    is_one_clear_line(faults[0], path)
    return faults[0]


def is_one_clear_line(fault: Fault, path: Path) -> None:
    """Assert that a fault is one printable line that names file, key, matter and mend."""
    assert isinstance(fault.code, Code)
    assert fault.file == str(path)
    assert fault.key
    assert fault.what
    assert fault.mend
    text = str(fault)
    assert text.startswith(f"{path}: {fault.key}: ")
    assert ". Mend: " in text
    assert all(letter.isprintable() for letter in text), repr(text)
    assert not any(word in text for word in ("pydantic", "Traceback", "ValidationError", "tomllib"))
