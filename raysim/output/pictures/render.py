"""Coloured triangles, drawn off screen."""

from dataclasses import dataclass
from typing import Any, Self

import numpy as np

from raysim.output.pictures.views import View
from raysim.scene.triangles import OUTSIDE

SAMPLES = 0  # of a fine pixel: four took as long again, for edges hardly smoother
FINER = 2  # pixels drawn along each side of a final pixel
# Colour of hatched faces, by which they are found in the drawing.
HATCH_PAPER = np.array([255, 232, 214])
HATCH_INK = np.array([150, 20, 30])
LINE_GREY = (0x8A / 255, 0x91 / 255, 0x99 / 255)
HATCH_STEP, HATCH_WIDTH = 18, 7  # of fine pixels


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
    """One off-screen window for all pictures of a run.

    VTK itself: half of the time of a picture went into importing what stands above it.
    """

    def __init__(self) -> None:
        import vtkmodules.vtkRenderingOpenGL2  # noqa: F401  # what windows are made by
        from vtkmodules.vtkCommonCore import vtkLogger
        from vtkmodules.vtkRenderingCore import vtkRenderer, vtkRenderWindow

        vtkLogger.SetStderrVerbosity(vtkLogger.VERBOSITY_ERROR)
        self._renderer: Any = vtkRenderer()
        self._window: Any = vtkRenderWindow()
        self._renderer.SetBackground(1.0, 1.0, 1.0)
        self._window.SetOffScreenRendering(True)
        self._window.SetMultiSamples(SAMPLES)
        self._window.AddRenderer(self._renderer)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._window.Finalize()

    def drawn(self, view: View, sheets: list[Sheet], lines: np.ndarray | None = None) -> np.ndarray:
        """Picture (height, width, 3) uint8 of triangles, each in its own flat colour.

        `lines` (m, 2, 3) float64, m, are drawn thin and grey.
        """
        from vtkmodules.util import numpy_support
        from vtkmodules.vtkCommonCore import vtkUnsignedCharArray

        arrays: Any = numpy_support

        self._renderer.RemoveAllViewProps()
        width, height = (FINER * length for length in view.size)
        self._window.SetSize(width, height)
        for sheet in sheets:
            if len(sheet.corners):
                actor = self._shape(sheet.corners, sheet.colours)
                actor.GetProperty().SetBackfaceCulling(sheet.side == OUTSIDE)
                actor.GetProperty().SetFrontfaceCulling(sheet.side != OUTSIDE)
        if lines is not None and len(lines):
            drawn_with = self._shape(lines).GetProperty()
            drawn_with.SetColor(*LINE_GREY)
            drawn_with.SetLineWidth(FINER)
        self._aim(view, np.concatenate([sheet.corners.reshape(-1, 3) for sheet in sheets]))
        self._window.Render()
        pixels = vtkUnsignedCharArray()
        self._window.GetRGBACharPixelData(0, 0, width - 1, height - 1, 0, pixels)
        fine = arrays.vtk_to_numpy(pixels).reshape(height, width, 4)[::-1, :, :3]
        paper = any((sheet.colours == HATCH_PAPER).all(axis=1).any() for sheet in sheets)
        return _coarser(_hatched(fine.copy()) if paper else fine)

    def _shape(self, corners: np.ndarray, colours: np.ndarray | None = None) -> Any:
        """Add triangles or lines (n, 3 or 2, 3), m, that share no points; in colours (n, 3)."""
        from vtkmodules.util import numpy_support
        from vtkmodules.vtkCommonCore import vtkPoints
        from vtkmodules.vtkCommonDataModel import vtkCellArray, vtkPolyData
        from vtkmodules.vtkRenderingCore import vtkActor, vtkPolyDataMapper

        arrays: Any = numpy_support
        count, ends = corners.shape[:2]
        points, cells, shape = vtkPoints(), vtkCellArray(), vtkPolyData()
        points.SetData(arrays.numpy_to_vtk(corners.reshape(-1, 3).astype(np.float32), deep=True))
        numbers = arrays.numpy_to_vtkIdTypeArray(np.arange(ends * count, dtype=np.int64), deep=True)
        cells.SetData(ends, numbers)
        shape.SetPoints(points)
        (shape.SetPolys if ends == 3 else shape.SetLines)(cells)
        if colours is not None:
            shape.GetCellData().SetScalars(arrays.numpy_to_vtk(colours.astype(np.uint8), deep=True))
        mapper, actor = vtkPolyDataMapper(), vtkActor()
        mapper.SetInputData(shape)
        actor.SetMapper(mapper)
        actor.GetProperty().SetLighting(False)
        self._renderer.AddActor(actor)
        return actor

    def _aim(self, view: View, points: np.ndarray) -> None:
        camera = self._renderer.GetActiveCamera()
        camera.SetPosition(*view.position)
        camera.SetFocalPoint(*view.focus)
        camera.SetViewUp(*((0.0, 0.0, 1.0) if abs(view.towards[2]) < 0.99 else (0.0, 1.0, 0.0)))
        camera.SetParallelProjection(view.parallel)
        camera.SetParallelScale(view.half_height)
        camera.SetViewAngle(2.0 * np.degrees(np.arctan(view.half_height / view.distance)))
        depth = (view.position - points) @ view.towards
        camera.SetClippingRange(0.9 * max(depth.min(), 1e-3), 1.1 * depth.max())


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
