"""A scene and its meshes as members of a parcel: no path in it leads out of the parcel."""

import hashlib
import posixpath
import tomllib
from dataclasses import dataclass, field
from itertools import chain, count, takewhile
from pathlib import Path, PurePosixPath

from raysim.base.errors import RaysimError
from raysim.scene.build import BuiltScene
from raysim.scene.file.parcel import MESHES
from raysim.scene.file.parcel_members import same_name, unfit_name
from raysim.scene.file.read import joined_hash, mesh_names, rename_meshes
from raysim.scene.file.toml import toml_text
from raysim.scene.mesh.gltf import buffer_files

SCENE, RESULTS, GUIDE = "scene", "results", "guide"  # folders of a parcel
SHORT = 12  # digits of a hash as pages show it


@dataclass
class Packing:
    """Members of a parcel by name, and where each file of a scene went, by its real path."""

    members: dict[str, bytes] = field(default_factory=dict)
    places: dict[Path, str] = field(default_factory=dict)
    hashes: dict[str, str] = field(default_factory=dict)  # of scenes with their meshes, by member

    def add_scene(self, scene: BuiltScene, member: str) -> dict[str, str]:
        """Add a scene as `member`, with its meshes.

        The file stays as it is, byte by byte, where its meshes keep their places. Else it is
        written anew, without comments, with other names of meshes and nothing else changed.
        Returns what has to be replaced in texts about the scene: names of meshes and the hash, as
        far as they change, each with the new one.

        Raises
        ------
        RaysimError
            Where a file has a name that not every system takes.
        """
        folder = posixpath.dirname(member)
        names = {}
        for name in mesh_names(scene.written):
            at = self._add_mesh(scene, name, folder)
            stays = posixpath.normpath(f"{folder}/{name}") == at
            names[name] = name if stays else posixpath.relpath(at, folder)
        text = scene.path.read_bytes()
        told = {old: new for old, new in names.items() if old != new}
        if told:
            text = _with_meshes(text.decode("utf-8-sig"), names)
        self._add(scene, member, text)
        sha256 = self.hashes[member] = self._hash(member, list(names.values()))
        if sha256 != scene.sha256:
            told |= {scene.sha256: sha256, scene.sha256[:SHORT]: sha256[:SHORT]}
        return told

    def _add_mesh(self, scene: BuiltScene, name: str, folder: str) -> str:
        """Add a mesh and what belongs to it; returns its place, where it was if it can be."""
        mesh = scene.path.parent / name
        files = [mesh, *buffer_files(mesh)]
        if mesh.resolve() not in self.places:
            numbered = (f"{SCENE}/meshes/{number}" for number in count(2))
            homes = chain(_old_home(name, folder), [f"{SCENE}/meshes"], numbered)
            home = next(home for home in homes if self._is_free(home, files))
            for file in files:
                if file.suffix.lower() not in MESHES:
                    what = f'"{file.name}" holds numbers of a mesh and has no ending known here'
                    raise RaysimError(f"{scene.name}: {what}. Mend: save the mesh as .glb")
                self._add(scene, posixpath.join(home, file.name), file.read_bytes())
                self.places[file.resolve()] = posixpath.join(home, file.name)
        return self.places[mesh.resolve()]

    def _is_free(self, home: str, files: list[Path]) -> bool:
        """Whether files can go to a folder: nothing else stands there by their names."""
        taken = {same_name(name) for name in self.members}
        return all(
            self.places.get(file.resolve()) == posixpath.join(home, file.name)
            or same_name(posixpath.join(home, file.name)) not in taken
            for file in files
        )

    def _add(self, scene: BuiltScene, member: str, content: bytes) -> None:
        why = unfit_name(member)
        if why:
            file = posixpath.basename(member)
            raise RaysimError(f'{scene.name}: "{file}" {why}. Mend: rename it, plainly')
        self.members[member] = content

    def _hash(self, member: str, names: list[str]) -> str:
        """Hash of a scene with its files as they are in the parcel; their order is by path."""
        there = {PurePosixPath(posixpath.dirname(member)) / name: name for name in names}
        files = set(there)
        for path in there:
            source = next(
                real for real, at in self.places.items() if at == posixpath.normpath(str(path))
            )
            files |= {path.parent / buffer.name for buffer in buffer_files(source)}
        contents = [self.members[posixpath.normpath(str(path))] for path in sorted(files)]
        digests = [hashlib.sha256(one).hexdigest() for one in (self.members[member], *contents)]
        return joined_hash(digests)


def _old_home(name: str, folder: str) -> list[str]:
    """The folder in which a mesh lies as its scene names it, if that is plain and in the parcel."""
    steps = PurePosixPath(name).parts
    at = posixpath.normpath(f"{folder}/{name}")
    plain = not name.startswith("/") and ".." not in steps[1:] and not unfit_name(at)
    free = at.partition("/")[0] not in (RESULTS, GUIDE)
    return [posixpath.dirname(at)] if plain and free and folder == SCENE else []


def _with_meshes(text: str, names: dict[str, str]) -> bytes:
    """A scene file with other names of meshes; of its comments the first lines stay."""
    data = tomllib.loads(text)
    rename_meshes(data, names.__getitem__)
    heading = list(takewhile(lambda line: line.startswith("#"), text.splitlines()))
    return ("".join(f"{line}\n" for line in heading) + "\n" + toml_text(data)).encode()
