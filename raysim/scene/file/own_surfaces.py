"""Surfaces that are defined in the scene itself, as records of the library."""

from raysim.library.surfaces import Surface
from raysim.scene.file.things import SurfaceTable


def surface_of_table(table: SurfaceTable) -> Surface:
    """Surface from an inline table; a missing end of the range is set to the value itself."""
    name = table.name or _surface_label(table)
    common = {
        "specular": 1.0 if table.refractive_index else table.specular,
        "refractive_index": table.refractive_index,
        "extinction": table.extinction,
        "transmittance_low": table.transmittance,
        "transmittance": table.transmittance,
        "transmittance_high": table.transmittance,
        "source": table.source,
        "mark": "given in the scene",
        "quality": "-",
    }
    value = table.reflectance
    if value is None:
        n, k = table.refractive_index or 1.0, table.extinction
        value = ((n - 1.0) ** 2 + k**2) / ((n + 1.0) ** 2 + k**2)
    low = value if table.reflectance_low is None else table.reflectance_low
    high = value if table.reflectance_high is None else table.reflectance_high
    return Surface(name, low, value, high, **common)  # type: ignore[arg-type]


def _surface_label(table: SurfaceTable) -> str:
    if table.refractive_index is not None:
        return f"refractive index {table.refractive_index:g}"
    return f"reflectance {table.reflectance:g}, specular share {table.specular:g}"
