"""Backward paths from face-sides to the lamps, in Mitsuba's scene; expected case, new lamps."""

import numpy as np
from mitsuba_scene import ABSORBED, CLEAR, lambert

BLOCKS = 16


def irradiance(peer, faces, sides, paths, seed, lobe=0.0, limit=2_000):
    """Irradiance (W/m2) of face-sides by block, (BLOCKS, faces).

    E is the mean over directions after Lambert's law of what arrives, pi L; a tube's mantle shows
    pi L = M, its exitance, whenever a path meets it. `lobe` (rad) as in `Peer.scattered`.
    """
    random = np.random.default_rng(seed)
    count = len(faces) * paths
    each = np.tile(np.repeat(np.arange(len(faces)), paths // BLOCKS), BLOCKS)
    block = np.repeat(np.arange(BLOCKS), len(each) // BLOCKS)
    corners, sign = peer.scene.corners[faces][each], np.where(np.array(sides) == 0, 1.0, -1.0)
    root, v = np.sqrt(random.random((len(each), 1))), random.random((len(each), 1))
    at = (1.0 - root) * corners[:, 0] + root * ((1.0 - v) * corners[:, 1] + v * corners[:, 2])
    normal = (peer.scene.normals[faces] * sign[:, None])[each]
    origins, directions, last = at + CLEAR * normal, lambert(random, normal), np.array(faces)[each]
    row, score = block * len(faces) + each, np.zeros(BLOCKS * len(faces))
    shines = exitance(peer)
    for _ in range(limit):
        distance, thing = peer.nearest_other(origins, directions, last)
        met = thing >= 0
        row, directions, thing = row[met], directions[met], thing[met]
        at, normal, _, back = peer.hits(origins[met], directions, distance[met], thing)
        score += np.bincount(row, shines[thing] * ~back, minlength=len(score))
        fate, directions, normal = peer.scattered(random, directions, normal, thing, lobe)
        on = (fate != ABSORBED) & ~back
        row, directions, last = row[on], directions[on], thing[on]
        origins = at[on] + CLEAR * normal[on]
        if not len(last):
            break
    return score.reshape(BLOCKS, -1) / (count / len(faces) / BLOCKS)


def exitance(peer):
    """Radiant exitance (W/m2) of every thing: of the tubes' mantles, zero of all else."""
    t = peer.scene
    number = np.bincount([tube.lamp for tube in t.tubes])
    shines = np.zeros(len(peer.surface))
    for i, tube in enumerate(t.tubes):
        mantle = 2.0 * np.pi * tube.radius * np.linalg.norm(tube.end - tube.start)
        shines[peer.faces + i] = t.lamps[tube.lamp].uvc_W / number[tube.lamp] / mantle
    return shines
