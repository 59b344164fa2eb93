"""A scene in the flat arrays that the kernels read."""

from dataclasses import dataclass

import numpy as np

from raysim.kernels.hierarchy import build_tree
from raysim.kernels.models import model_number
from raysim.kernels.records import (
    LENGTH,
    MOST_NUMBERS,
    RADIUS,
    TUBE_COLUMNS,
    Geometry,
    LampTubes,
    Surfaces,
)
from raysim.library.surfaces import Surface
from raysim.scene.triangles import SceneTriangles


@dataclass(frozen=True)
class KernelScene:
    """A scene in the arrays that the kernels read.

    `order` (faces,) int64 is the face of each kernel triangle; kernel triangles lie in the order
    of the hierarchy's leaves.
    """

    geometry: Geometry
    surfaces: Surfaces
    lamp_tubes: LampTubes
    lamp_watts: np.ndarray  # (lamps,) float64, W
    order: np.ndarray
    position: np.ndarray  # (faces,) int64, kernel triangle of each face
    bodies: int


def kernel_scene(scene: SceneTriangles, alike: KernelScene | None = None) -> KernelScene:
    """Kernel arrays of a scene; cases are (cautious, expected, bright).

    `alike` are those of a scene with the same corners, whose hierarchy is then taken.
    """
    if alike is None:
        nodes, blocks, order = build_tree(np.ascontiguousarray(scene.corners))
    else:
        nodes, blocks, order = alike.geometry.nodes, alike.geometry.blocks, alike.order
    position = np.empty_like(order)
    position[order] = np.arange(len(order))
    parts = scene.parts
    face_part = scene.face_part[order]
    lamp_of_tube = np.array([tube.lamp for tube in scene.tubes], np.int32)
    lamp_surface = np.array([lamp.surface for lamp in scene.lamps], np.int32)
    lamp_body = np.array([lamp.body for lamp in scene.lamps], np.int32)

    def per_part(name: str, kind: type[np.generic]) -> np.ndarray:
        return np.array([getattr(part, name) for part in parts], kind)

    tubes = _tube_rows(scene)
    geometry = Geometry(
        nodes=nodes,
        blocks=blocks,
        normals=np.ascontiguousarray(scene.normals[order]),
        surface=np.concatenate(
            [per_part("surface", np.int32)[face_part], lamp_surface[lamp_of_tube]]
        ),
        body=np.concatenate([per_part("body", np.int32)[face_part], lamp_body[lamp_of_tube]]),
        two_sided=per_part("two_sided", np.bool_)[face_part],
        tubes=tubes,
        solid=tubes,
        tube_lamp=lamp_of_tube,
        tube_exitance=_exitances(scene),
    )
    count = np.bincount(lamp_of_tube, minlength=len(scene.lamps)).astype(np.int32)
    first = np.concatenate([[0], np.cumsum(count)[:-1]]).astype(np.int32)
    watts = np.array([lamp.uvc_W for lamp in scene.lamps])
    return KernelScene(
        geometry,
        surface_table(scene.surfaces),
        LampTubes(first, count),
        watts,
        order,
        position,
        len(scene.bodies),
    )


def surface_table(surfaces: tuple[Surface, ...]) -> Surfaces:
    """Response table of the kernels; columns of the cases are low, expected, high."""
    specular = np.array([1.0 if s.is_fresnel else s.specular for s in surfaces])
    return Surfaces(
        kind=np.array([model_number(_model(s)) for s in surfaces], np.int32),
        reflectance=np.array(
            [[s.reflectance_low, s.reflectance, s.reflectance_high] for s in surfaces]
        ),
        transmittance=np.array(
            [[s.transmittance_low, s.transmittance, s.transmittance_high] for s in surfaces]
        ),
        specular=specular,
        numbers=np.array([_numbers(s) for s in surfaces]),
        lobe=np.tile(specular[:, None], 3),
    )


def _model(surface: Surface) -> str:
    return surface.model or ("fresnel" if surface.is_fresnel else "mirror")


def _numbers(surface: Surface) -> list[float]:
    """Numbers of a surface's model, filled up with zeros."""
    index = surface.refractive_index
    own = surface.numbers if index is None else (index, surface.extinction)
    return [*own, *[0.0] * (MOST_NUMBERS - len(own))]


def _tube_rows(scene: SceneTriangles) -> np.ndarray:
    rows = []
    for tube in scene.tubes:
        length = np.linalg.norm(tube.end - tube.start)
        rows.append([*tube.start, *tube.axis, length, tube.radius])
    return np.array(rows, float).reshape(-1, TUBE_COLUMNS)


def _exitances(scene: SceneTriangles) -> np.ndarray:
    """Radiant exitance of each tube's mantle, W/m2: the lamp's power over its tubes' mantles."""
    count = np.bincount([tube.lamp for tube in scene.tubes], minlength=len(scene.lamps))
    rows = _tube_rows(scene)
    mantle = 2.0 * np.pi * rows[:, RADIUS] * rows[:, LENGTH]
    lamps = np.array([tube.lamp for tube in scene.tubes], int)
    watts = np.array([lamp.uvc_W for lamp in scene.lamps])
    return watts[lamps] / count[lamps] / mantle
