"""What the window draws of slices and paths, and the bars of their colours."""

from typing import Any

import numpy as np

from raysim.base.units import to_mm
from raysim.output.pictures.scale import DoseScale, tick_words
from raysim.output.viewer.light import LightSlice
from raysim.transport.trails import Trail

BAR: dict[str, Any] = {
    "title_font_size": 17, "label_font_size": 15, "color": "black", "fmt": "%.7g", "fill": True,
    "background_color": "white",
}  # fmt: skip
UPRIGHT = {"vertical": True, "position_x": 0.86, "position_y": 0.16, "height": 0.66, "width": 0.05}
POWER_TITLE = "power left on a path, %\n"
LYING = {"vertical": False, "position_y": 0.06, "height": 0.075, "width": 0.3}


def scale_title(scale: DoseScale) -> str:
    """Title of the bar of a scale, with its marks."""
    marks = "".join(f"\n{words} {tick_words(value)}" for value, words in scale.marks)
    return f"{scale.quantity},\n{scale.unit}{marks}\n"


def bar(title: str, place: dict[str, Any], **more: Any) -> dict[str, Any]:
    """Arguments of a bar of colours; `custom_labels` are put beside it."""
    return BAR | place | {"title": title} | more


def custom_labels(ticks: np.ndarray) -> Any:
    """The numbers beside a bar, as the plotting library takes them."""
    from vtkmodules.vtkCommonCore import vtkDoubleArray

    labels = vtkDoubleArray()
    for tick in ticks:
        labels.InsertNextValue(float(tick))
    return labels


def triangle_mesh(corners: np.ndarray) -> Any:
    """Mesh of triangles (n, 3, 3), which share no points."""
    import pyvista

    faces: Any = np.arange(3 * len(corners)).reshape(-1, 3)
    return pyvista.PolyData.from_regular_faces(corners.reshape(-1, 3), faces)


def line_mesh(lines: np.ndarray) -> Any:
    """Mesh of lines (n, 2, 3), mm."""
    import pyvista

    return pyvista.line_segments_from_points(lines.reshape(-1, 3))


def slice_mesh(one: LightSlice, lowest: float) -> Any:
    """The squares of a slice as a flat grid in the box."""
    import pyvista

    axes = [np.array([to_mm(one.plane.at)])] * 3
    others = [axis for axis in range(3) if axis != one.plane.axis]
    for axis, edges in zip(others, one.edges, strict=True):
        axes[axis] = edges
    mesh: Any = pyvista.RectilinearGrid(*axes)
    mesh.cell_data["light"] = np.maximum(one.light, lowest).ravel(order="F")
    return mesh.cell_data_to_point_data()  # smooths the counting noise


def segments(trails: tuple[Trail, ...]) -> tuple[np.ndarray, np.ndarray]:
    """Segments (n, 2, 3), mm, of some trails, and the power on each (n,), 0 to 1."""
    if not trails:
        return np.zeros((0, 2, 3)), np.zeros(0)
    lines = [np.stack([one.points[:-1], one.points[1:]], axis=1) for one in trails]
    return to_mm(np.concatenate(lines)), np.concatenate([one.power for one in trails])
