"""Starts of backward paths on many face-sides: the same in arrays as one by one."""

import numpy as np
from boxes import three_lamps

from raysim.kernels.records import Starts
from raysim.transport.kernel_scene import kernel_scene
from raysim.transport.starts import FaceStarts, Start, Targets, face_start


def test_starts_in_arrays_are_those_one_by_one(tmp_path):
    scene = three_lamps(tmp_path)
    arrays, triangles = kernel_scene(scene.triangles), scene.triangles
    faces, sides = np.nonzero(triangles.judged)
    own, there = Targets(), Targets()
    point = Start(7, at=np.full(3, 0.1), facing=np.array([0.0, 0.0, 1.0]))
    for targets in (own, there):
        targets.extend([point])
    own.extend([face_start(int(face), int(side)) for face, side in zip(faces, sides, strict=True)])
    there.extend(FaceStarts(faces[:5], sides[:5]))
    there.extend(FaceStarts(faces, sides)[5:])
    assert len(own) == len(there) == 1 + len(faces) > 6
    chosen = np.arange(len(own))
    mine, other = (targets.starts(arrays, triangles, chosen) for targets in (own, there))
    for name in Starts._fields:
        np.testing.assert_array_equal(getattr(other, name), getattr(mine, name), name)


def test_starts_in_arrays_are_objects_if_asked():
    starts = FaceStarts(np.array([4, 9]), np.array([1, 0]))
    assert list(starts) == [face_start(4, 1), face_start(9, 0)]
    assert starts[-1] == face_start(9, 0)
