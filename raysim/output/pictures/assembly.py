"""How a box is put together: exploded, and as it stands after each step of the guide."""

from collections.abc import Callable
from dataclasses import replace
from itertools import product
from pathlib import Path

import numpy as np

from raysim.library.assumptions import assumptions
from raysim.output.pictures.figure import INK, halo, new_figure, pixel_axes, save_figure
from raysim.output.pictures.pictures import Picture
from raysim.output.pictures.render import Canvas, Sheet
from raysim.output.pictures.shades import (
    flat_colours,
    lamp_colours,
    tube_triangles,
    wall_edges,
)
from raysim.output.pictures.views import View, perspective_view
from raysim.scene.triangles import INSIDE, OUTSIDE, LampTube, SceneTriangles
from raysim.workshop.fixings import DOOR, Walls, ahead

SIZE = (900, 760)  # px
TOWARDS = np.array([-0.55, -1.0, 0.42])  # from above, before the door
APART = 0.45  # of the longest side of the box: how far walls are drawn from it
AJAR = np.radians(105.0)
HOLDER = 0.02  # m: length of a holder where no wall is near
HOLDER_GREY, LEAF = np.array([70, 74, 80], np.uint8), np.array([216, 205, 180])
# One tint for each lining, told apart at a glance; the names stand beside them.
TINTS = ((226, 231, 236), (240, 226, 190), (205, 222, 208), (226, 208, 222), (205, 214, 230))

Leaf = tuple[float, float, float, float]
Draw = Callable[[SceneTriangles, View], list[Sheet]]


def write_assembly(
    triangles: SceneTriangles, folder: Path, leaf: Leaf | None = None
) -> list[Picture]:
    """Pictures (PNG) of the steps; the kind of each is the `picture` of its step.

    `leaf` are left, right, lower and upper edge (m) of a door that lies in a frame.
    `folder` is made if it does not exist. A box from a mesh without parts has no exploded picture,
    and no door.
    """
    folder.mkdir(parents=True, exist_ok=True)
    missing = {kind for kind, there in _needed(triangles).items() if not there}
    pictures = []
    with Canvas() as canvas:
        for kind, (title, draw) in _STEPS.items():
            if kind not in missing:
                path = folder / f"step_{kind}.png"
                shown = _apart(triangles) if kind == "exploded" else triangles
                shown = _ajar(triangles, leaf) if kind == "door" else shown
                view = perspective_view(_ends(shown), TOWARDS, SIZE)
                sheets = draw(shown, view)
                if leaf is not None and kind in FRAMED:
                    sheets += _frame(triangles, leaf)
                image = canvas.drawn(
                    view, sheets, wall_edges(triangles if kind == "door" else shown)
                )
                _label(path, image, view, shown, kind)
                pictures.append(Picture(path, title, "", kind))
    return pictures


def _needed(triangles: SceneTriangles) -> dict[str, bool]:
    """Whether the box has what these pictures show: panels, a door, points for a meter."""
    walls = [triangles.bodies[k].wall for k in triangles.walls]
    return {"exploded": len(walls) > 1, "door": DOOR in walls, "meter": bool(triangles.meters)}


def _ends(triangles: SceneTriangles) -> np.ndarray:
    """The eight corners of the box about all walls, (8, 3), m."""
    return np.array(list(product(*zip(*triangles.box, strict=True))))


def _apart(triangles: SceneTriangles) -> SceneTriangles:
    """The walls moved away from the box, each along its outward normal."""
    corners = triangles.corners.copy()
    reach = APART * float(np.ptp(corners.reshape(-1, 3), axis=0).max())
    walls = triangles.on_wall
    corners[walls] -= reach * triangles.normals[walls][:, None]
    return replace(triangles, corners=corners)


def _walls(triangles: SceneTriangles, view: View, keep: np.ndarray, both: bool) -> list[Sheet]:
    """Walls as they are lined inside; from outside too where `both` sides are shown."""
    colours = flat_colours(triangles, view)
    sheets = [Sheet(triangles.corners[keep], colours[keep], OUTSIDE)]
    if both:
        back = (0.8 * colours[keep]).astype(np.uint8)
        sheets.append(Sheet(triangles.corners[keep], back, INSIDE))
    return sheets


def _exploded(triangles: SceneTriangles, view: View) -> list[Sheet]:
    return [*_walls(triangles, view, triangles.on_wall, True), *_tubes(triangles, view)]


def _shell(triangles: SceneTriangles, view: View) -> list[Sheet]:
    return _walls(triangles, view, triangles.on_wall, False)


def _closed(triangles: SceneTriangles, view: View) -> list[Sheet]:
    return _walls(triangles, view, triangles.on_wall, True)


def _open(triangles: SceneTriangles, view: View) -> list[Sheet]:
    leaf = _leaf(triangles)
    colour = np.broadcast_to(LEAF.astype(np.uint8), (int(leaf.sum()), 3))
    door = [Sheet(triangles.corners[leaf], colour, side) for side in (OUTSIDE, INSIDE)]
    return [*_walls(triangles, view, triangles.on_wall & ~leaf, False), *door]


def _leaf(triangles: SceneTriangles) -> np.ndarray:
    """Which faces are the door, (faces,) bool."""
    bodies = [k for k, body in enumerate(triangles.bodies) if body.wall == DOOR]
    return np.isin(triangles.face_body, bodies)


def _frame(triangles: SceneTriangles, leaf: Leaf) -> list[Sheet]:
    """What of the front stays when its leaf is open: four strips round it."""
    front = triangles.corners[_leaf(triangles)].reshape(-1, 3)
    (a, y, c), (b, _, d) = front.min(axis=0), front.max(axis=0)
    left, right, low, high = leaf
    strips = ((a, left, c, d), (right, b, c, d), (left, right, c, low), (left, right, high, d))
    faces = []
    for x0, x1, z0, z1 in strips:
        p, q, r, s = ([x, y, z] for x, z in ((x0, z0), (x1, z0), (x1, z1), (x0, z1)))
        faces += [[p, q, r], [p, r, s]]
    corners = np.array(faces)
    colours = np.broadcast_to((0.8 * LEAF).astype(np.uint8), (len(corners), 3))
    return [Sheet(corners, colours, side) for side in (OUTSIDE, INSIDE)]


def _ajar(triangles: SceneTriangles, leaf: Leaf | None) -> SceneTriangles:
    """The leaf of the door turned open, hinged at the left as one stands before it."""
    corners, of_leaf = triangles.corners.copy(), _leaf(triangles)
    turned = corners[of_leaf]
    if leaf is not None:
        turned[..., 0] = turned[..., 0].clip(*leaf[:2])
        turned[..., 2] = turned[..., 2].clip(*leaf[2:])
    hinge = turned.reshape(-1, 3)[:, :2].min(axis=0)
    across, deep = (turned[..., :2] - hinge).transpose(2, 0, 1)
    cosine, sine = np.cos(-AJAR), np.sin(-AJAR)
    turned[..., 0] = hinge[0] + cosine * across - sine * deep
    turned[..., 1] = hinge[1] + sine * across + cosine * deep
    corners[of_leaf] = turned
    return replace(triangles, corners=corners)


def _lined(triangles: SceneTriangles, view: View) -> list[Sheet]:
    """The inside with one tint for each lining."""
    walls = triangles.on_wall
    surfaces = np.array([part.surface for part in triangles.parts])[triangles.face_part[walls]]
    order = {s: k for k, s in enumerate(dict.fromkeys(surfaces.tolist()))}
    tints = np.array([TINTS[order[s] % len(TINTS)] for s in surfaces.tolist()], float)
    return [Sheet(triangles.corners[walls], tints.astype(np.uint8), OUTSIDE)]


def _holders(triangles: SceneTriangles, view: View) -> list[Sheet]:
    """The linings with a holder at each end of a tube: to the wall ahead of it if that is near."""
    walls = Walls(triangles.corners[triangles.on_wall], (), False)
    reach = 0.001 * assumptions()["lamp_end_reach_mm"].value
    ends = []
    for tube in triangles.tubes:
        way = tube.axis
        for at, out in ((tube.start, -way), (tube.end, way)):
            _, off = ahead(at, out, walls)
            long = off if off <= reach else HOLDER
            ends.append(LampTube(tube.lamp, at, at + long * out, 1.4 * tube.radius))
    corners = tube_triangles(tuple(ends))
    colours = np.broadcast_to(HOLDER_GREY, (len(corners), 3))
    return [*_lined(triangles, view), Sheet(corners, colours, OUTSIDE)]


def _things(triangles: SceneTriangles, view: View, judged: bool) -> list[Sheet]:
    bodies = triangles.bodies
    shown = np.array([b.kind == "object" and (judged or not b.judged) for b in bodies])
    keep, colours = shown[triangles.face_body], flat_colours(triangles, view)
    return [Sheet(triangles.corners[keep], colours[keep], side) for side in (OUTSIDE, INSIDE)]


def _tubes(triangles: SceneTriangles, view: View) -> list[Sheet]:
    corners = tube_triangles(triangles.tubes)
    return [Sheet(corners, lamp_colours(corners, view), OUTSIDE)]


def _fitted(triangles: SceneTriangles, view: View) -> list[Sheet]:
    things = _things(triangles, view, False)
    return [*_holders(triangles, view), *things, *_tubes(triangles, view)]


def _hooks(triangles: SceneTriangles, view: View) -> list[Sheet]:
    return [*_holders(triangles, view), *_things(triangles, view, False)]


def _loaded(triangles: SceneTriangles, view: View) -> list[Sheet]:
    shown = [*_holders(triangles, view), *_things(triangles, view, True)]
    return [*shown, *_tubes(triangles, view)]


def _metered(triangles: SceneTriangles, view: View) -> list[Sheet]:
    heads = [LampTube(0, m.at, m.at - HOLDER * m.facing, HOLDER) for m in triangles.meters]
    corners = tube_triangles(tuple(heads))
    colours = np.broadcast_to(HOLDER_GREY, (len(corners), 3))
    return [*_loaded(triangles, view), Sheet(corners, colours, OUTSIDE)]


_STEPS: dict[str, tuple[str, Draw]] = {
    "exploded": ("All panels with the lamps, drawn apart", _exploded),
    "shell": ("The shell from the door; walls nearest to you left out", _shell),
    "door": ("The door, hinged at the left, and its frame", _open),
    "seams": ("The box shut: every edge is a seam to look along", _closed),
    "lined": ("The linings, one tint for each; which is which: by the names of the walls", _lined),
    "holders": ("Caps and holders, from the arc to the wall, no tube yet", _holders),
    "hooks": ("Hooks and rails, no load and no tube yet", _hooks),
    "load": ("The load as it was calculated", _loaded),
    "tubes": ("The tubes in their holders, no load", _fitted),
    "meter": ("The points where the meter is read; a head is a dark disc", _metered),
}
FRAMED = (
    "door",
    "holders",
    "hooks",
    "load",
    "tubes",
    "meter",
)  # the frame stands, the leaf is open


def _label(path: Path, image: np.ndarray, view: View, triangles: SceneTriangles, kind: str) -> None:
    """Write a picture, with names of walls where they are drawn apart, and of lamps."""
    figure = new_figure(*SIZE)
    axes = pixel_axes(figure, *SIZE)
    for words, at in _names(triangles, kind):
        x, y = view.pixels(at)[0]
        style = {"ha": "center", "va": "center", "color": INK, "path_effects": halo(3)}
        axes.text(x, y, words[:24], fontsize=22, parse_math=False, **style)
    save_figure(figure, path, image)


def _names(triangles: SceneTriangles, kind: str) -> list[tuple[str, np.ndarray]]:
    if kind == "exploded":
        walls = [(k, body.wall) for k, body in enumerate(triangles.bodies) if body.wall]
        return [
            (name, triangles.centroids[triangles.faces_of(k)].mean(axis=0)) for k, name in walls
        ]
    if kind == "lined":
        return [
            (body.wall, triangles.centroids[faces].mean(axis=0))
            for k, body in enumerate(triangles.bodies)
            if body.wall
            and (triangles.normals[faces := triangles.faces_of(k)] @ TOWARDS > 0.0).all()
        ]
    if kind == "tubes":
        return [(triangles.lamps[t.lamp].name, 0.5 * (t.start + t.end)) for t in triangles.tubes]
    return []
