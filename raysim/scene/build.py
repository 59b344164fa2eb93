"""Make triangles of a scene as written, with its meshes and the surfaces of the library."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from raysim.base.errors import Fault, SceneError
from raysim.base.fault_codes import Code
from raysim.base.progress import Progress, nobody_watching
from raysim.library.keitz import keitz_power
from raysim.scene import place
from raysim.scene.builder import Builder, Load
from raysim.scene.file.fields import UNIT_METRES
from raysim.scene.file.named import named
from raysim.scene.file.read import file_digests, joined_hash, scene_files
from raysim.scene.file.things import Object, SurfaceTable
from raysim.scene.file.written import Chamber, Lamp, SceneAsWritten
from raysim.scene.mesh.clean import turn_faces
from raysim.scene.mesh.doubts import doubt_bent, doubt_part, tell_mended
from raysim.scene.mesh.enclosure import signed_volume, wall_astray
from raysim.scene.mesh.meshes import load_parts
from raysim.scene.mesh.thin import thin_part
from raysim.scene.notes import Notes
from raysim.scene.poses import PosedTriangles, objects_by_pose, posed_triangles
from raysim.scene.triangles import Body, LampRating, Part, SceneTriangles, Untreated, wall_body

JUDGED_EDGE = 0.006  # m: longest edge of a judged face unless the scene says otherwise


@dataclass(frozen=True)
class BuiltScene:
    """A scene as written and as triangles, with its warnings.

    `poses` holds every pose, at least one.
    """

    path: Path  # where it is read from; see `name`
    written: SceneAsWritten
    faults: tuple[Fault, ...]  # warnings only
    files: tuple[Path, ...]  # the scene file and its meshes
    digests: tuple[str, ...]  # SHA-256 of each file when it was read
    poses: tuple[PosedTriangles, ...]
    # What touches in every pose and is no longer judged; None before `touching.set_aside`.
    untreated: tuple[Untreated, ...] | None = None

    @property
    def name(self) -> Path:
        """The file that the user named to have this scene: its own, or a parcel."""
        return named(self.path)

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
        return self.written.object_key(names.index(name)) if name in names else name


def build_scene(
    path: Path,
    scene: SceneAsWritten,
    progress: Progress = nobody_watching,
    load: Load = load_parts,
) -> BuiltScene:
    """Triangles of a scene, whose meshes are read by `load`.

    Raises
    ------
    SceneError
        With every fault found in meshes, surfaces and names.
    """
    notes = Notes(str(named(path)))
    builder = Builder(
        notes, path.parent, UNIT_METRES[scene.units], scene.find_surface, scene.repair, load
    )
    closed = _add_chamber(builder, scene.chamber)
    hung = objects_by_pose(scene)[0]
    for number, entry in enumerate(hung):
        progress("reading and splitting the meshes", number / len(hung), 1.0)
        _add_object(builder, entry, scene.object_key(number))
    _add_lamps(builder, scene)
    if not any(entry.judged for entry in scene.object):
        mend = "set judged = true on the respirators"
        notes.error(Code.NOTHING_JUDGED, "object", "no object is judged", mend)
    _refuse_one_name_twice(builder, scene)
    if notes.refused:
        raise SceneError(list(dict.fromkeys(notes.faults)))
    files = scene_files(path, scene)
    try:
        digests = file_digests(files)
    except OSError as error:
        what = f"{error.filename} cannot be read any more ({error.strerror})"
        raise SceneError([Fault(Code.MESH_GONE, notes.file, "file", what, "put it back")]) from None
    poses = posed_triangles(scene, builder.triangles(scene, closed))
    return BuiltScene(path, scene, tuple(notes.faults), files, digests, poses)


def with_lamps(scene: BuiltScene, lamps: Sequence[Lamp]) -> BuiltScene:
    """The scene with other lamps in place of its own, and without meter points.

    Nothing else is built anew, so that faces keep their numbers.
    """
    written = scene.written.model_copy(update={"lamp": list(lamps), "meter": []})
    notes, metres = Notes(str(scene.name)), UNIT_METRES[written.units]
    builder = Builder(notes, scene.path.parent, metres, written.find_surface)
    builder.bodies = [body for body in scene.triangles.bodies if body.kind != "lamp"]
    builder.surfaces = list(scene.triangles.surfaces)
    _add_lamps(builder, written)

    def lit(pose: PosedTriangles) -> PosedTriangles:
        triangles = replace(
            pose.triangles,
            bodies=tuple(builder.bodies),
            surfaces=tuple(builder.surfaces),
            lamps=tuple(builder.lamps),
            tubes=tuple(builder.tubes),
            meters=(),
        )
        return replace(pose, triangles=triangles)

    return replace(scene, written=written, poses=tuple(map(lit, scene.poses)))


def _refuse_one_name_twice(builder: Builder, scene: SceneAsWritten) -> None:
    """Refuse objects named like a wall or a lamp: the energy account could not tell them apart."""
    others = {body.name.casefold() for body in builder.bodies if body.kind != "object"}
    for number, entry in enumerate(scene.object):
        if entry.name.casefold() in others:
            key = f"{scene.object_key(number)}.name"
            what = f'"{entry.name}" is the name of a wall or lamp'
            builder.notes.error(Code.NAME_TAKEN, key, what, "rename it")


def _add_chamber(builder: Builder, chamber: Chamber) -> bool:
    """Walls of the chamber; returns whether they close it."""
    if chamber.inside is not None:
        vertices = place.box_vertices(chamber.inside)
        walls, closed = {name: np.array(faces) for name, faces in place.BOX_WALLS.items()}, True
    else:
        vertices, walls, closed = _mesh_walls(builder, chamber)
    builder.refuse_unknown(Code.UNKNOWN_WALL, "chamber.walls", list(chamber.walls), list(walls))
    for name, faces in walls.items():
        key = f"chamber.walls.{name}" if name in chamber.walls else "chamber.lining"
        surface = builder.surface(chamber.walls.get(name, chamber.lining), key)
        part = Part(builder.add_body(wall_body(name)), "", surface, two_sided=False)
        builder.add_faces(part, vertices, faces, chamber.edge, "chamber.edge")
    if len(vertices):
        builder.room = min(builder.room, np.ptp(vertices, axis=0).max())
    return closed


def _mesh_walls(
    builder: Builder, chamber: Chamber
) -> tuple[np.ndarray, dict[str, np.ndarray], bool]:
    """Corners (m) of a chamber mesh, faces by part, seen from inside, and whether it is closed."""
    import trimesh

    mesh = str(chamber.mesh)
    parts = builder.parts_of(mesh, "chamber")
    if not parts:
        return np.zeros((0, 3)), {}, False
    doubt_bent(builder.notes, mesh, parts, "chamber")
    for part in parts:
        tell_mended(builder.notes, mesh, part, "chamber")
    joined = trimesh.util.append_faces(
        [part.vertices for part in parts], [part.faces for part in parts]
    )
    whole = trimesh.Trimesh(*joined, process=False)
    whole.merge_vertices(merge_tex=True, merge_norm=True)
    if builder.repair and not whole.is_winding_consistent:
        turn_faces(whole)  # parts may each be right, and face opposite ways
    closed, consistent = bool(whole.is_watertight), bool(whole.is_winding_consistent)
    if not closed:
        what = f"{mesh} is not closed, so light would leave where the box is tight"
        mend = "close the holes; draw a door gap as a [[gap]], not as a hole"
        builder.notes.error(Code.BOX_OPEN, "chamber.mesh", what, mend)
    elif not consistent:
        what = f"{mesh} has neighbouring triangles that face opposite ways"
        mend = "recalculate the normals in the mesh editor"
        builder.notes.error(Code.NORMALS_DISAGREE, "chamber.mesh", what, mend)
    vertices = np.array(whole.vertices) * (chamber.scale * builder.metres_per_unit)
    inward = np.array(whole.faces)
    if signed_volume(vertices[inward]) > 0.0:
        inward = inward[:, ::-1]
    if closed and consistent:
        _refuse_astray(builder, mesh, vertices[inward])
    ends = np.cumsum([len(part.faces) for part in parts])
    names = [part.name for part in parts]
    return vertices, dict(zip(names, np.split(inward, ends[:-1]), strict=True)), closed


def _refuse_astray(builder: Builder, mesh: str, corners: np.ndarray) -> None:
    """Refuse walls that cut each other, or that face away from the inside."""
    point = wall_astray(corners)
    if point is not None:
        near = ", ".join(f"{x / builder.metres_per_unit:.4g}" for x in point)
        what = (
            f"{mesh} cuts itself or faces the wrong way near [{near}], so that inside and outside "
            "cannot be told apart"
        )
        mend = "draw the inside of the box as one closed surface"
        builder.notes.error(Code.BOX_CUTS_ITSELF, "chamber.mesh", what, mend)


def _add_object(builder: Builder, entry: Object, key: str) -> None:
    body = builder.add_body(Body(entry.name, "object", entry.judged))
    parts = builder.parts_of(entry.mesh, key)
    doubt_bent(builder.notes, entry.mesh, parts, key)
    names = [part.name for part in parts]
    builder.refuse_unknown(Code.UNKNOWN_PART, f"{key}.parts", list(entry.parts), names)
    edge = entry.edge or (JUDGED_EDGE if entry.judged else None)
    for part in parts:
        doubt_part(builder.notes, entry, part, key)
        where = f"{key}.parts.{part.name}" if part.name in entry.parts else f"{key}.surface"
        surface = builder.surface(entry.parts.get(part.name, entry.surface), where)
        two_sided = entry.sides == "both" or (entry.sides is None and not part.closed)
        scale = entry.scale * builder.metres_per_unit
        corners, faces = thin_part(builder.notes, entry, part, key, scale)
        vertices = place.placed(corners, scale, entry.turn, entry.at)
        whole = Part(body, part.name, surface, two_sided)
        builder.add_faces(whole, vertices, faces, edge, f"{key}.edge")


def _add_lamps(builder: Builder, scene: SceneAsWritten) -> None:
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
        body = builder.add_body(Body(f"lamp: {lamp.name}", "lamp"))
        builder.lamps.append(LampRating(lamp.name, power, lamp.hours, body, surface))
        builder.tubes.extend(own)
