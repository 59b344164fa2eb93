"""Tables of surfaces that do not fit together are refused before compiled code reads them."""

from dataclasses import replace

import numpy as np
import pytest
from built_scenes import BLACK, WIDE, Lamp, Piece, box, scene_of

from raysim.transport.kernel_scene import kernel_scene
from raysim.transport.paths import BackwardRun

SCENE = scene_of([Piece(box(0.0, 0.4), BLACK)], [Lamp(WIDE, 4.9)])


@pytest.mark.parametrize("name", ["reflectance", "transmittance", "lobe"])
def test_a_table_with_a_column_too_many_is_refused(name):
    arrays = kernel_scene(SCENE)
    wide = np.zeros((len(arrays.surfaces.kind), 4))
    odd = replace(arrays, surfaces=arrays.surfaces._replace(**{name: wide}))
    BackwardRun(arrays, SCENE, 1, 1)
    with pytest.raises(ValueError, match="differ in shape"):
        BackwardRun(odd, SCENE, 1, 1)
