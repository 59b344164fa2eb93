"""Collect everything that a view draws, from a finished result and the user's wishes."""

from collections.abc import Callable
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path

import numpy as np

from raysim.base.cases import CASES
from raysim.base.errors import RaysimError
from raysim.base.units import to_mm
from raysim.output.pictures.shades import tube_triangles, wall_edges
from raysim.output.viewer.light import LightSlice, Plane, lamp_trails, light_slices, trails_reaching
from raysim.output.viewer.source import ViewedResult, find_scene
from raysim.scene.build import BuiltScene
from raysim.transport.kernel_scene import kernel_scene
from raysim.transport.trails import Trail

WHOLE, WORST = "box", "worst"
FEW = 60  # paths of a lamp, unless told otherwise


@dataclass(frozen=True)
class View:
    """All that is drawn; lengths of `tubes`, (n, 3, 3), and `edges`, (m, 2, 3), in mm.

    `lamp` is the row of `lamps` whose trails are shown first; `look_at` is "box", "worst" or the
    name of an object.
    """

    result: ViewedResult
    tubes: np.ndarray
    edges: np.ndarray
    lamps: tuple[str, ...]
    trails: tuple[tuple[Trail, ...], ...]
    slices: tuple[LightSlice, ...]
    lamp: int = 0
    look_at: str = WHOLE
    reach: str = ""  # object that all trails reach, if they were chosen so
    paths_shown: bool = True  # at first; a key shows and hides them


@dataclass(frozen=True)
class Wishes:
    """What a view should show; None stands for the default.

    Attributes
    ----------
    lamp : str or None
        Name of the lamp whose paths are shown first.
    paths : int or None
        Paths of each lamp.
    reach : str or None
        Name of an object that every path must reach.
    planes : list of Plane or None
        Planes of the slices of light; by default one through the worst spot.
    scene : Path or None
        Scene file, if it is not found automatically.
    look_at : str
        "box", "worst" or the name of an object.
    """

    lamp: str | None = None
    paths: int | None = None
    reach: str | None = None
    planes: list[Plane] | None = None
    scene: Path | None = None
    look_at: str = WHOLE

    @property
    def need_scene(self) -> bool:
        """Whether some wish needs more than the map (definition)."""
        return bool(self.lamp or self.paths or self.reach or self.planes or self.scene)


def made_view(found: ViewedResult, wishes: Wishes, warn: Callable[[str], None]) -> View:
    """The view; only the map, with a warning, if the scene is missing and not needed.

    Raises
    ------
    RaysimError
        For unknown names, planes outside the scene, and a missing scene that is needed.
    """
    if wishes.look_at not in (WHOLE, WORST):
        _number("--look-at", wishes.look_at, found.names)
    nothing = np.zeros((0, 3, 3))
    bare = View(found, nothing, np.zeros((0, 2, 3)), (), (), (), look_at=wishes.look_at)
    if wishes.paths == 0 and wishes.planes == [] and not wishes.need_scene:
        return bare
    try:
        scene = find_scene(found, wishes.scene)
    except RaysimError as error:
        if wishes.need_scene:
            raise
        warn(f"{error}; shown without lamps, slices and paths")
        return bare
    return _with_light(found, scene, wishes)


def _with_light(found: ViewedResult, scene: BuiltScene, wishes: Wishes) -> View:
    triangles, arrays = scene.triangles, kernel_scene(scene.triangles)
    lamps = tuple(lamp.name for lamp in triangles.lamps)
    lamp = 0 if wishes.lamp is None else _number("--lamp", wishes.lamp, lamps)
    seed, case = int(found.record["seed"]), CASES.index(found.record["case"])
    count = FEW if wishes.paths is None else wishes.paths
    planes = wishes.planes
    if planes is None:
        planes = [Plane(1, found.case["worst"]["centroid_mm"][1] / 1000.0)]
    ends = triangles.corners.min(axis=(0, 1)), triangles.corners.max(axis=(0, 1))
    _refuse_outside(planes, ends)
    if wishes.reach is None:
        trails = lamp_trails(arrays, count, seed, case)
    else:
        body = _number("--reach", wishes.reach, tuple(b.name for b in triangles.bodies))
        trails = trails_reaching(arrays, triangles.face_body == body, count, seed, case)
    return View(
        found,
        to_mm(tube_triangles(triangles.tubes)),
        to_mm(wall_edges(triangles)),
        lamps,
        tuple(tuple(one) for one in trails),
        tuple(light_slices(arrays, planes, ends, found.case["lamp_factor"], seed=seed, case=case)),
        lamp,
        wishes.look_at,
        wishes.reach or "",
        bool(wishes.lamp or wishes.paths or wishes.reach),
    )


def _number(option: str, name: str, names: tuple[str, ...]) -> int:
    """Index of a name among others; capitals do not matter."""
    folded = [one.casefold() for one in names]
    if name.casefold() in folded:
        return folded.index(name.casefold())
    near = get_close_matches(name, names, n=1) or list(names)
    raise RaysimError(f'{option}: nothing is called "{name}". Mend: did you mean "{near[0]}"?')


def _refuse_outside(planes: list[Plane], ends: tuple[np.ndarray, np.ndarray]) -> None:
    for plane in planes:
        low, high = (float(to_mm(end[plane.axis])) for end in ends)
        if not low <= to_mm(plane.at) <= high:
            raise RaysimError(
                f"--slice: {plane.words} lies outside the scene. "
                f"Mend: choose between {low:.0f} and {high:.0f}"
            )
