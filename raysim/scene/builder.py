"""Triangles of a scene, put together one thing after the other: faces, parts, bodies, surfaces."""

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from raysim.base.fault_codes import Code
from raysim.library.surfaces import Surface, UnknownSurface
from raysim.scene.file.things import SurfaceTable
from raysim.scene.file.written import SceneAsWritten
from raysim.scene.mesh.clean import MeshPart
from raysim.scene.mesh.fault import MeshFault
from raysim.scene.mesh.meshes import load_parts
from raysim.scene.mesh.subdivide import split_to_edge
from raysim.scene.notes import Notes
from raysim.scene.triangles import (
    Body,
    LampRating,
    LampTube,
    MeterPoint,
    Part,
    SceneTriangles,
    normals_and_areas,
)

NO_NAMES = 'none (a part begins with "o NAME" in an OBJ, "solid NAME" in a text STL)'
LARGEST_SPLIT = 5.0  # m, of the largest box
MOST_TRIANGLES = 3_000_000  # of a scene: beyond it the tallies outgrow a laptop


Load = Callable[..., list[MeshPart]]  # as `load_parts`


@dataclass
class Builder:
    """What a scene is made of so far, and what is wrong with it."""

    notes: Notes
    folder: Path
    metres_per_unit: float
    find_surface: Callable[[str], Surface]  # by name
    repair: bool = True  # of meshes, as far as it is clear what was meant
    load: Load = load_parts
    corners: list[np.ndarray] = field(default_factory=list)  # of each part, (faces, 3, 3)
    parts: list[Part] = field(default_factory=list)
    bodies: list[Body] = field(default_factory=list)
    surfaces: list[Surface] = field(default_factory=list)
    lamps: list[LampRating] = field(default_factory=list)
    tubes: list[LampTube] = field(default_factory=list)
    meshes: dict[Path, list[MeshPart]] = field(default_factory=dict)
    room: float = LARGEST_SPLIT  # m, longest side of the walls: whatever is longer stays whole

    def add_body(self, body: Body) -> int:
        """Number of a new body, to which parts can then be added."""
        self.bodies.append(body)
        return len(self.bodies) - 1

    def surface(self, choice: str | SurfaceTable, key: str) -> int:
        """Row of a surface in the table of this scene."""
        try:
            found = self.find_surface(choice) if isinstance(choice, str) else choice.surface()
        except UnknownSurface as error:
            what = f'no surface is called "{choice}"'
            self.notes.error(Code.UNKNOWN_SURFACE, key, what, error.mend)
            return 0
        except ValueError as error:
            self.notes.error(Code.BAD_SURFACE, key, str(error), "correct this surface")
            return 0
        if found not in self.surfaces:
            self.surfaces.append(found)
        return self.surfaces.index(found)

    def parts_of(self, mesh: str, key: str) -> list[MeshPart]:
        """Parts of a mesh file; none where it cannot be used."""
        path = self.folder / mesh
        if path not in self.meshes:
            try:
                self.meshes[path] = self.load(path, folder=self.folder, repair=self.repair)
            except MeshFault as fault:
                self.notes.error(fault.code, f"{key}.mesh", f"{mesh} {fault.what}", fault.mend)
                self.meshes[path] = []
        return self.meshes[path]

    def refuse_unknown(self, code: Code, key: str, wanted: list[str], known: list[str]) -> None:
        """Refuse parts or walls of other names than those that a mesh has, if it can be read."""
        kind = "wall" if code is Code.UNKNOWN_WALL else "part"
        for name in wanted:
            if known and name not in known:
                named = ", ".join(filter(None, known)) or NO_NAMES
                mend = f"{kind}s known here: {named}"
                self.notes.error(code, f"{key}.{name}", f"no such {kind}", mend)

    def add_faces(
        self, part: Part, vertices: np.ndarray, faces: np.ndarray, edge: float | None, key: str
    ) -> None:
        """Add a part, its faces split to an edge (m) if there is one; `key` is that of the edge."""
        before = sum(map(len, self.corners))
        if before > MOST_TRIANGLES:
            return  # the fault is noted already; save the memory
        # A mesh drawn in another unit is not split; the check of sizes reports it.
        size = np.ptp(vertices, axis=0).max()
        if edge is not None and size <= self.room:
            try:
                vertices, faces = split_to_edge(vertices, faces, edge)
            except ValueError as error:
                what = f"splitting to this edge gives {error}; it measures {size:.3g} m"
                mend = "choose a longer edge, or check units and scale"
                self.notes.error(Code.EDGE_TOO_SHORT, key, what, mend)
                return
        if before + len(faces) > MOST_TRIANGLES:
            what = f"with it the scene has more than {MOST_TRIANGLES:,} triangles"
            mend = "choose a longer edge, or simpler meshes"
            self.notes.error(Code.TOO_MANY_TRIANGLES, key, what, mend)
        self.parts.append(part)
        self.corners.append(vertices[faces])

    def triangles(self, scene: SceneAsWritten, closed: bool) -> SceneTriangles:
        """All that was added, as triangles, with the meters of the scene."""
        corners, counts = np.concatenate(self.corners), list(map(len, self.corners))
        normals, areas = normals_and_areas(corners)
        judged = [(self.bodies[part.body].judged, part.two_sided) for part in self.parts]
        sides = np.array([(outside, outside and both) for outside, both in judged])
        return SceneTriangles(
            corners=corners,
            normals=normals,
            areas=areas,
            face_part=np.repeat(np.arange(len(counts), dtype=np.int32), counts),
            judged=np.repeat(sides, counts, axis=0),
            parts=tuple(self.parts),
            bodies=tuple(self.bodies),
            surfaces=tuple(self.surfaces),
            lamps=tuple(self.lamps),
            tubes=tuple(self.tubes),
            meters=_meters(scene),
            closed=closed,
            units=scene.units,
        )


def _meters(scene: SceneAsWritten) -> tuple[MeterPoint, ...]:
    return tuple(
        MeterPoint(
            meter.name,
            np.asarray(meter.at),
            np.asarray(meter.facing) / np.linalg.norm(meter.facing),
            meter.reading,
            meter.response,
            scene.hours_when_read(meter),
        )
        for meter in scene.meter
    )
