"""Coloured triangles, drawn off screen."""

from dataclasses import dataclass
from typing import Any, Self

import numpy as np

from raysim.output.pictures.views import View
from raysim.scene.triangles import OUTSIDE

FINER = 2  # pixels drawn along each side of a final pixel
# Colour of hatched faces, by which they are found in the drawing.
HATCH_PAPER = np.array([255, 232, 214])
HATCH_INK = np.array([150, 20, 30])
PLAIN: dict[str, Any] = {"lighting": False, "reset_camera": False, "render": False}
HATCH_STEP, HATCH_WIDTH = 18, 7  # of fine pixels


def triangle_mesh(corners: np.ndarray) -> Any:
    """Mesh of triangles (n, 3, 3), which share no points."""
    import pyvista

    faces: Any = np.arange(3 * len(corners)).reshape(-1, 3)
    return pyvista.PolyData.from_regular_faces(corners.reshape(-1, 3), faces)


def culling(side: int) -> str:
    """Which of the two directions of a face is not drawn, to show one side of it alone."""
    return "back" if side == OUTSIDE else "front"


@dataclass(frozen=True)
class Sheet:
    """Triangles seen from one side only: (n, 3, 3) in m and (n, 3) uint8 colours."""

    corners: np.ndarray
    colours: np.ndarray
    side: int


class Canvas:
    """One off-screen window for all pictures of a run."""

    def __init__(self) -> None:
        import pyvista
        from vtkmodules.vtkCommonCore import vtkLogger

        vtkLogger.SetStderrVerbosity(vtkLogger.VERBOSITY_ERROR)
        plotter: Any = pyvista.Plotter
        self._plotter = plotter(off_screen=True, lighting="none")
        self._plotter.set_background("white")
        self._plotter.camera_set = True  # otherwise the first drawing moves the camera

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._plotter.close()

    def drawn(self, view: View, sheets: list[Sheet], lines: np.ndarray | None = None) -> np.ndarray:
        """Picture (height, width, 3) uint8 of triangles, each in its own flat colour.

        `lines` (m, 2, 3) float64, m, are drawn thin and grey.
        """
        plotter = self._plotter
        plotter.clear()
        size = [FINER * length for length in view.size]
        if list(plotter.window_size) != size:  # setting it costs a drawing
            plotter.window_size = size
        for sheet in sheets:
            self._add(sheet)
        if lines is not None and len(lines):
            self._add_lines(lines)
        self._aim(view, np.concatenate([sheet.corners.reshape(-1, 3) for sheet in sheets]))
        plotter.render()
        fine = plotter.screenshot(return_img=True)
        paper = any((sheet.colours == HATCH_PAPER).all(axis=1).any() for sheet in sheets)
        return _coarser(_hatched(np.array(fine[..., :3])) if paper else fine)

    def _add(self, sheet: Sheet) -> None:
        if not len(sheet.corners):
            return
        mesh = triangle_mesh(sheet.corners)
        mesh.cell_data["colour"] = sheet.colours
        self._plotter.add_mesh(
            mesh, scalars="colour", rgb=True, culling=culling(sheet.side), copy_mesh=False, **PLAIN
        )

    def _add_lines(self, lines: np.ndarray) -> None:
        import pyvista

        mesh = pyvista.line_segments_from_points(lines.reshape(-1, 3))
        self._plotter.add_mesh(mesh, color="#8a9199", line_width=FINER, **PLAIN)

    def _aim(self, view: View, points: np.ndarray) -> None:
        camera = self._plotter.camera
        camera.position = tuple(view.position)
        camera.focal_point = tuple(view.focus)
        camera.up = (0.0, 0.0, 1.0) if abs(view.towards[2]) < 0.99 else (0.0, 1.0, 0.0)
        camera.parallel_projection = view.parallel
        camera.parallel_scale = view.half_height
        camera.view_angle = 2.0 * np.degrees(np.arctan(view.half_height / view.distance))
        depth = (view.position - points) @ view.towards
        camera.clipping_range = (0.9 * max(depth.min(), 1e-3), 1.1 * depth.max())


def _hatched(fine: np.ndarray) -> np.ndarray:
    """The picture with stripes on every pixel that has the colour of hatched faces."""
    # One colour after the other: all() takes ten times as long.
    red, green, blue = (fine[..., k] == HATCH_PAPER[k] for k in range(3))
    rows, columns = np.nonzero(red & green & blue)
    ink = (rows + columns) % HATCH_STEP < HATCH_WIDTH
    fine[rows[ink], columns[ink]] = HATCH_INK
    return fine


def _coarser(fine: np.ndarray) -> np.ndarray:
    """Mean over squares of FINER x FINER pixels, which smooths the edges."""
    steps = range(FINER)
    whole: Any = sum(fine[i::FINER, j::FINER].astype(np.uint16) for i in steps for j in steps)
    return np.asarray(((whole + FINER**2 // 2) // FINER**2).astype(np.uint8))
