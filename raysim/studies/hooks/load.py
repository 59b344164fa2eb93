"""What hangs in the box and what stays, and the scene with a number of them hung anew.

What hangs is one respirator, by default the first judged object, together with every object that
is not judged and has the same `at` (its hook). All other judged objects and their hooks are taken
out, and everything else stays where it is.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from raysim.base.errors import RaysimError
from raysim.scene.build import BuiltScene, build_scene
from raysim.scene.file.things import Object
from raysim.scene.file.written import SceneAsWritten
from raysim.scene.place import turning
from raysim.scene.triangles import SceneTriangles

WHOLE_WALLS = 20.0  # m: walls are not judged here, so they need not be split
DIGITS = 4  # decimals of a mm that positions are kept to


@dataclass(frozen=True)
class Hang:
    """Where one respirator hangs: its hook point (m), and its turn about the vertical.

    `turn` in degrees, anticlockwise from above, on top of how the respirator hangs in the scene.
    """

    at: tuple[float, float, float]
    turn: float = 0.0


Layout = tuple[Hang, ...]


@dataclass(frozen=True)
class Load:
    """One respirator with what goes along with it, and what stays in the box.

    `now` is how the judged objects of the scene hang: each of their hook points, with this
    respirator on it.
    """

    scene: BuiltScene
    model: Object
    along: tuple[Object, ...]
    stays: tuple[Object, ...]
    now: Layout

    @property
    def hung(self) -> tuple[Object, ...]:
        """The respirator, then what goes along with it (definition)."""
        return (self.model, *self.along)


def find_load(
    scene: BuiltScene,
    hang: str | None = None,
    along: Sequence[str] = (),
    take_out: Sequence[str] = (),
) -> Load:
    """What hangs, from the objects of a scene.

    Parameters
    ----------
    hang : str, optional
        Name of the judged object to hang; default the first one.
    along : sequence of str
        Objects that go along with it; default those that are not judged and have its `at`.
    take_out : sequence of str
        Objects to leave out of the box.

    Raises
    ------
    RaysimError
        A name that no object has, or one that cannot play its part.
    """
    objects = scene.written.object
    judged = [entry for entry in objects if entry.judged]
    model = judged[0] if hang is None else _named(objects, hang, "--hang")
    if not model.judged:
        raise RaysimError(
            f'--hang "{model.name}": it is not judged. Mend: name a judged object, such as '
            f'"{judged[0].name}"'
        )
    out = {_named(objects, name, "--take-out").name for name in take_out}
    with_it = [_named(objects, name, "--along").name for name in along]
    for option, names in (("--take-out", out), ("--along", with_it)):
        if model.name in names:
            raise RaysimError(f'{option} "{model.name}": it is what hangs. Mend: name another')
    if not with_it:
        with_it = [e.name for e in objects if not e.judged and e.at == model.at]
    hooks = {entry.at for entry in judged}
    moves = set(with_it) | {e.name for e in objects if e.judged or e.at in hooks} | out
    return Load(
        scene=scene,
        model=model,
        along=tuple(e for e in objects if e.name in with_it and e.name not in out),
        stays=tuple(e for e in objects if e.name not in moves),
        now=tuple(Hang(e.at, e.turn[2] - model.turn[2]) for e in judged),
    )


def _named(objects: Sequence[Object], name: str, option: str) -> Object:
    import difflib

    by_name = {entry.name.casefold(): entry for entry in objects}
    if name.casefold() in by_name:
        return by_name[name.casefold()]
    near = difflib.get_close_matches(name.casefold(), by_name, n=1, cutoff=0.4)
    mend = f'did you mean "{by_name[near[0]].name}"?' if near else "'raysim check' lists all"
    raise RaysimError(f'{option} "{name}": no object is called this. Mend: {mend}')


def written_layout(load: Load, layout: Layout) -> SceneAsWritten:
    """The scene with a respirator on each hook point of a layout."""
    objects = list(load.stays)
    for number, hang in enumerate(layout, 1):
        objects += [_moved(load, entry, hang, number) for entry in load.hung]
    return load.scene.written.model_copy(update={"object": objects})


def _moved(load: Load, entry: Object, hang: Hang, number: int) -> Object:
    away = turning((0.0, 0.0, hang.turn)) @ np.subtract(entry.at, load.model.at)
    a, b, c = entry.turn
    at = tuple(round(float(v), DIGITS + 3) for v in np.add(hang.at, away))
    taken = {other.name.casefold() for other in load.stays}
    base = re.sub(r"[\s_#-]*\d+$", "", entry.name) or entry.name
    name = f"{base} {number}"
    while name.casefold() in taken:
        name = f"hung {name}"
    turn = (a, b, round(c + hang.turn, DIGITS))
    return entry.model_copy(update={"name": name, "at": at, "turn": turn})


@dataclass(frozen=True)
class Stage:
    """Triangles of the scene with a number of respirators, before they are put in their places.

    `groups` lists the faces of each respirator with what goes along. Whatever the layout, the
    faces are the same ones, so that they may be compared one by one.
    """

    load: Load
    triangles: SceneTriangles
    groups: tuple[np.ndarray, ...]

    def placed(self, layout: Layout) -> SceneTriangles:
        """Triangles of a layout, (faces, 3, 3) m, in the order of the stage."""
        corners, normals = self.triangles.corners.copy(), self.triangles.normals.copy()
        origin = np.asarray(self.load.model.at)
        for faces, hang in zip(self.groups, layout, strict=True):
            turn = turning((0.0, 0.0, hang.turn))
            corners[faces] = (corners[faces] - origin) @ turn.T + np.asarray(hang.at)
            normals[faces] = normals[faces] @ turn.T
        return replace(self.triangles, corners=corners, normals=normals)


def build_stage(load: Load, number: int) -> Stage:
    """Stage for a number of respirators, all still at the place of the model."""
    there = written_layout(load, (Hang(load.model.at),) * number)
    chamber = there.chamber.model_copy(update={"edge": WHOLE_WALLS})
    built = build_scene(load.scene.path, there.model_copy(update={"chamber": chamber}))
    first = built.triangles.body_called(there.object[len(load.stays)].name)
    each = len(load.hung)
    body = built.triangles.face_body
    groups = tuple(
        np.flatnonzero((body >= first + each * k) & (body < first + each * (k + 1)))
        for k in range(number)
    )
    return Stage(load, built.triangles, groups)
