"""Fewer triangles for the same surface, by VTK."""

from typing import Any

import numpy as np


class Decimated:
    """A mesh with a share of its triangles taken out.

    Attributes
    ----------
    vertices : (vertices, 3) float64
    faces : (faces, 3) int64

    Source: Garland and Heckbert, "Surface simplification using quadric error metrics", SIGGRAPH
    (1997), as VTK has it.
    """

    def __init__(self, vertices: np.ndarray, faces: np.ndarray, reduction: float) -> None:
        from vtkmodules.util import numpy_support
        from vtkmodules.vtkCommonCore import vtkPoints
        from vtkmodules.vtkCommonDataModel import vtkCellArray, vtkPolyData
        from vtkmodules.vtkFiltersCore import vtkQuadricDecimation

        arrays: Any = numpy_support
        points, cells, whole = vtkPoints(), vtkCellArray(), vtkPolyData()
        points.SetData(arrays.numpy_to_vtk(np.ascontiguousarray(vertices), deep=True))
        ends = np.arange(0, 3 * len(faces) + 1, 3, dtype=np.int64)
        corners = np.ascontiguousarray(faces.reshape(-1), np.int64)
        cells.SetData(
            *(arrays.numpy_to_vtkIdTypeArray(some, deep=True) for some in (ends, corners))
        )
        whole.SetPoints(points)
        whole.SetPolys(cells)
        thin: Any = vtkQuadricDecimation()
        thin.SetInputData(whole)
        thin.SetTargetReduction(reduction)
        thin.SetWeighBoundaryConstraintsByLength(True)
        thin.SetBoundaryWeightFactor(100.0)  # rims stay where they are, or parts come apart
        thin.Update()
        self._surface: Any = thin.GetOutput()
        self.vertices = arrays.vtk_to_numpy(self._surface.GetPoints().GetData()).astype(float)
        left = arrays.vtk_to_numpy(self._surface.GetPolys().GetConnectivityArray())
        self.faces = left.reshape(-1, 3).astype(np.int64)

    def distances(self, points: np.ndarray) -> np.ndarray:
        """Distances of points (points, 3) from the surface, (points,)."""
        from vtkmodules.vtkFiltersCore import vtkImplicitPolyDataDistance

        field: Any = vtkImplicitPolyDataDistance()
        field.SetInput(self._surface)
        return np.abs([field.EvaluateFunction(point) for point in points.tolist()])
