"""The whole box as seen from two corners."""

from dataclasses import replace
from itertools import product

import numpy as np

from raysim.dose.result import Spot
from raysim.output.pictures.page import AREA, Label, Mark, Panel
from raysim.output.pictures.render import Canvas, Sheet
from raysim.output.pictures.scale import DoseScale
from raysim.output.pictures.shades import (
    face_colours,
    is_wall,
    lamp_colours,
    tube_triangles,
    wall_edges,
)
from raysim.output.pictures.views import View, is_hidden, perspective_view, spot_towards
from raysim.scene.triangles import INSIDE, OUTSIDE, SceneTriangles

OVERVIEWS = (
    ("front left", np.array([-0.62, -1.0, 0.42])),
    ("back right", np.array([0.62, 1.0, 0.42])),
)
MOST_LABELS = 16
RING_HALF, LINE_HALF, LETTER_HALF = 18.0, 9.0, 4.8  # px
LAMP_INK, WALL_INK = "#2b50b8", "#666d76"


def box_panels(
    triangles: SceneTriangles, scale: DoseScale, worst: Spot, canvas: Canvas
) -> list[Panel]:
    """One view of the box from each corner of `OVERVIEWS`; one of them marks the worst spot."""
    tubes = tube_triangles(triangles.tubes)
    ends = [end(triangles.corners, axis=(0, 1)) for end in (np.min, np.max)]
    points = np.array(list(product(*zip(*ends, strict=True))))
    size = (AREA[2], AREA[3])
    views = [perspective_view(points, towards, size) for _, towards in OVERVIEWS]
    hidden = [_spot_hidden(triangles, tubes, worst, view) for view in views]
    facing = [float(spot_towards(triangles, worst, view)[1]) for view in views]
    marked = hidden.index(False) if False in hidden else int(np.argmax(facing))
    edges = wall_edges(triangles)
    panels = []
    for k, view in enumerate(views):
        image = canvas.drawn(view, _sheets(triangles, scale, tubes, view), edges)
        at = view.pixels(worst.centroid)[0]
        mark = Mark((at[0], at[1]), "worst spot", hidden[k]) if k == marked else None
        labels = _spread(_labels(triangles, view), mark)
        panels.append(Panel(image, labels=labels, mark=mark))
    return panels


def _sheets(
    triangles: SceneTriangles, scale: DoseScale, tubes: np.ndarray, view: View
) -> list[Sheet]:
    """All things in their colours; walls show their inner side only, so near ones are invisible."""
    colours = face_colours(triangles, scale, view, np.arange(len(triangles.areas)))
    solid = ~is_wall(triangles)
    return [
        Sheet(triangles.corners, colours[:, OUTSIDE], OUTSIDE),
        Sheet(triangles.corners[solid], colours[solid, INSIDE], INSIDE),
        Sheet(tubes, lamp_colours(tubes, view), OUTSIDE),
    ]


def _spot_hidden(triangles: SceneTriangles, tubes: np.ndarray, spot: Spot, view: View) -> bool:
    """Whether anything drawn hides the spot from the camera, including its own object."""
    towards, facing, start = spot_towards(triangles, spot, view)
    wall_seen = np.einsum("ij,ij->i", triangles.normals, view.to_camera(triangles.centroids)) > 0
    others = (~is_wall(triangles) | wall_seen) & (np.arange(len(triangles.areas)) != spot.face)
    corners = np.concatenate([triangles.corners[others], tubes])
    reach = float(np.linalg.norm(view.position - spot.centroid))
    return facing <= 0.0 or is_hidden(start, towards, corners, reach)


def _labels(triangles: SceneTriangles, view: View) -> list[Label]:
    """Names of judged objects, lamps and the near upright walls, px."""
    labels = []
    body_of = triangles.face_body
    judged = [k for k, body in enumerate(triangles.bodies) if body.judged]
    for body in judged if len(judged) <= MOST_LABELS else []:
        places = view.pixels(triangles.corners[body_of == body].reshape(-1, 3))
        at = (float(places[:, 0].mean()), float(places[:, 1].max()) + 12)
        labels.append(Label(at, triangles.bodies[body].name[:24]))
    if len(triangles.lamps) <= MOST_LABELS:
        for number, lamp in enumerate(triangles.lamps):
            ends = [p for t in triangles.tubes if t.lamp == number for p in (t.start, t.end)]
            places = view.pixels(np.array(ends))
            low = places[places[:, 1].argmax()]
            labels.append(Label((low[0], low[1] + 14), lamp.name[:24], LAMP_INK, 11.5))
    for body, entry in enumerate(triangles.bodies):
        if entry.kind == "wall" and entry.wall:
            labels += _wall_label(triangles, view, body_of == body, entry.wall)
    return labels


def _spread(labels: list[Label], mark: Mark | None) -> tuple[Label, ...]:
    """The labels, moved down where they would overlap the ring of the mark or each other."""
    taken = [] if mark is None else [(*mark.at, RING_HALF, RING_HALF)]
    spread = []
    for label in sorted(labels, key=lambda label: label.at[1]):
        x, y = label.at
        half = LETTER_HALF * len(label.words)
        while any(
            abs(x - other[0]) < half + other[2] and abs(y - other[1]) < LINE_HALF + other[3]
            for other in taken
        ):
            y += 3.0
        taken.append((x, y, half, LINE_HALF))
        spread.append(replace(label, at=(x, y)))
    return tuple(spread)


def _wall_label(triangles: SceneTriangles, view: View, faces: np.ndarray, name: str) -> list[Label]:
    """Name of a wall left out of the view, at its lower edge."""
    normal = triangles.normals[faces][0]
    middle = triangles.centroids[faces].mean(axis=0)
    away = normal @ view.to_camera(middle[None])[0]
    if abs(normal[2]) > 0.5 or away > 0.0:
        return []
    middle[2] = triangles.corners[faces][..., 2].min()
    at = view.pixels(middle)[0]
    return [Label((at[0], at[1] + 16), name[:24], WALL_INK, 14)]
