"""Photons from the lamps, in Mitsuba's scene: an analog loop over a wavefront of them."""

from dataclasses import dataclass

import numpy as np
from mitsuba_scene import ABSORBED, CLEAR, across, lambert


@dataclass
class Counts:
    """What became of photons, by block.

    `hits` (blocks, faces, 2), `fates` (blocks, surfaces, 3) as ABSORBED, REFLECTED, TRANSMITTED,
    `lost` photons of all blocks.
    """

    hits: np.ndarray
    fates: np.ndarray
    lost: int


def emitted(peer, random, photons):
    """Origins, directions (photons, 3) and tube of light from lamps in proportion to watts."""
    t = peer.scene
    watts = np.array([lamp.uvc_W for lamp in t.lamps])
    lamp_of_tube = np.array([tube.lamp for tube in t.tubes])
    share = watts[lamp_of_tube] / np.bincount(lamp_of_tube)[lamp_of_tube]
    counts = np.floor(photons * share / share.sum() + 1e-9).astype(int)
    counts[0] += photons - counts.sum()
    tube = np.repeat(np.arange(peer.tubes), counts)
    axis = peer.axes[tube]
    start, end = (np.array([getattr(q, e) for q in t.tubes])[tube] for e in ("start", "end"))
    radius = np.array([q.radius for q in t.tubes])[tube]
    aside = np.array([across(a) for a in peer.axes])[tube]
    turn = 2.0 * np.pi * random.random((photons, 1))
    normal = np.cos(turn) * aside + np.sin(turn) * np.cross(axis, aside)
    at = start + random.random((photons, 1)) * (end - start) + radius[:, None] * normal
    return at + CLEAR * normal, lambert(random, normal), peer.faces + tube


def trace(peer, photons, blocks, seed, limit=2_000):
    """Counts of `blocks` blocks of so many photons (analog: absorbed or not)."""
    random = np.random.default_rng(seed)
    counts = Counts(
        np.zeros((blocks, peer.faces, 2), np.int64),
        np.zeros((blocks, len(peer.scene.surfaces), 3), np.int64),
        0,
    )
    starts = [emitted(peer, random, photons) for _ in range(blocks)]
    origins, directions, last = (np.concatenate(a) for a in zip(*starts, strict=True))
    block = np.repeat(np.arange(blocks), photons)
    for _ in range(limit):
        distance, thing = peer.nearest_other(origins, directions, last)
        met = thing >= 0
        counts.lost += int((~met).sum())
        block, directions, thing = block[met], directions[met], thing[met]
        at, normal, side, back = peer.hits(origins[met], directions, distance[met], thing)
        counts.lost += int(back.sum())
        keep = ~back
        block, at, directions, normal, side, thing = (
            a[keep] for a in (block, at, directions, normal, side, thing)
        )
        fate, directions, normal = peer.scattered(random, directions, normal, thing)
        _count(counts, peer, block, thing, side, fate)
        on = fate != ABSORBED
        block, directions, last = block[on], directions[on], thing[on]
        origins = at[on] + CLEAR * normal[on]
        if not len(last):
            return counts
    counts.lost += len(last)
    return counts


def _count(counts, peer, block, thing, side, fate):
    """Add hits on faces and fates on surfaces."""
    face = thing < peer.faces
    row = 2 * (block[face] * peer.faces + thing[face]) + side[face]
    counts.hits += np.bincount(row, minlength=counts.hits.size).reshape(counts.hits.shape)
    row = 3 * (block * len(peer.scene.surfaces) + peer.surface[thing]) + fate
    counts.fates += np.bincount(row, minlength=counts.fates.size).reshape(counts.fates.shape)
