"""The dose map as a mesh file that other programs open."""

from pathlib import Path
from typing import Any

import numpy as np

from raysim.base.cases import CAUTIOUS
from raysim.base.units import to_mJ_cm2, to_mm, to_mW_cm2
from raysim.dose.result import Result


def write_dose_map(result: Result, path: Path, case: str = CAUTIOUS) -> None:
    """Write dose_map.vtp: every triangle of the scene (mm) with its irradiance and dose by side.

    Without a timer there is no array of doses.
    """
    import pyvista

    triangles = result.triangles
    count = len(triangles.corners)
    points = to_mm(triangles.corners.reshape(-1, 3)).astype(np.float32)
    faces: Any = np.arange(3 * count).reshape(-1, 3)
    mesh = pyvista.PolyData.from_regular_faces(points, faces)
    chosen = result.cases[case]
    dose = to_mJ_cm2(result.dose_at_timer(case))
    for side, name in enumerate(("outside", "inside")):
        mesh.cell_data[f"irradiance_{name}_mW_cm2"] = to_mW_cm2(chosen.irradiance[:, side]).astype(
            np.float32
        )
        mesh.cell_data[f"standard_error_{name}_mW_cm2"] = to_mW_cm2(
            chosen.standard_error[:, side]
        ).astype(np.float32)
        if np.isfinite(result.timer):
            mesh.cell_data[f"dose_at_timer_{name}_mJ_cm2"] = dose[:, side].astype(np.float32)
        mesh.cell_data[f"judged_{name}"] = triangles.judged[:, side].astype(np.uint8)
    mesh.cell_data["body"] = triangles.face_body
    names = [body.name.encode("ascii", "xmlcharrefreplace") for body in triangles.bodies]
    mesh.field_data["body_names"] = [
        name.decode() for name in names
    ]  # the format has ASCII names only
    path.write_text(_vtp_text(mesh), encoding="utf-8")


def _vtp_text(mesh: Any) -> str:
    """A mesh as text; the file writer of the library crashes if the disk is full."""
    from vtkmodules.vtkIOXML import vtkXMLPolyDataWriter

    writer = vtkXMLPolyDataWriter()
    writer.SetInputData(mesh)
    writer.SetDataModeToBinary()
    writer.WriteToOutputStringOn()
    if not writer.Write():
        raise RuntimeError("the dose map could not be put into words")
    return str(writer.GetOutputString())
