"""Boxes for the tests of hooks: a plate between two tubes, whose light is known in closed form."""

import closed_forms as known
import numpy as np
import trimesh
from small_scenes import box, write_scene

import raysim
from raysim.studies.hooks.clearances import Clearances
from raysim.studies.hooks.load import Hang
from raysim.studies.hooks.run import study
from raysim.transport.options import RunOptions

BLACK = {"reflectance": 0.0}
SIDE = 0.4  # m, inside of the cube
LENGTH, RADIUS = 0.28, 0.008  # m, of the tubes
FRONT, REAR = 0.05, 0.35  # m, y of their axes
USE = 0.8 * 0.9 * 0.95  # ageing, temperature, dirt, as the scene has them
NO_ROOM = Clearances(0.0, 0.0, 0.0)


def hanging_sheet(width=60.0, height=60.0, below=20.0):
    """Open upright sheet (mm) that hangs below its origin and faces the door."""
    x = 0.5 * width
    corners = [[-x, 0, -below - height], [x, 0, -below - height], [x, 0, -below], [-x, 0, -below]]
    return trimesh.Trimesh(corners, [[0, 1, 2], [0, 2, 3]], process=False)


def between_tubes(
    folder, watts=(2.0, 2.0), lining=BLACK, more=(), meshes=None, poses=(), **changes
):
    """A sheet on a hook between a tube at the door and one at the rear, both level (x)."""
    lamps = [
        {
            "name": name,
            "from": [60, 1000 * y, 200],
            "to": [340, 1000 * y, 200],
            "diameter": 16,
            "uvc": f"{power} W",
            "reflectance": 0.0,
        }
        for name, y, power in zip(("front", "rear"), (FRONT, REAR), watts, strict=True)
    ]
    sheet = {
        "name": "respirator 1",
        "mesh": "sheet.ply",
        "surface": BLACK,
        "at": [200, 160, 250],
        "judged": True,
        "edge": 22,
    }
    hook = {"name": "hook 1", "mesh": "hook.ply", "surface": BLACK, "at": [200, 160, 250]}
    data = {
        "title": "between two tubes",
        "chamber": {"inside": [400, 400, 400], "lining": lining},
        "lamp": lamps,
        "object": [sheet | changes, hook, *more],
        "lamps_behaviour": {"ageing": 0.8, "temperature": 0.9, "dirt": 0.95},
    }
    if poses:
        data["pose"] = list(poses)
    shapes = {"sheet": hanging_sheet(), "hook": box([1, 1, 10], [-0.5, -0.5, -8])}
    path = write_scene(folder, data, **(shapes | (meshes or {})))
    return raysim.load_scene(path)


def ranked(scene, points, numbers=(1,), clearances=NO_ROOM, precision=0.03, seed=1, **load):
    """Study of some hook points (m), or of `Hang`s."""
    hangs = [point if isinstance(point, Hang) else Hang(point) for point in points]
    return study(
        scene,
        numbers=numbers,
        points=hangs,
        clearances=clearances,
        precision=precision,
        options=RunOptions(seed, threads=2),
        **load,
    )


def worst_in_closed_form(triangles, watts):
    """Irradiance (W/m2) of the worst face-side of sheets between the tubes, cautious case.

    Mean over each triangle of the closed form for a plane parallel to a tube.
    """
    faces = np.flatnonzero(triangles.judged[:, 0])
    corners = triangles.corners[faces]
    u = (np.arange(12) + 0.5) / 12
    a, b = (v.ravel() for v in np.meshgrid(u, u))
    fold = a + b > 1.0  # the unit square folded onto the triangle keeps the points even
    a, b = np.where(fold, 1.0 - a, a), np.where(fold, 1.0 - b, b)
    points = (
        corners[:, None, 0] * (1 - a - b)[:, None]
        + corners[:, None, 1] * a[:, None]
        + corners[:, None, 2] * b[:, None]
    )
    least = np.inf
    for y, power in zip((FRONT, REAR), watts, strict=True):
        light = known.tube_on_plate(
            USE * power,
            RADIUS,
            LENGTH,
            np.abs(points[..., 2] - 0.2),
            points[..., 0] - 0.06,
            np.abs(points[..., 1] - y),
        )
        least = min(least, float(light.mean(axis=1).min()))
    return least
