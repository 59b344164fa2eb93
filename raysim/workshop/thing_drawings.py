"""Hooks and whatever else carries the load, each kind drawn from its side at its true size."""

from collections.abc import Iterator, Mapping

import numpy as np

from raysim.scene.build import BuiltScene
from raysim.scene.file.things import Object
from raysim.scene.place import turning
from raysim.scene.poses import objects_by_pose
from raysim.workshop.drawing import Drawing, Layer, Polyline, Shape, cross
from raysim.workshop.grid import Grid
from raysim.workshop.measures import measured
from raysim.workshop.shapes import Shape as Form
from raysim.workshop.shapes import outline

LETTER = 0.003  # m
LARGEST = 0.16  # m: what is larger is no hook; its size stands in the table (own choice)
NAMES = "xyz"


def thing_drawings(scene: BuiltScene, forms: Mapping[str, Form], grid: Grid) -> tuple[Drawing, ...]:
    """One drawing of each mesh that carries something and is no rod, in steps.

    Seen along the axis of its mesh in which it is thinnest; a cross is the point that tables and
    views call its place.
    """
    drawn: dict[str, Drawing] = {}
    for entry in objects_by_pose(scene.written)[0]:
        form = forms[entry.name]
        if not entry.judged and form.rod is None and max(form.size) <= LARGEST:
            drawn.setdefault(entry.mesh, _drawn(entry, form, scene, grid, len(drawn) + 1))
    return tuple(drawn.values())


def _drawn(entry: Object, form: Form, scene: BuiltScene, grid: Grid, number: int) -> Drawing:
    triangles = scene.triangles
    corners = triangles.corners_of(triangles.body_called(entry.name))
    own = (corners - np.array(entry.at)) @ turning(entry.turn)
    along = int(np.argmin(form.size))
    across, up = (axis for axis in range(3) if axis != along)
    low = own.reshape(-1, 3).min(axis=0)
    size = (grid.steps(form.size[across]), grid.steps(form.size[up]))
    letter = LETTER / grid.step
    shapes: list[Shape] = [
        Polyline(Layer.THING, tuple(line), closed=True)
        for line in outline(own - low, (across, up), grid.step)
    ]
    place = (grid.steps(float(-low[across])), grid.steps(float(-low[up])))
    inside = all(0 <= at <= end for at, end in zip(place, size, strict=True))
    shapes += cross(Layer.MARK, place, letter, slanting=True) if inside else ()
    lines, room = measured(size, [place] if inside else [], letter, grid)
    thin = grid.told(form.size[along])
    names = ", ".join(_alike(entry, scene))
    return Drawing(
        f"thing_{number}",
        f"{names}: {NAMES[across]} to the right, {NAMES[up]} up, {thin} {grid.unit} thick",
        (-room[0] - letter, -room[1] - letter),
        (size[0] + 2.0 * letter, size[1] + 2.0 * letter),
        (*shapes, *lines),
    )


def _alike(entry: Object, scene: BuiltScene) -> Iterator[str]:
    """Names of all things of one mesh."""
    for other in objects_by_pose(scene.written)[0]:
        if other.mesh == entry.mesh and not other.judged:
            yield other.name
