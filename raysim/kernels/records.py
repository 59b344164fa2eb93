"""Input of the kernels: flat arrays with names, made once and never changed.

Named tuples, because numba accepts them and kernels can then write ``geometry.corners``.
"""

from typing import NamedTuple

import numpy as np

# Columns of `Geometry.tubes`: first end (m), unit axis, length (m), radius (m)
START_X, START_Y, START_Z, AXIS_X, AXIS_Y, AXIS_Z, LENGTH, RADIUS = range(8)
START, AXIS = slice(START_X, START_Z + 1), slice(AXIS_X, AXIS_Z + 1)
TUBE_COLUMNS = 8
MOST_NUMBERS = 4  # that a surface model can have

# Rows of the fate tallies that come after the bodies; typed, see `traverse.NOTHING`.
ESCAPED, LOST, NOT_FINITE = np.int64(0), np.int64(1), np.int64(2)
FATES = 3


class Geometry(NamedTuple):
    """Triangles in the order of the hierarchy's leaves, and lamp tubes.

    A *primitive* is a triangle or a tube; tubes are numbered after the last triangle.
    """

    nodes: np.ndarray  # (nodes * NODE_SIZE,) float32, m, see `build_tree`
    blocks: np.ndarray  # (blocks * BLOCK_SIZE,) float64, m, see `build_tree`
    normals: np.ndarray  # (triangles, 3) float64, unit, towards the side called outside
    surface: np.ndarray  # (primitives,) int32, row of Surfaces
    body: np.ndarray  # (primitives,) int32, row of the energy account
    two_sided: np.ndarray  # (triangles,) bool: thin sheet; else light on the back is lost
    tubes: np.ndarray  # (tubes, TUBE_COLUMNS) float64, see above: what emits
    # What light meets of them: all, or (0, TUBE_COLUMNS) where lamps are tried out as sources alone
    solid: np.ndarray
    tube_lamp: np.ndarray  # (tubes,) int32
    tube_exitance: np.ndarray  # (tubes,) float64, W/m2 leaving the mantle at full rated output


class Surfaces(NamedTuple):
    """Response of each surface. Cases differ in how much light returns, not in its directions."""

    kind: np.ndarray  # (surfaces,) int32, row of `models.MODELS`
    reflectance: np.ndarray  # (surfaces, cases) float64, total
    transmittance: np.ndarray  # (surfaces, cases) float64, diffuse, thin sheets only
    specular: np.ndarray  # (surfaces,) float64, share of the reflectance, sharp
    numbers: np.ndarray  # (surfaces, MOST_NUMBERS) float64, what the model makes of them
    # (surfaces, cases) float64, specular share of each case. Backward paths pick the lobe by
    # `specular` and correct the difference by their weights, so that one path can serve linings
    # of different gloss; photons have no weights and use `specular` for all cases.
    lobe: np.ndarray


class LampTubes(NamedTuple):
    """Tubes of each lamp: ``first[lamp]`` up to ``first[lamp] + number[lamp]``."""

    first: np.ndarray  # (lamps,) int32
    number: np.ndarray  # (lamps,) int32


class Rules(NamedTuple):
    """How light is traced, whatever it starts from."""

    case_stride: np.ndarray  # (cases,) int64: every n-th photon or path carries a case
    key0: np.uint64  # of the random numbers, both below 2**32
    key1: np.uint64
    max_bounces: int


class Starts(NamedTuple):
    """Where backward paths begin: targets made of one or more face-sides, or a single point.

    Members of target j are the rows ``first[j]`` up to ``first[j + 1]``.
    """

    first: np.ndarray  # (targets + 1,) int64
    stream: np.ndarray  # (targets,) uint64, the target's word of the random counter, below 2**32
    share: np.ndarray  # (members,) float64, area up to and with the member over the target's area
    corners: np.ndarray  # (members, 9) float64, m
    normals: np.ndarray  # (members, 3) float64, unit, towards the side judged
    primitive: np.ndarray  # (members,) int64, -1 for a point in free space
    reads: np.ndarray  # (targets,) bool: its paths read counts of photons, see `gather`


class Known(NamedTuple):
    """What backward paths may use of the light beforehand: counts to read, and mirrored lamps.

    Without rows in `image_tubes` there are no mirrored lamps; where no target reads, the rest may
    have any length.
    """

    tile: np.ndarray  # (2 * triangles,) int32, tile of each face-side
    light: np.ndarray  # (batches, tiles, lamps, cases) float32, W/m2, from one batch of photons
    reach: np.ndarray  # (tiles,) float64, m: from nearer than this a tile is not read
    plane: np.ndarray  # (triangles,) int32, plane of a wall in which lamps are mirrored, or -1
    image_tubes: np.ndarray  # (images, TUBE_COLUMNS) float64, mirrored tubes
    image_exitance: np.ndarray  # (images,) float64, W/m2 times what the wall sends back about
    image_of: np.ndarray  # (images,) int32, the tube
    image_plane: np.ndarray  # (images,) int32, the plane
    lamp_points: int  # looked at from the start of a path
