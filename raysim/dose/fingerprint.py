"""What the numbers of a run rest on, by hash and by name: all that must be as it was to go on."""

import hashlib
import os
from pathlib import Path

import numba
import numpy as np

from raysim.kernels.compile import source_hash
from raysim.scene.build import BuiltScene
from raysim.scene.triangles import SceneTriangles
from raysim.transport.device import device
from raysim.version import __version__

PACKAGE = Path(__file__).resolve().parents[1]


def run_inputs(scene: BuiltScene) -> dict[str, str]:
    """Hash or version of everything that the numbers of a run depend on, options left out.

    Names are those that a user knows things by. The files of the scene count as they were when
    they were read.
    """
    folder = scene.path.parent
    names = ["the scene file"]
    names += [f'mesh "{os.path.relpath(path, folder)}"' for path in scene.files[1:]]
    return dict(zip(names, scene.digests, strict=True)) | {
        "the scene as built (places, surfaces, lamps)": triangles_hash(scene.triangles),
        "raysim's tables of surfaces, lamps and assumptions": _tables_hash(),
        "raysim itself": f"{__version__} {source_hash(PACKAGE)}",
        "the device that traces": device(),
        "numpy": np.__version__,
        "numba": numba.__version__,
    }


def triangles_hash(triangles: SceneTriangles) -> str:
    """SHA-256 (hexadecimal) over everything that light can meet (definition)."""
    digest = hashlib.sha256()
    for array in (triangles.corners, triangles.face_part, triangles.judged):
        digest.update(np.ascontiguousarray(array).tobytes())
    for tube in triangles.tubes:
        ends = np.array([*tube.start, *tube.end, tube.radius, tube.lamp], np.float64)
        digest.update(ends.tobytes())
    for meter in triangles.meters:
        digest.update(meter.name.encode() + np.array([meter.at, meter.facing]).tobytes())
        digest.update(repr((meter.reading, meter.lamp_hours)).encode())
    rest = (triangles.parts, triangles.bodies, triangles.surfaces, triangles.lamps)
    digest.update(repr((rest, triangles.closed)).encode())
    return digest.hexdigest()


def _tables_hash() -> str:
    digest = hashlib.sha256()
    for path in sorted((PACKAGE / "library").glob("*.toml")):
        digest.update(path.name.encode() + b"\0" + path.read_bytes() + b"\0")
    return digest.hexdigest()
