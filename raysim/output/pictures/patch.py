"""Close-up of a dark patch from a direction where it is visible, with its edge in red."""

from pathlib import Path

import numpy as np

from raysim.base.units import to_mW_cm2
from raysim.output.pictures.figure import (
    draw_lines,
    draw_triangles,
    light_bar,
    light_norm,
    new_figure,
    pixel_axes,
    save_figure,
)
from raysim.output.pictures.pictures import OBJECT, Picture
from raysim.output.pictures.scale import COLOUR_MAP
from raysim.output.pictures.views import directions_about, parallel_view
from raysim.scene.check.surroundings import Surroundings
from raysim.scene.triangles import SceneTriangles
from raysim.studies.shadows.patches import CLEAR, DarkPatch, sample_points

SIZE = (1100, 820)  # px
LOOKED_FROM = 120  # directions tried
EDGE_INK = "#c8102e"


def write_patch_picture(
    triangles: SceneTriangles,
    irradiance: np.ndarray,
    patch: DarkPatch,
    title: str,
    path: Path,
) -> Picture:
    """Picture (PNG) of the object with the patch, coloured by irradiance (faces, 2), W/m2."""
    from matplotlib import colormaps

    faces = triangles.faces_of(patch.body)
    towards, seen = camera_direction(triangles, patch)
    room = (round(0.88 * SIZE[0]), SIZE[1])  # the scale stands at its right
    view = parallel_view(triangles.corners[faces].reshape(-1, 3), towards, room)
    facing = triangles.normals[faces] @ towards
    # An open sheet shows the side that faces the camera.
    values = to_mW_cm2(irradiance[faces, (facing < 0.0).astype(int)])
    norm = light_norm(values)
    figure = new_figure(*SIZE)
    axes = pixel_axes(figure, *room)
    colours = colormaps[COLOUR_MAP](norm(np.maximum(values, norm.vmin)))
    draw_triangles(axes, view, triangles.corners[faces], colours, 0.4)
    outline = patch_edges(triangles, patch)
    draw_lines(axes, view, outline, "white", 4.5)
    draw_lines(axes, view, outline, EDGE_INK, 2.2)
    bar = light_bar(figure, (0.89, 0.12, 0.025, 0.76), norm)
    bar.set_title("mW/cm²", fontsize=11)
    save_figure(figure, path)
    caption = (
        "Seen from where the patch shows; its edge in red. Colours: irradiance in the cautious "
        "case, mean over 1 cm², mW/cm², logarithmic."
    )
    if seen < 0.5:
        caption += f" Only {seen:.0%} of the patch can be seen from anywhere; cloth hides the rest."
    return Picture(path, title, caption, OBJECT)


def camera_direction(triangles: SceneTriangles, patch: DarkPatch) -> tuple[np.ndarray, float]:
    """Direction (3,) to the camera that sees most of the patch, and the share that it sees."""
    own = Surroundings(triangles, triangles.faces_of(patch.body))
    points, normals = sample_points(triangles, patch, 40, 1)
    best, most = normals.mean(axis=0), -1.0
    for towards in directions_about(normals.mean(axis=0), LOOKED_FROM):
        faces_it = normals @ towards > 0.1
        if faces_it.mean() <= most:
            continue
        starts = points + CLEAR * normals
        hit = own.first(starts, np.tile(towards, (len(starts), 1)), np.full(len(starts), np.inf))
        seen = float((faces_it & (hit < 0)).mean())
        if seen > most + 0.05:
            best, most = towards, seen
        if most > 0.9:
            break
    return best / np.linalg.norm(best), most


def patch_edges(triangles: SceneTriangles, patch: DarkPatch) -> np.ndarray:
    """Edges (edges, 2, 3), m, that belong to one face of the patch only: its outline."""
    points, edges = triangles.edges_of(patch.faces)
    unique, count = np.unique(edges, axis=0, return_counts=True)
    return np.asarray(points[unique[count == 1]])
