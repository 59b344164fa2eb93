"""[[surface]] rows of the user, from the scene file to the numbers that the kernels read."""

import numpy as np
import pytest
from small_scenes import faults_of, small_scene, write_scene

from raysim.dose.simulate import load_scene
from raysim.transport.kernel_scene import kernel_scene

ROWS = [
    {
        "name": "my mirror",
        "reflectance": 0.8,
        "reflectance_low": 0.7,
        "reflectance_high": 0.85,
        "specular": 0.9,
        "source": "measured with a 254 nm meter",
    },
    {"name": "my cloth", "reflectance": 0.3, "transmittance": 0.2},
    {"name": "my metal", "refractive_index": 1.25, "extinction": 1.84},
]


def table(tmp_path, **walls):
    """Kernel surfaces of the small scene with the rows above, and the row of each wall."""
    data = small_scene()
    data["surface"] = ROWS
    data["chamber"]["walls"] = walls
    data["object"][0]["surface"] = "My Cloth"
    triangles = load_scene(write_scene(tmp_path, data)).triangles
    names = [s.name for s in triangles.surfaces]
    return kernel_scene(triangles).surfaces, names, triangles


def test_all_of_a_row_reaches_the_kernels(tmp_path):
    kernels, names, triangles = table(tmp_path, front="my mirror", floor="MY METAL")
    mirror, cloth, metal = (names.index(row["name"]) for row in ROWS)
    assert kernels.reflectance[mirror].tolist() == [0.7, 0.8, 0.85]
    assert kernels.specular[mirror] == 0.9
    assert kernels.transmittance[mirror].tolist() == [0.0, 0.0, 0.0]
    assert kernels.reflectance[cloth].tolist() == [0.3] * 3
    assert kernels.transmittance[cloth].tolist() == [0.2] * 3
    assert kernels.numbers[metal].tolist() == [1.25, 1.84, 0.0, 0.0]
    assert kernels.kind[metal] != kernels.kind[mirror]
    assert triangles.surfaces[mirror].source == "measured with a 254 nm meter"


def test_a_row_is_used_where_it_is_named_and_nowhere_else(tmp_path):
    _, names, triangles = table(tmp_path, front="my mirror")
    own = {
        triangles.bodies[part.body].name
        for part in triangles.parts
        if names[part.surface] == "my mirror"
    }
    assert own == {"chamber: front"}
    assert np.isin("my cloth", names)


@pytest.mark.parametrize(
    ("row", "word"),
    [
        ({"name": "x", "reflectance": 0.9, "transmittance": 0.2}, "more than arrives"),
        ({"name": "x", "reflectance": 1.2}, ""),
        ({"name": "x", "reflectance": 0.5, "refractive_index": 1.5}, "either"),
        ({"name": "x", "reflectance": 0.5, "speculer": 0.1}, "specular"),
        ({"reflectance": 0.5}, "name"),
    ],
)
def test_a_row_that_cannot_be_is_one_clear_line(tmp_path, row, word):
    data = small_scene()
    data["surface"] = [row]
    (fault,) = faults_of(write_scene(tmp_path, data))
    assert word in str(fault)
    assert "Mend: " in str(fault)
