"""The dose map as a mesh file that other programs open."""

from pathlib import Path
from typing import Any

import numpy as np

from raysim.base.cases import CAUTIOUS
from raysim.base.units import to_mJ_cm2, to_mm, to_mW_cm2
from raysim.dose.result import Result
from raysim.output.pictures.render import triangle_mesh
from raysim.scene.triangles import SIDES


def write_dose_map(result: Result, path: Path, case: str = CAUTIOUS) -> None:
    """Write dose_map.vtp: every triangle of the scene (mm) with its irradiance and dose by side.

    Without a timer there is no array of doses.
    """
    triangles, chosen = result.triangles, result.cases[case]
    mesh = triangle_mesh(to_mm(triangles.corners).astype(np.float32))
    arrays = {
        "irradiance_{}_mW_cm2": to_mW_cm2(chosen.irradiance),
        "standard_error_{}_mW_cm2": to_mW_cm2(chosen.standard_error),
    }
    if np.isfinite(result.timer):
        arrays["dose_at_timer_{}_mJ_cm2"] = to_mJ_cm2(result.dose_at_timer(case))
    for side, name in enumerate(SIDES):
        for words, values in arrays.items():
            mesh.cell_data[words.format(name)] = values[:, side].astype(np.float32)
        mesh.cell_data[f"judged_{name}"] = triangles.judged[:, side].astype(np.uint8)
    mesh.cell_data["body"] = triangles.face_body
    # The format has ASCII names only.
    names = [body.name.encode("ascii", "xmlcharrefreplace") for body in triangles.bodies]
    mesh.field_data["body_names"] = [name.decode() for name in names]
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
