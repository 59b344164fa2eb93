"""The camera of the window, which keeps the box clear of words and bars."""

from itertools import product
from typing import Any

import numpy as np

from raysim.output.pictures.views import perspective_view

# What stays free of words and bars, as shares of the window: left, right, bottom, top.
FREE, FREE_BELOW = (0.02, 0.8, 0.17, 0.885), 0.06  # the latter without a bar below


def aim(plotter: Any, points: np.ndarray, towards: np.ndarray, *, bar_below: bool) -> None:
    """Fill what is free of words and bars with the box about points (n, 3), mm, from a side."""
    left, right, bottom, top = FREE
    bottom = bottom if bar_below else FREE_BELOW
    width, height = plotter.window_size
    corners = np.array(list(product(*zip(points.min(axis=0), points.max(axis=0), strict=True))))
    free = round((right - left) * width), round((top - bottom) * height)
    seen, camera = perspective_view(corners, towards, free), plotter.camera
    camera.focal_point, camera.up = tuple(seen.focus), (0.0, 0.0, 1.0)
    camera.position = tuple(seen.position)
    half = seen.half_height / (top - bottom)
    camera.view_angle = 2.0 * np.degrees(np.arctan(half / seen.distance))
    camera.SetWindowCenter(1.0 - left - right, 1.0 - bottom - top)
    plotter.camera_set = True
    plotter.reset_camera_clipping_range()
