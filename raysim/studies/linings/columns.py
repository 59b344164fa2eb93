"""Many linings along the same backward paths: a column of the surface table for each.

A path meets the walls of one geometry whatever they are lined with, so it can serve all linings
at once: it goes on with the largest reflectance among them, picks the mirror lobe with a share
between theirs, and each column's weight makes up for the difference. Linings of unlike gloss or
brightness are kept apart, because their weights would spread too much.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from raysim.library.surfaces import Surface
from raysim.scene.triangles import SceneTriangles
from raysim.transport.kernel_scene import KernelScene, kernel_scene, surface_table

LOW, EXPECTED_VALUE = 0, 1  # columns of `surface_table` taken for the cautious and expected case
DARK = 0.15  # expected reflectance below which paths are short
GLOSS_LIMITS = (0.25, 0.65)  # specular shares that part dull, half-glossy and mirror-like
BLACK = Surface("black", 0.0, 0.0, 0.0, 0.0, source="definition", mark="definition")


@dataclass(frozen=True)
class Variant:
    """A way to line the box: one surface for each wall of the scene, in the order of its walls."""

    name: str
    walls: tuple[Surface, ...]


def wall_surfaces(triangles: SceneTriangles) -> tuple[Surface, ...]:
    """Surface of each wall as the scene has it."""
    by_body = {part.body: triangles.surfaces[part.surface] for part in triangles.parts}
    return tuple(by_body[body] for body in triangles.walls)


def in_groups(
    variants: Sequence[Variant], kind: Callable[[Variant], tuple[object, ...]]
) -> list[list[int]]:
    """Places of the variants in groups of one kind."""
    groups: dict[tuple[object, ...], list[int]] = {}
    for place, variant in enumerate(variants):
        groups.setdefault(kind(variant), []).append(place)
    return list(groups.values())


def glossy_and_bright(variant: Variant) -> tuple[object, ...]:
    """Kind of variants that may share backward paths: of like gloss and brightness.

    Walls that are not in plain terms have to be the same.
    """
    not_plain = tuple(None if s.is_plain else s for s in variant.walls)
    if any(not_plain):
        return not_plain
    brightest = max(variant.walls, key=lambda s: s.reflectance)
    if brightest.reflectance < DARK:
        return ("dark", brightest.reflectance > 0.0)
    return ("bright", sum(brightest.specular > limit for limit in GLOSS_LIMITS))


def equally_glossy(variant: Variant) -> tuple[object, ...]:
    """Kind of variants whose photons are scattered alike by every wall."""
    return tuple(s.specular if s.is_plain else s for s in variant.walls)


def bare_scene(triangles: SceneTriangles) -> KernelScene:
    """Kernel arrays with bare black walls, each with a surface of its own, to be lined."""
    walls = triangles.walls
    first = len(triangles.surfaces)
    parts = tuple(
        replace(part, surface=first + walls.index(part.body)) if part.body in walls else part
        for part in triangles.parts
    )
    black = (BLACK,) * len(walls)
    return kernel_scene(replace(triangles, parts=parts, surfaces=triangles.surfaces + black))


def column_scene(
    triangles: SceneTriangles, variants: Sequence[Variant], bare: KernelScene | None = None
) -> KernelScene:
    """Kernel arrays with two columns per variant of a group: cautious, then expected.

    `bare` is the `bare_scene` of the triangles where it is at hand.
    """
    first = len(triangles.surfaces)
    arrays = bare or bare_scene(triangles)
    table = surface_table(triangles.surfaces + variants[0].walls)
    of_variant = [surface_table(triangles.surfaces + variant.walls) for variant in variants]
    columns = {
        name: np.concatenate(
            [getattr(one, name)[:, [LOW, EXPECTED_VALUE]] for one in of_variant], axis=1
        )
        for name in ("reflectance", "transmittance", "lobe")
    }
    plain = np.array([s.is_plain for s in triangles.surfaces + variants[0].walls])
    specular = np.where(
        (np.arange(len(table.specular)) < first) | ~plain,
        table.specular,
        _shared_lobe(columns["reflectance"], columns["lobe"]),
    )
    return replace(arrays, surfaces=table._replace(specular=specular, **columns))


def alike_lamps_as_one(
    arrays: KernelScene, factors: np.ndarray
) -> tuple[KernelScene, np.ndarray, np.ndarray]:
    """Lamps whose output is the same share of their rating in every column, counted together.

    `factors` (columns, lamps) are those shares, and come back as (columns, kinds of lamps), with
    the kind of each lamp: tallies of backward paths are smaller by as much. Photons are not to be
    sent out with such arrays.
    """
    shares, kind = np.unique(factors, axis=1, return_inverse=True)
    kind = kind.reshape(-1)
    tube_kind = kind[arrays.geometry.tube_lamp].astype(np.int32)
    geometry = arrays.geometry._replace(tube_lamp=tube_kind)
    watts = np.bincount(kind, weights=arrays.lamp_watts)
    return replace(arrays, geometry=geometry, lamp_watts=watts), shares, kind


def lamps_summed(light: np.ndarray, kind: np.ndarray, kinds: int) -> np.ndarray:
    """Light of lamps of one kind together, (batches, tiles, kinds, columns), from that of each."""
    whole = np.zeros((*light.shape[:2], kinds, light.shape[3]), light.dtype)
    for lamp, own in enumerate(kind):
        whole[:, :, own] += light[:, :, lamp]
    return whole


def _shared_lobe(reflectance: np.ndarray, lobe: np.ndarray) -> np.ndarray:
    """Probability of the mirror lobe for each surface: the mean share, by light sent back.

    (surfaces,). It is 0 or 1 only where every column sends all of its light that way.
    """
    light = reflectance.sum(axis=1)
    mean = (reflectance * lobe).sum(axis=1) / np.where(light > 0.0, light, 1.0)
    sends = reflectance > 0.0
    all_mirror = np.where(sends, lobe, 1.0).min(axis=1) >= 1.0
    all_dull = np.where(sends, lobe, 0.0).max(axis=1) <= 0.0
    alike = lobe.min(axis=1) == lobe.max(axis=1)
    inner = np.where(alike, lobe[:, 0], np.clip(mean, 0.02, 0.98))
    return np.where(all_dull, 0.0, np.where(all_mirror, 1.0, inner))
