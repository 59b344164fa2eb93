"""One judged object alone: its outside from the front, its inside from the back."""

from dataclasses import dataclass, replace

import numpy as np

from raysim.dose.result import Spot
from raysim.output.pictures.page import Mark, Panel, panel_size
from raysim.output.pictures.render import Canvas, Sheet
from raysim.output.pictures.scale import DoseScale
from raysim.output.pictures.shades import face_colours
from raysim.output.pictures.views import (
    View,
    directions_about,
    is_hidden,
    parallel_view,
    spot_towards,
)
from raysim.scene.triangles import INSIDE, OUTSIDE, SIDES, SceneTriangles

ENOUGH_SEEN = 0.6  # share of a side that must face the camera if it has only one view
OPEN_SHAPE = 0.2  # |sum of area vectors| / area above which a sheet has a clear front
GHOST_GREY = 226
ABOVE = np.array([0.0, 0.0, 0.25])  # the camera stands a little above


@dataclass(frozen=True)
class _Wanted:
    """A view to be drawn: which side, from which end, and the direction to the camera."""

    side: int
    end: str
    towards: np.ndarray  # (3,) unit

    @property
    def title(self) -> str:
        return f"{SIDES[self.side]}, seen from {self.end}"


def object_panels(
    triangles: SceneTriangles,
    scale: DoseScale,
    body: int,
    *,
    spot: Spot,
    words: str,
    canvas: Canvas,
) -> list[Panel]:
    """Views of one judged body, each of one of its sides, with a ring and `words` at the spot."""
    faces = triangles.faces_of(body)
    wanted = _wanted_views(triangles, faces)
    marked, wanted[marked], hidden = _spot_view(triangles, faces, spot, wanted)
    panels = []
    for k, one in enumerate(wanted):
        view = _view(triangles, faces, one.towards, len(wanted))
        image = canvas.drawn(view, _sheets(triangles, scale, faces, one.side, view))
        at = view.pixels(spot.centroid)[0]
        mark = Mark((at[0], at[1]), words, hidden) if k == marked else None
        panels.append(Panel(image, one.title, mark=mark, px_per_mm=view.px_per_m / 1000.0))
    return panels


def _view(triangles: SceneTriangles, faces: np.ndarray, towards: np.ndarray, count: int) -> View:
    return parallel_view(triangles.corners[faces].reshape(-1, 3), towards, panel_size(count))


def _sheets(
    triangles: SceneTriangles, scale: DoseScale, faces: np.ndarray, side: int, view: View
) -> list[Sheet]:
    """The faces of an object seen from one side; solid parts show their outside in all views.

    Cloth with its other side to the camera is drawn pale, behind everything else: in a parallel
    view moving it away from the camera does not change its place in the picture.
    """
    behind = triangles.corners[faces] - 2.0 * view.half_height * view.towards
    ghost = np.full((len(faces), 3), GHOST_GREY, np.uint8)
    sheets = [Sheet(behind, ghost, INSIDE if side == OUTSIDE else OUTSIDE)]
    for drawn in (OUTSIDE, INSIDE):
        solid = ~triangles.judged[faces, INSIDE]
        kept = faces[solid | (side == OUTSIDE)] if drawn == OUTSIDE else faces[~solid]
        if drawn == OUTSIDE or side == INSIDE:
            colours = face_colours(triangles, scale, view, kept)[:, drawn]
            sheets.append(Sheet(triangles.corners[kept], colours, drawn))
    return sheets


def _wanted_views(triangles: SceneTriangles, faces: np.ndarray) -> list[_Wanted]:
    """Outside from the front and inside from the back; for folded shapes both from both ends."""
    front = _front(triangles, faces)
    ends = {
        "the front": _unit(front + ABOVE),
        "the back": _unit(ABOVE - front),
    }
    if not triangles.judged[faces, INSIDE].any():
        return [_Wanted(OUTSIDE, end, towards) for end, towards in ends.items()]
    facing = triangles.areas[faces] @ (triangles.normals[faces] @ front > 0.0)
    if facing >= ENOUGH_SEEN * triangles.areas[faces].sum():
        return [
            _Wanted(OUTSIDE, "the front", ends["the front"]),
            _Wanted(INSIDE, "the back", ends["the back"]),
        ]
    return [
        _Wanted(side, end, towards) for side in (OUTSIDE, INSIDE) for end, towards in ends.items()
    ]


def _unit(vector: np.ndarray) -> np.ndarray:
    return np.asarray(vector / np.linalg.norm(vector))


def _front(triangles: SceneTriangles, faces: np.ndarray) -> np.ndarray:
    """Direction (3,) that the outside of the largest part faces; if unclear its thinnest axis."""
    parts, where = np.unique(triangles.face_part[faces], return_inverse=True)
    sizes = np.bincount(where.reshape(-1), weights=triangles.areas[faces])
    largest = faces[triangles.face_part[faces] == parts[sizes.argmax()]]
    whole = triangles.areas[largest] @ triangles.normals[largest]
    if np.linalg.norm(whole) > OPEN_SHAPE * sizes.max():
        return _unit(whole)
    spread = triangles.centroids[largest] - triangles.centroids[largest].mean(axis=0)
    flattest = np.linalg.eigh(spread.T @ spread)[1][:, 0]
    return np.asarray(-flattest if flattest[1] > 0.0 else flattest)


def _spot_view(
    triangles: SceneTriangles, faces: np.ndarray, spot: Spot, wanted: list[_Wanted]
) -> tuple[int, _Wanted, bool]:
    """Number of the view for the spot, that view (turned if needed), and whether it is hidden."""
    mine = [k for k, one in enumerate(wanted) if spot.side == SIDES[one.side]]
    for k in mine:
        if not _hidden(triangles, faces, spot, wanted[k], len(wanted)):
            return k, wanted[k], False
    last = mine[-1]
    for towards in directions_about(wanted[last].towards):
        turned = replace(wanted[last], towards=towards, end="where its worst spot shows")
        if not _hidden(triangles, faces, spot, turned, len(wanted)):
            return last, turned, False
    return last, wanted[last], True


def _hidden(
    triangles: SceneTriangles, faces: np.ndarray, spot: Spot, one: _Wanted, count: int
) -> bool:
    """Whether the spot faces away, or drawn cloth stands before it."""
    view = _view(triangles, faces, one.towards, count)
    towards, facing, start = spot_towards(triangles, spot, view)
    if facing <= 0.05:
        return True
    others = faces[faces != spot.face]
    outward = triangles.normals[others] @ towards
    solid = ~triangles.judged[others, INSIDE]
    outside_drawn = (outward > 0.0) & (solid | (one.side == OUTSIDE))
    inside_drawn = (outward < 0.0) & ~solid & (one.side == INSIDE)
    drawn = triangles.corners[others[outside_drawn | inside_drawn]]
    return is_hidden(start, towards, drawn, np.inf)
