"""What hangs in the boxes of a design: meshes in millimetres, as large as they are, with parts."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from raysim.base.errors import RaysimError
from raysim.base.units import to_mm
from raysim.scene.file.fields import UNIT_METRES
from raysim.scene.file.rows import USUAL_PARTS
from raysim.scene.mesh.fault import MeshFault
from raysim.scene.mesh.meshes import FORMATS, load_parts
from raysim.starter.files import obj_bytes
from raysim.starter.shapes import SHAPES
from raysim.studies.design.wish import Wish, refused

MM = 0.001
FABRIC = "respirator fabric"


@dataclass(frozen=True)
class Hung:
    """A respirator: its mesh file and what is in it, and its two ends (3,), m, from its hook.

    `parts` are the names of its parts that have a surface of their own; `areas` (m2) are those of
    one side of each surface, by its name.
    """

    name: str
    file: str
    content: bytes
    low: np.ndarray
    high: np.ndarray
    parts: tuple[str, ...]
    areas: dict[str, float]


def hung_shapes(wish: Wish, path: Path) -> tuple[Hung, ...]:
    """What hangs, in the order of the wish; `path` is its file, where own meshes are looked for.

    Raises
    ------
    RaysimError
        A name that no shape has, or a mesh that cannot be used.
    """
    return tuple(_hung(wish, name, path) for name in wish.load.shapes)


def _hung(wish: Wish, name: str, path: Path) -> Hung:
    if name in SHAPES:
        meshes = SHAPES[name].make()
        file = SHAPES[name].file
    elif Path(name).suffix.lower() in FORMATS:
        meshes = _own(wish, name, path)
        file = f"{Path(name).stem}.obj"
    else:
        known = ", ".join(SHAPES)
        raise refused(path, "load.shapes", f'no shape is called "{name}"', f"known: {known}")
    bounds = np.array([mesh.bounds for mesh in meshes.values()])
    low, high = MM * bounds[:, 0].min(axis=0), MM * bounds[:, 1].max(axis=0)
    parts = tuple(part for part in meshes if part in USUAL_PARTS)
    areas: dict[str, float] = {}
    for part, mesh in meshes.items():
        surface = str(USUAL_PARTS.get(part, FABRIC))
        areas[surface] = areas.get(surface, 0.0) + MM**2 * float(mesh.area)
    return Hung(name, file, obj_bytes(meshes), low, high, parts, areas)


def _own(wish: Wish, name: str, path: Path):  # type: ignore[no-untyped-def]
    """Parts of a mesh of one's own, in mm."""
    import trimesh

    try:
        parts = load_parts(path.parent / name)
    except MeshFault as fault:
        raise refused(path, "load.shapes", f"{name} {fault.what}", fault.mend) from None
    factor = wish.scale * to_mm(UNIT_METRES[wish.units])
    return {
        part.name or f"part {number}": trimesh.Trimesh(
            factor * part.vertices, part.faces, process=False
        )
        for number, part in enumerate(parts, 1)
    }


def refuse_nameless(hung: tuple[Hung, ...]) -> None:
    """Refuse two meshes of one's own that would have the same name.

    Raises
    ------
    RaysimError
        Naming it.
    """
    contents: dict[str, bytes] = {}
    for one in hung:
        if contents.setdefault(one.file, one.content) != one.content:
            raise RaysimError(f"two meshes would be called {one.file}. Mend: rename one of them")
