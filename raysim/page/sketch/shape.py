"""The shape of a scene for pages: walls and load once, then only what has changed."""

from pathlib import Path
from typing import Any

import numpy as np

from raysim.output.pages.map_data import (
    Welds,
    geometry_record,
    grid_of,
    judged_bits,
    placed_tubes,
)
from raysim.scene.mesh.clean import MeshPart
from raysim.scene.mesh.meshes import load_parts
from raysim.scene.triangles import SceneTriangles

MANY_FILES = (".gltf", ".glb")  # may name others, whose changes would go unseen


class KeptMeshes:
    """Loads meshes as `load_parts` does, each again only where its file has changed."""

    def __init__(self) -> None:
        self._kept: dict[Path, tuple[Any, list[MeshPart]]] = {}

    def __call__(self, path: Path, *, folder: Path, repair: bool) -> list[MeshPart]:
        """Parts of a mesh file.

        Raises
        ------
        MeshFault
            As `load_parts`.
        """
        try:
            found = path.stat()
            now = (found.st_mtime_ns, found.st_size, found.st_ino, folder, repair)
        except OSError:
            return load_parts(path, folder=folder, repair=repair)  # says what is wrong
        if path not in self._kept or self._kept[path][0] != now:
            self._kept.pop(path, None)
            parts = load_parts(path, folder=folder, repair=repair)
            if path.suffix.lower() in MANY_FILES:
                return parts
            self._kept[path] = now, parts
        return self._kept[path][1]


class Shapes:
    """Shapes of one draft after the other; what a page was told already is not told again."""

    def __init__(self) -> None:
        self._welds: Welds = {}
        self._last: SceneTriangles | None = None
        self._grid: tuple[np.ndarray, float] = (np.zeros(3), 0.0)
        self._solid = -1  # number of the draft whose walls and load are the last that were told

    def records(self, number: int, triangles: SceneTriangles) -> list[dict[str, Any]]:
        """What a page needs to draw a draft: "solid", unless it was told, and the tubes.

        "shape" names the draft whose "solid" it goes with.
        """
        grid = grid_of(triangles)
        records: list[dict[str, Any]] = []
        same = self._last is not None and same_but_for_lamps(self._last, triangles)
        if not same or self._grid[1] != grid[1] or (self._grid[0] != grid[0]).any():
            self._solid, self._grid = number, grid
            whole = geometry_record(triangles, self._welds)
            records = [{"is": "solid", **whole, "judged": judged_bits(triangles)}]
        self._last = triangles
        tubes = placed_tubes(triangles, *grid)
        return [*records, {"is": "shape", "solid": self._solid, "tubes": tubes}]


def same_but_for_lamps(one: SceneTriangles, other: SceneTriangles) -> bool:
    """Whether walls and load are the same in the same places, and are judged alike."""

    def drawn(scene: SceneTriangles) -> list[Any]:
        bodies = [body for body in scene.bodies if body.kind != "lamp"]
        return [bodies, [(part.body, part.name, part.two_sided) for part in scene.parts]]

    return (
        drawn(one) == drawn(other)
        and np.array_equal(one.corners, other.corners)
        and np.array_equal(one.face_part, other.face_part)
        and np.array_equal(one.judged, other.judged)
    )
