"""What the two estimators say of a scene, as means with standard errors from batches."""

import numpy as np

from raysim.transport.kernel_scene import kernel_scene
from raysim.transport.paths import PATH_BATCHES, BackwardRun
from raysim.transport.photons import PhotonRun
from raysim.transport.starts import Start

BLOCKS = 64
DEGREES = BLOCKS - 1
assert PATH_BATCHES == BLOCKS
THREADS = 2


def forward_blocks(scene, photons, seed, groups=None, max_bounces=10_000):
    """Power (W) that arrives, from independent blocks of photons.

    Parameters
    ----------
    photons : int
        Of all lamps together, over all blocks.
    groups : (faces,) int, optional
        Faces of one number are taken together; by default each for itself.

    Returns
    -------
    blocks : (BLOCKS, cases, lamps, groups, 2) float64
    """
    arrays = kernel_scene(scene)
    run = PhotonRun(
        arrays, seed, THREADS, batch_photons=photons // (2 * BLOCKS), max_bounces=max_bounces
    )
    groups = np.arange(len(scene.areas)) if groups is None else np.asarray(groups)
    sort = np.argsort(groups, kind="stable")
    first = np.searchsorted(groups[sort], np.arange(groups.max() + 1))
    before, blocks = 0, []
    for _ in range(BLOCKS):
        run.add_batches(2)
        total = run.arrivals()[0]
        counts = np.add.reduceat((total - before)[:, :, sort], first, axis=2)
        before = total
        blocks.append(counts * (arrays.lamp_watts / (2 * run.batch_photons))[:, None, None])
    return np.array(blocks)


def mean_and_error(blocks):
    """Mean over the blocks (axis 0), and its standard error (definition)."""
    return blocks.mean(axis=0), blocks.std(axis=0, ddof=1) / np.sqrt(len(blocks))


def adjoint_blocks(scene, targets, paths, seed, cases=slice(0, 3), stride=None):
    """Irradiance (W/m2) of targets, (BLOCKS, cases, lamps, targets), from `paths` paths each."""
    run = BackwardRun(kernel_scene(scene), scene, seed, THREADS, cases=cases, stride=stride)
    run.add_starts(list(targets))
    everyone = np.arange(len(targets))
    run.add_paths(everyone, np.full(len(targets), -(-paths // PATH_BATCHES)))
    return run.batch_irradiance(everyone).transpose(1, 3, 2, 0)


def point(stream, at, facing):
    """Start at a point (m) with a direction, made a unit vector."""
    facing = np.array(facing, float)
    return Start(stream, at=np.array(at, float), facing=facing / np.linalg.norm(facing))
