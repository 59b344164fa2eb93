"""Make triangles of a scene as written, with its meshes and the surfaces of the library."""

from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from raysim.base.errors import Fault, Level, SceneError
from raysim.base.fault_codes import Code
from raysim.base.progress import Progress, nobody_watching
from raysim.library import tables as library
from raysim.library.keitz import keitz_power
from raysim.library.tables import Surface
from raysim.scene import place
from raysim.scene.file import written
from raysim.scene.file.fields import UNIT_METRES
from raysim.scene.file.own_surfaces import surface_of_table
from raysim.scene.file.read import file_digests, joined_hash, scene_files
from raysim.scene.file.things import Object, SurfaceTable
from raysim.scene.file.written import SceneAsWritten
from raysim.scene.mesh.doubts import doubt_bent, doubt_part
from raysim.scene.mesh.enclosure import signed_volume, wall_astray
from raysim.scene.mesh.fault import MeshFault
from raysim.scene.mesh.meshes import MeshPart, load_parts
from raysim.scene.mesh.subdivide import split_to_edge
from raysim.scene.poses import PosedTriangles, objects_by_pose, posed_triangles
from raysim.scene.triangles import (
    Body,
    LampRating,
    LampTube,
    MeterPoint,
    Part,
    SceneTriangles,
    Untreated,
    wall_body,
)

LARGEST_SPLIT = 5.0  # m, of the largest box: the faces of anything larger stay whole
MOST_TRIANGLES = 3_000_000  # of a scene: beyond it the tallies outgrow a laptop
JUDGED_EDGE = 0.006  # m: longest edge of a judged face unless the scene says otherwise


@dataclass
class _Builder:
    """Collects faces, parts, bodies and surfaces, one thing of the scene after the other."""

    shown: str
    folder: Path
    metres_per_unit: float
    own: dict[str, SurfaceTable]
    faults: list[Fault] = field(default_factory=list)
    corners: list[np.ndarray] = field(default_factory=list)
    face_part: list[np.ndarray] = field(default_factory=list)
    face_judged: list[np.ndarray] = field(default_factory=list)
    parts: list[Part] = field(default_factory=list)
    bodies: list[Body] = field(default_factory=list)
    surfaces: list[Surface] = field(default_factory=list)
    meshes: dict[Path, list[MeshPart]] = field(default_factory=dict)
    triangles: int = 0

    def fault(self, code: Code, key: str, what: str, mend: str, level: Level = Level.ERROR) -> None:
        self.faults.append(Fault(code, self.shown, key, what, mend, level))

    def surface(self, choice: str | SurfaceTable, key: str) -> int:
        """Row of a surface in the table of this scene."""
        try:
            found = self._find_surface(choice)
        except library.UnknownSurface as error:
            near = " or ".join(f'"{name}"' for name in error.nearest[:3])
            mend = f"did you mean {near}?" if near else "see 'raysim materials' for the names"
            self.fault(Code.UNKNOWN_SURFACE, key, f'no surface is called "{choice}"', mend)
            return 0
        except ValueError as error:
            self.fault(Code.BAD_SURFACE, key, str(error), "correct this surface")
            return 0
        if found not in self.surfaces:
            self.surfaces.append(found)
        return self.surfaces.index(found)

    def _find_surface(self, choice: str | SurfaceTable) -> Surface:
        if isinstance(choice, str):
            table = self.own.get(choice.casefold())
            return library.find_surface(choice) if table is None else surface_of_table(table)
        return surface_of_table(choice)

    def parts_of(self, mesh: str, key: str) -> list[MeshPart]:
        path = self.folder / mesh
        if path not in self.meshes:
            try:
                self.meshes[path] = load_parts(path)
            except MeshFault as fault:
                self.fault(fault.code, f"{key}.mesh", f"{mesh} {fault.what}", fault.mend)
                self.meshes[path] = []
        return self.meshes[path]

    def add_faces(
        self,
        part: Part,
        vertices: np.ndarray,
        faces: np.ndarray,
        *,
        edge: float | None,
        judged: bool,
        key: str,
    ) -> None:
        if self.triangles > MOST_TRIANGLES:
            return  # the fault is noted already; save the memory
        # Things of absurd size are not split; the check of sizes reports them.
        if edge is not None and np.ptp(vertices, axis=0).max() < LARGEST_SPLIT:
            try:
                vertices, faces, _ = split_to_edge(vertices, faces, edge)
            except ValueError as error:
                size = np.ptp(vertices, axis=0).max()
                what = f"splitting to this edge gives {error}; it measures {size:.3g} m"
                mend = "choose a longer edge, or check units and scale"
                self.fault(Code.EDGE_TOO_SHORT, key, what, mend)
                return
        self.triangles += len(faces)
        if self.triangles > MOST_TRIANGLES:
            what = f"with it the scene has more than {MOST_TRIANGLES:,} triangles"
            mend = "choose a longer edge, or simpler meshes"
            self.fault(Code.TOO_MANY_TRIANGLES, key, what, mend)
        self.parts.append(part)
        self.corners.append(vertices[faces])
        self.face_part.append(np.full(len(faces), len(self.parts) - 1, np.int32))
        self.face_judged.append(np.tile([judged, judged and part.two_sided], (len(faces), 1)))


@dataclass(frozen=True)
class BuiltScene:
    """A scene as written and as triangles, with its warnings.

    `poses` holds every pose, at least one.
    """

    path: Path
    written: SceneAsWritten
    faults: tuple[Fault, ...]  # warnings only
    files: tuple[Path, ...]  # the scene file and its meshes
    digests: tuple[str, ...]  # SHA-256 of each file when it was read
    poses: tuple[PosedTriangles, ...]
    # What touches in every pose and is no longer judged; None before `touching.set_aside`.
    untreated: tuple[Untreated, ...] | None = None

    @property
    def triangles(self) -> SceneTriangles:
        """The load in its first pose."""
        return self.poses[0].triangles

    @property
    def sha256(self) -> str:
        """One hash of the scene file and its meshes, hexadecimal (definition)."""
        return joined_hash(self.digests)

    def in_pose(self, number: int) -> "BuiltScene":
        """The scene with the load in one pose for the whole cycle."""
        if not self.written.pose:
            return self
        hung = objects_by_pose(self.written)[number]
        written = self.written.model_copy(update={"object": hung, "pose": []})
        pose = replace(self.poses[number], share=1.0)
        return replace(self, written=written, poses=(pose,))

    def object_key(self, body: int) -> str:
        """Key of an object as the user would find it, such as `object 3 "respirator 1"`."""
        name = self.triangles.bodies[body].name
        names = [entry.name for entry in self.written.object]
        return f'object {names.index(name) + 1} "{name}"' if name in names else name


def build_scene(
    path: Path, scene: SceneAsWritten, progress: Progress = nobody_watching
) -> BuiltScene:
    """Triangles of a scene.

    Raises
    ------
    SceneError
        With every fault found in meshes, surfaces and names.
    """
    own = {table.name.casefold(): table for table in scene.surface if table.name}
    builder = _Builder(str(path), path.parent, UNIT_METRES[scene.units], own)
    closed = _add_chamber(builder, scene.chamber)
    hung = objects_by_pose(scene)[0]
    for number, entry in enumerate(hung):
        progress("reading and splitting the meshes", number / len(hung), 1.0)
        _add_object(builder, entry, f'object {number + 1} "{entry.name}"')
    lamps, tubes = _lamps(builder, scene)
    if not any(entry.judged for entry in scene.object):
        mend = "set judged = true on the respirators"
        builder.fault(Code.NOTHING_JUDGED, "object", "no object is judged", mend)
    _refuse_one_name_twice(builder, scene)
    if any(fault.level is Level.ERROR for fault in builder.faults):
        raise SceneError(list(dict.fromkeys(builder.faults)))
    triangles = _joined(builder, lamps, tubes, _meters(scene), closed)
    files = scene_files(path, scene)
    try:
        digests = file_digests(files)
    except OSError as error:
        what = f"{error.filename} cannot be read any more ({error.strerror})"
        raise SceneError([Fault(Code.MESH_GONE, str(path), "file", what, "put it back")]) from None
    poses = posed_triangles(scene, triangles)
    return BuiltScene(path, scene, tuple(builder.faults), files, digests, poses)


def _refuse_one_name_twice(builder: _Builder, scene: SceneAsWritten) -> None:
    """Refuse objects named like a wall or a lamp: the energy account could not tell them apart."""
    others = {body.name.casefold() for body in builder.bodies if body.kind != "object"}
    for number, entry in enumerate(scene.object):
        if entry.name.casefold() in others:
            key = f'object {number + 1} "{entry.name}".name'
            what = f'"{entry.name}" is the name of a wall or lamp'
            builder.fault(Code.NAME_TAKEN, key, what, "rename it")


def _joined(
    builder: _Builder,
    lamps: list[LampRating],
    tubes: list[LampTube],
    meters: tuple[MeterPoint, ...],
    closed: bool,
) -> SceneTriangles:
    corners = np.concatenate(builder.corners)
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(cross, axis=1)
    return SceneTriangles(
        corners=corners,
        normals=cross / np.maximum(length, 1e-300)[:, None],
        areas=0.5 * length,
        face_part=np.concatenate(builder.face_part),
        judged=np.concatenate(builder.face_judged),
        parts=tuple(builder.parts),
        bodies=tuple(builder.bodies),
        surfaces=tuple(builder.surfaces),
        lamps=tuple(lamps),
        tubes=tuple(tubes),
        meters=meters,
        closed=closed,
    )


def _add_chamber(builder: _Builder, chamber: written.Chamber) -> bool:
    """Walls of the chamber; returns whether they close it."""
    if chamber.inside is not None:
        vertices = place.box_vertices(chamber.inside)
        walls = {name: (vertices, np.array(faces)) for name, faces in place.BOX_WALLS.items()}
        closed = True
    else:
        walls, closed = _mesh_walls(builder, chamber)
    for name in chamber.walls:
        if walls and name not in walls:
            known = ", ".join(n for n in walls if n) or "none, the mesh has no named parts"
            mend = f"walls known here: {known}"
            builder.fault(Code.UNKNOWN_WALL, f"chamber.walls.{name}", "no such wall", mend)
    for name, (vertices, faces) in walls.items():
        key = f"chamber.walls.{name}" if name in chamber.walls else "chamber.lining"
        surface = builder.surface(chamber.walls.get(name, chamber.lining), key)
        builder.bodies.append(wall_body(name))
        part = Part(len(builder.bodies) - 1, "", surface, two_sided=False)
        builder.add_faces(
            part, vertices, faces, edge=chamber.edge, judged=False, key="chamber.edge"
        )
    return closed


def _mesh_walls(
    builder: _Builder, chamber: written.Chamber
) -> tuple[dict[str, tuple[np.ndarray, np.ndarray]], bool]:
    """Walls of a chamber mesh by part name, their normals into the chamber."""
    import trimesh

    parts = builder.parts_of(str(chamber.mesh), "chamber")
    if not parts:
        return {}, False
    doubt_bent(builder.fault, str(chamber.mesh), parts, "chamber")
    scale = chamber.scale * builder.metres_per_unit
    offsets = np.cumsum([0] + [len(part.vertices) for part in parts])
    faces = [part.faces + offset for part, offset in zip(parts, offsets[:-1], strict=True)]
    whole = trimesh.Trimesh(
        np.vstack([part.vertices for part in parts]), np.vstack(faces), process=False
    )
    whole.merge_vertices(merge_tex=True, merge_norm=True)
    if not whole.is_watertight:
        builder.fault(
            Code.BOX_OPEN,
            "chamber.mesh",
            f"{chamber.mesh} is not closed, so light would leave where the box is tight",
            "close the holes; draw a door gap as a [[gap]], not as a hole",
        )
    elif not whole.is_winding_consistent:
        builder.fault(
            Code.NORMALS_DISAGREE,
            "chamber.mesh",
            f"{chamber.mesh} has neighbouring triangles that face opposite ways",
            "recalculate the normals in the mesh editor",
        )
    inward, vertices = np.array(whole.faces), np.array(whole.vertices) * scale
    if signed_volume(vertices[inward]) > 0.0:
        inward = inward[:, ::-1]
    if whole.is_watertight and whole.is_winding_consistent:
        _refuse_astray(builder, str(chamber.mesh), vertices[inward])
    bounds = np.cumsum([0] + [len(part.faces) for part in parts])
    walls = {
        part.name: (vertices, inward[first:last])
        for part, first, last in zip(parts, bounds[:-1], bounds[1:], strict=True)
    }
    return walls, bool(whole.is_watertight)


def _refuse_astray(builder: _Builder, mesh: str, corners: np.ndarray) -> None:
    """Refuse walls that cut each other, or that face away from the inside."""
    point = wall_astray(corners)
    if point is not None:
        near = ", ".join(f"{x / builder.metres_per_unit:.4g}" for x in point)
        builder.fault(
            Code.BOX_CUTS_ITSELF,
            "chamber.mesh",
            f"{mesh} cuts itself or faces the wrong way near [{near}], so that inside and outside "
            "cannot be told apart",
            "draw the inside of the box as one closed surface",
        )


def _add_object(builder: _Builder, entry: Object, key: str) -> None:
    builder.bodies.append(Body(entry.name, "object", entry.judged))
    body = len(builder.bodies) - 1
    parts = builder.parts_of(entry.mesh, key)
    doubt_bent(builder.fault, entry.mesh, parts, key)
    names = [part.name for part in parts]
    for name in entry.parts:
        if parts and name not in names:
            known = ", ".join(n for n in names if n) or "none, the mesh has no named parts"
            mend = f"parts known here: {known}"
            builder.fault(Code.UNKNOWN_PART, f"{key}.parts.{name}", "no such part", mend)
    edge = entry.edge or (JUDGED_EDGE if entry.judged else None)
    for part in parts:
        doubt_part(builder.fault, entry, part, key)
        where = f"{key}.parts.{part.name}" if part.name in entry.parts else f"{key}.surface"
        surface = builder.surface(entry.parts.get(part.name, entry.surface), where)
        two_sided = entry.sides == "both" or (entry.sides is None and not part.closed)
        vertices = place.placed(
            part.vertices, entry.scale * builder.metres_per_unit, entry.turn, entry.at
        )
        builder.add_faces(
            Part(body, part.name, surface, two_sided),
            vertices,
            part.faces,
            edge=edge,
            judged=entry.judged,
            key=f"{key}.edge",
        )


def _lamps(builder: _Builder, scene: SceneAsWritten) -> tuple[list[LampRating], list[LampTube]]:
    lamps, tubes = [], []
    for number, lamp in enumerate(scene.lamp):
        own = place.lamp_tubes(number, lamp)
        length = float(np.linalg.norm(own[0].end - own[0].start))
        power = lamp.uvc
        if power is None:
            power = keitz_power(float(lamp.irradiance_at_1m or 0.0), 1.0, length)
        choice: str | SurfaceTable = "lamp tube"
        if lamp.reflectance is not None:
            choice = SurfaceTable(name=f"tube of {lamp.name}", reflectance=lamp.reflectance)
        surface = builder.surface(choice, f'lamp {number + 1} "{lamp.name}".reflectance')
        builder.bodies.append(Body(f"lamp: {lamp.name}", "lamp"))
        lamps.append(LampRating(lamp.name, power, lamp.hours, len(builder.bodies) - 1, surface))
        tubes.extend(own)
    return lamps, tubes


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
