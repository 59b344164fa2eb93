"""The whole box as seen from two corners."""

from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from raysim.dose.result import Spot
from raysim.output.pictures.page import AREA, Label, Mark, Panel
from raysim.output.pictures.render import Canvas, Sheet
from raysim.output.pictures.scale import DoseScale
from raysim.output.pictures.shades import (
    face_colours,
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
REACHES = (4.0, 24.0, 60.0, 110.0)  # px between a thing and its name, the best first
NEAR = 30.0  # px: a name farther than that from its thing has a line to it
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
        labels = _labels(triangles, view, mark)
        panels.append(Panel(image, labels=labels, mark=mark))
    return panels


def _sheets(
    triangles: SceneTriangles, scale: DoseScale, tubes: np.ndarray, view: View
) -> list[Sheet]:
    """All things in their colours; walls show their inner side only, so near ones are invisible."""
    colours = face_colours(triangles, scale, view, np.arange(len(triangles.areas)))
    solid = ~triangles.on_wall
    return [
        Sheet(triangles.corners, colours[:, OUTSIDE], OUTSIDE),
        Sheet(triangles.corners[solid], colours[solid, INSIDE], INSIDE),
        Sheet(tubes, lamp_colours(tubes, view), OUTSIDE),
    ]


def _spot_hidden(triangles: SceneTriangles, tubes: np.ndarray, spot: Spot, view: View) -> bool:
    """Whether anything drawn hides the spot from the camera, including its own object."""
    towards, facing, start = spot_towards(triangles, spot, view)
    wall_seen = np.einsum("ij,ij->i", triangles.normals, view.to_camera(triangles.centroids)) > 0
    others = (~triangles.on_wall | wall_seen) & (np.arange(len(triangles.areas)) != spot.face)
    corners = np.concatenate([triangles.corners[others], tubes])
    reach = float(np.linalg.norm(view.position - spot.centroid))
    return facing <= 0.0 or is_hidden(start, towards, corners, reach)


def _labels(triangles: SceneTriangles, view: View, mark: Mark | None) -> tuple[Label, ...]:
    """Names of judged objects, lamps and the near upright walls, px; none names another thing."""
    boxes = {
        k: _box(view.pixels(triangles.corners_of(k).reshape(-1, 3)))
        for k in triangles.judged_bodies
    }
    wanted = []
    if len(boxes) <= MOST_LABELS:
        for k, box in boxes.items():
            others = [other for number, other in boxes.items() if number != k]
            wanted.append((Label(box.middle, triangles.bodies[k].name[:24]), box, others))
    everything = list(boxes.values())
    if len(triangles.lamps) <= MOST_LABELS:
        for number, lamp in enumerate(triangles.lamps):
            ends = [p for t in triangles.tubes if t.lamp == number for p in (t.start, t.end)]
            places = view.pixels(np.array(ends))
            low = _box(places[places[:, 1].argmax()][None])
            wanted.append((Label(low.middle, lamp.name[:24], LAMP_INK, 11.5), low, everything))
    for body in triangles.walls:
        if name := triangles.bodies[body].wall:
            found = _wall_label(triangles, view, triangles.face_body == body, name)
            wanted += [(label, Box(*label.at, *label.at), everything) for label in found]
    return placed_labels(wanted, mark)


@dataclass(frozen=True)
class Box:
    """What a thing covers in a view, px, y downwards."""

    left: float
    top: float
    right: float
    bottom: float

    @property
    def middle(self) -> tuple[float, float]:
        """Its middle (definition)."""
        return 0.5 * (self.left + self.right), 0.5 * (self.top + self.bottom)

    def shared(self, other: "Box") -> float:
        """Area that two boxes share, px2 (definition)."""
        across = min(self.right, other.right) - max(self.left, other.left)
        down = min(self.bottom, other.bottom) - max(self.top, other.top)
        return max(across, 0.0) * max(down, 0.0)


def _box(places: np.ndarray) -> Box:
    return Box(*places.min(axis=0), *places.max(axis=0))


def placed_labels(
    wanted: list[tuple[Label, Box, list[Box]]], mark: Mark | None
) -> tuple[Label, ...]:
    """Each label beside its own thing: clear of other words, and of the boxes of other things.

    Where that does not go, it stands where it hides least, with a line to its own thing.
    """
    taken = []
    if mark is not None:
        x, y = mark.at
        taken.append(Box(x - RING_HALF, y - RING_HALF, x + RING_HALF, y + RING_HALF))
    placed = []
    for label, own, others in sorted(wanted, key=lambda row: row[1].bottom):
        tries = [_try(label, own, reach, side) for reach in REACHES for side in range(4)]
        costs = [
            10.0 * sum(box.shared(one) for one in taken)
            + sum(box.shared(one) for one in others)
            + 5.0 * own.shared(box)
            + away
            for box, away in tries
        ]
        box, away = tries[int(np.argmin(costs))]
        astray = away > NEAR or any(box.shared(one) for one in others)
        taken.append(box)
        placed.append(replace(label, at=box.middle, line_to=own.middle if astray else None))
    return tuple(placed)


def _try(label: Label, own: Box, reach: float, side: int) -> tuple[Box, float]:
    """Box of a label below, above, right or left of its thing, and how unlike the best that is."""
    half_x, half_y = LETTER_HALF * len(label.words), LINE_HALF
    x, y = own.middle
    if side == 0:
        y = own.bottom + reach + half_y
    elif side == 1:
        y = own.top - reach - half_y
    else:
        x = own.right + reach + half_x if side == 2 else own.left - reach - half_x
    return Box(x - half_x, y - half_y, x + half_x, y + half_y), reach + 8.0 * side


def _wall_label(triangles: SceneTriangles, view: View, faces: np.ndarray, name: str) -> list[Label]:
    """Name of a wall left out of the view, at its lower edge."""
    normal = triangles.normals[faces][0]
    middle = triangles.centroids[faces].mean(axis=0)
    away = normal @ view.to_camera(middle[None])[0]
    if abs(normal[2]) > 0.5 or away > 0.0:
        return []
    middle[2] = triangles.corners[faces][..., 2].min()
    at = view.pixels(middle)[0]
    return [Label((at[0], at[1] + 8), name[:24], WALL_INK, 14)]
