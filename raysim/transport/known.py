"""What is known of the light before backward paths: counts on tiles, and lamps in plane mirrors."""

import numpy as np

from raysim.kernels.mirror import mirror_direction
from raysim.kernels.models import MODELS
from raysim.kernels.records import AXIS, LENGTH, START, TUBE_COLUMNS, Known
from raysim.scene.triangles import SceneTriangles
from raysim.transport.kernel_scene import KernelScene
from raysim.transport.photons import PhotonRun
from raysim.transport.tiles import Tiles

# Points of lamps that are looked at from the start of a path, in dark linings: direct light then
# decides. Dark is where a photon flies no more segments than this, on average (own choice).
LAMP_POINTS, FEW_SEGMENTS = 4, 2.5
MOST_PLANES = 12  # in which lamps are mirrored: those that send back most
LEAST_SHARE = 0.15  # that a plane sends back the sharp way: dim images do not pay for their rays
ROUNDING = 1e-6  # of normals, and m of distances, within which faces lie in one plane


def nothing_known(scene: KernelScene) -> Known:
    """Nothing beforehand: backward paths then go from hit to hit until they meet a lamp."""
    nothing = np.zeros((0, 0, 0, 0), np.float32)
    plane = np.full(len(scene.order), -1, np.int32)
    none = np.zeros(0, np.int32)
    tubes = np.zeros((0, TUBE_COLUMNS))
    return Known(none, nothing, np.zeros(0), plane, tubes, np.zeros(0), none, none, 1)


def known_light(photons: PhotonRun, triangles: SceneTriangles) -> Known:
    """What backward paths may use once the photons are traced: their counts, and mirrored lamps.

    There must be a batch of photons for each batch of paths, or nothing can be read.
    """
    light = None
    if photons.tiles is not None and photons.batches >= photons.groups > 0:
        light = light_on_tiles(photons)
    segments = photons.segments / photons.photons.sum()
    return known_beforehand(photons.scene, triangles, photons.tiles, light, segments)


def light_on_tiles(photons: PhotonRun) -> np.ndarray:
    """Irradiance that each batch counted, W/m2, (batches, tiles, lamps, cases) float32."""
    assert photons.tiles is not None
    by_tile = np.moveaxis(photons.power_on_tiles(), 1, 2) / photons.tiles.areas[:, None, None]
    return np.ascontiguousarray(by_tile, np.float32)


def known_beforehand(
    scene: KernelScene,
    triangles: SceneTriangles,
    tiles: Tiles | None,
    light: np.ndarray | None,
    segments: float,
) -> Known:
    """What backward paths through `scene` may use: `light` on tiles, and mirrored lamps.

    `light` as in `Known`, its lamps and cases those of `scene`; None if none is to be read.
    `segments` is how many a photon flies, on average: in dark linings more points of lamps are
    looked at.
    """
    known = nothing_known(scene)
    if tiles is not None and light is not None:
        known = known._replace(tile=tiles.of, light=light, reach=tiles.reach)
    plane, tubes, exitance, of, planes = _mirrored_tubes(scene, triangles)
    return known._replace(
        plane=plane,
        image_tubes=tubes,
        image_exitance=exitance,
        image_of=of,
        image_plane=planes,
        lamp_points=LAMP_POINTS if segments < FEW_SEGMENTS else 1,
    )


def _mirrored_tubes(scene: KernelScene, triangles: SceneTriangles) -> tuple[np.ndarray, ...]:
    """Plane of each kernel triangle, and images, exitances, tubes and planes as in `Known`."""
    geometry, surfaces = scene.geometry, scene.surfaces
    count = len(scene.order)
    own = geometry.surface[:count]
    is_mirror = np.array([MODELS[kind].direction is mirror_direction for kind in surfaces.kind])
    strength = np.where(is_mirror, (surfaces.reflectance * surfaces.lobe).max(axis=1), 0.0)
    on_wall = triangles.on_wall[scene.order]
    there = np.flatnonzero(on_wall & (strength[own] > LEAST_SHARE))
    plane = np.full(count, -1, np.int32)
    rows: list[np.ndarray] = []
    exitance, of, numbers = [], [], []
    normals = geometry.normals[there]
    offset = (normals * triangles.corners[scene.order[there], 0]).sum(axis=1)
    key = np.rint(np.column_stack([normals, offset]) / ROUNDING).astype(np.int64)
    _, first, group = np.unique(key, axis=0, return_index=True, return_inverse=True)
    areas = triangles.areas[scene.order[there]]
    worth = np.bincount(group, areas * strength[own[there]], len(first))
    best = np.argsort(-worth, kind="stable")[:MOST_PLANES]
    for number, chosen in enumerate(best.tolist()):
        plane[there[group == chosen]] = number
        n, d = normals[first[chosen]], offset[first[chosen]]
        share = worth[chosen] / areas[group == chosen].sum()
        for tube, row in enumerate(geometry.tubes):
            image = row.copy()
            image[START] -= 2.0 * (n @ row[START] - d) * n
            image[AXIS] -= 2.0 * (n @ row[AXIS]) * n
            if max(n @ row[START], n @ (row[START] + row[LENGTH] * row[AXIS])) > d:
                rows.append(image)
                exitance.append(share * geometry.tube_exitance[tube])
                of.append(tube)
                numbers.append(number)
    return (
        plane,
        np.array(rows, float).reshape(-1, TUBE_COLUMNS),
        np.array(exitance, float),
        np.array(of, np.int32),
        np.array(numbers, np.int32),
    )
