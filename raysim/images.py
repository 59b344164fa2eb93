"""Lamp tubes and their images in plane mirrors, as they stand for somebody who looks in.

A mirror that sends on a share of the light shows each tube once more, behind it and so much darker;
images are mirrored in turn. They only tell where to look: what is seen there is found by following
lines of sight, so that an image too many costs a little time and one too few a little accuracy.

Source: images in plane mirrors (geometrical optics).
"""

from dataclasses import dataclass, fields, replace

import numpy as np

from raysim.inside import BRIGHT_COLUMN
from raysim.scene.triangles import SceneTriangles
from raysim.tracing import KernelScene

MOST_MIRRORS = 12  # planes, those that send on most light
SMALLEST_MIRROR = 0.01  # of the largest plane, by the light it sends on
DIMMEST = 0.01  # images darker than this share of their tube are left out
MOST_REFLECTIONS = 20
MOST_IMAGES = 4000  # of one number of reflections
ROUNDING = 1e-6  # m: images nearer to each other are one


@dataclass(frozen=True)
class Images:
    """Tubes and images.

    `ends` (n, 2, 3) m, `radius` (n,) m, `exitance` (n,) W/m2 as it arrives, `tube` (n,) the number
    of the tube, `mirrors` (n,) how many mirrors it is seen in.
    """

    ends: np.ndarray
    radius: np.ndarray
    exitance: np.ndarray
    tube: np.ndarray
    mirrors: np.ndarray

    def __len__(self) -> int:
        return len(self.radius)

    def chosen(self, which: np.ndarray) -> "Images":
        """Some of them, by number or by yes and no."""
        return Images(*(getattr(self, field.name)[which] for field in fields(self)))


def mirror_planes(
    triangles: SceneTriangles, arrays: KernelScene
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Normals (planes, 3), offsets (planes,) m, and mirrored shares (planes,) of the main mirrors.

    Faces in one plane and of one surface are one mirror. High end of every reflectance.
    """
    table = arrays.surfaces
    part_surface = np.array([part.surface for part in triangles.parts])
    share = (table.reflectance[:, BRIGHT_COLUMN] * table.specular)[part_surface][
        triangles.face_part
    ]
    faces = np.flatnonzero(share >= DIMMEST)
    if not len(faces):
        return np.zeros((0, 3)), np.zeros(0), np.zeros(0)
    normals = triangles.normals[faces]
    offsets = (triangles.corners[faces, 0] * normals).sum(axis=1)
    keys = np.column_stack([normals, offsets, share[faces]]).round(6) + 0.0
    _, first, member = np.unique(keys, axis=0, return_index=True, return_inverse=True)
    sent_on = np.bincount(member.ravel(), weights=share[faces] * triangles.areas[faces])
    best = np.argsort(-sent_on, kind="stable")[:MOST_MIRRORS]
    best = best[sent_on[best] >= SMALLEST_MIRROR * sent_on[best[0]]]
    return normals[first[best]], offsets[first[best]], share[faces[first[best]]]


def tube_images(triangles: SceneTriangles, arrays: KernelScene) -> Images:
    """The tubes and their images in the mirrors of a scene, the brightest first."""
    normals, offsets, shares = mirror_planes(triangles, arrays)
    tubes = triangles.tubes
    newest = Images(
        np.array([[tube.start, tube.end] for tube in tubes]),
        np.array([tube.radius for tube in tubes]),
        arrays.geometry.tube_exitance,
        np.arange(len(tubes)),
        np.zeros(len(tubes), int),
    )
    dimmest = DIMMEST * newest.exitance.max()
    kept = [newest]
    for _ in range(MOST_REFLECTIONS):
        newest = _mirrored(newest, normals, offsets, shares)
        newest = newest.chosen(newest.exitance >= dimmest)
        newest = newest.chosen(_apart(newest, kept[-2:]))
        newest = newest.chosen(np.argsort(-newest.exitance, kind="stable")[:MOST_IMAGES])
        kept.append(newest)
    names = [field.name for field in fields(Images)]
    return Images(*(np.concatenate([getattr(some, name) for some in kept]) for name in names))


def _apart(images: Images, before: list[Images]) -> np.ndarray:
    """One of each of the images that stand in one place, none that stood `before`, by number."""
    ends = np.concatenate([some.ends for some in [*before, images]]).reshape(-1, 6)
    old = len(ends) - len(images)
    _, first = np.unique((ends / ROUNDING).round().astype(np.int64), axis=0, return_index=True)
    return np.sort(first[first >= old]) - old


def _mirrored(
    images: Images, normals: np.ndarray, offsets: np.ndarray, shares: np.ndarray
) -> Images:
    """Each image once more behind each mirror that it stands before."""
    height = images.ends @ normals.T - offsets  # images, 2, mirrors
    image, mirror = np.nonzero(height.max(axis=1) > ROUNDING)
    drop = height[image, :, mirror]  # pairs, 2
    mirrored = images.chosen(image)
    return replace(
        mirrored,
        ends=mirrored.ends - 2.0 * drop[..., None] * normals[mirror][:, None],
        exitance=mirrored.exitance * shares[mirror],
        mirrors=mirrored.mirrors + 1,
    )
