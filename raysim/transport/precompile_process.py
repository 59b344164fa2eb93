"""The second process of `precompile`: compiles the tracing kernels into the cache on disk."""

import logging
import os
import sys
import threading
from collections.abc import Callable

import numpy as np

from raysim.kernels.records import MOST_NUMBERS, TUBE_COLUMNS, Geometry, LampTubes, Surfaces
from raysim.kernels.side_by_side import BLOCK_SIZE, NODE_SIZE
from raysim.scene.triangles import SceneTriangles
from raysim.transport.kernel_scene import KernelScene
from raysim.transport.paths import BackwardRun
from raysim.transport.photons import PhotonRun
from raysim.transport.starts import Start


def run() -> None:
    """Compile the tracing and write the name of each kernel when it is done; end with the first."""
    threading.Thread(target=_end_with_the_first, daemon=True).start()
    logging.getLogger("raysim").addHandler(_GiveUp())
    compile_kernels(_tell)


def compile_kernels(tell: Callable[[str], None]) -> None:
    """Compile the tracing, and `tell` the name of each kernel when it is done."""
    scene = smallest_scene()
    forward = PhotonRun(scene, seed=0, threads=1)
    forward.add_batches(0)
    tell("trace_photons")
    backward = BackwardRun(scene, _one_triangle(), seed=0, threads=1)
    backward.add_starts([Start(0, at=np.zeros(3), facing=np.array([0.0, 0.0, 1.0]))])
    backward.add_paths(np.zeros(1, np.int64), np.zeros(1, np.int64))
    tell("trace_backward")


class _GiveUp(logging.Handler):
    """Leaves it to the first process to tell of trouble with the cache, and to compile.

    What cannot be written cannot be handed over, and the first would wait for nothing.
    """

    def emit(self, record: logging.LogRecord) -> None:
        _tell(record.getMessage())
        os._exit(1)


def _tell(line: str) -> None:
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


def _end_with_the_first() -> None:
    """End this process at once when the first one has gone: its end of the pipe is closed then."""
    os.read(sys.stdin.fileno(), 1)
    os._exit(1)


def smallest_scene() -> KernelScene:
    """Arrays of the types that `kernel_scene` makes, holding one triangle, tube and surface.

    Nothing is traced in it: the kernels are compiled for types alone.
    """
    one = np.zeros(1, np.int32)
    return KernelScene(
        Geometry(
            nodes=np.zeros(NODE_SIZE, np.float32),
            blocks=np.zeros(BLOCK_SIZE),
            normals=np.zeros((1, 3)),
            surface=np.zeros(2, np.int32),
            body=np.zeros(2, np.int32),
            two_sided=np.zeros(1, np.bool_),
            tubes=np.zeros((1, TUBE_COLUMNS)),
            solid=np.zeros((1, TUBE_COLUMNS)),
            tube_lamp=one,
            tube_exitance=np.zeros(1),
        ),
        Surfaces(
            kind=one,
            reflectance=np.zeros((1, 1)),
            transmittance=np.zeros((1, 1)),
            specular=np.zeros(1),
            numbers=np.zeros((1, MOST_NUMBERS)),
            lobe=np.zeros((1, 1)),
        ),
        LampTubes(first=one, number=np.ones(1, np.int32)),
        lamp_watts=np.ones(1),
        order=np.zeros(1, np.int64),
        position=np.zeros(1, np.int64),
        bodies=1,
    )


def _one_triangle() -> SceneTriangles:
    return SceneTriangles(
        corners=np.zeros((1, 3, 3)),
        normals=np.zeros((1, 3)),
        areas=np.zeros(1),
        face_part=np.zeros(1, np.int32),
        judged=np.zeros((1, 2), np.bool_),
        parts=(),
        bodies=(),
        surfaces=(),
        lamps=(),
        tubes=(),
    )
