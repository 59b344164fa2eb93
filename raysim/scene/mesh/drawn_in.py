"""Guess the unit in which a mesh was drawn from its size."""

import numpy as np

from raysim.scene.file.fields import UNIT_METRES

LIKELY = ("mm", "cm", "in", "m")  # in this order
SMALLEST_LIKELY = 0.02  # m: a hook


def scale_mend(
    units: str, scale: float, size: np.ndarray, room: np.ndarray, *, least: float = SMALLEST_LIKELY
) -> str:
    """How to mend the `scale` of a mesh that came out too large or too small.

    Parameters
    ----------
    units : str
        Unit of the scene and of its meshes.
    scale : float
        The present scale.
    size, room : (3,) float64
        Sizes of the mesh at the present scale, and of the space that it has to fit into, m.
    least : float
        Least of its longest side, m.

    Source: definition of the units.
    """
    for drawn in LIKELY:
        wanted = UNIT_METRES[drawn] / UNIT_METRES[units]
        then = size * wanted / scale
        if then.max() >= least and (np.sort(then) <= np.sort(room)).all():
            return (
                f'meshes, too, are read in units = "{units}": write scale = {wanted:.6g} if it was '
                f"drawn in {drawn}"
            )
    return f'check units = "{units}" and scale'
