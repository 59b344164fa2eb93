"""Where to hold the meter: free places whose readings together say most of lamps and lining.

Places of a grid that a head can be put into from the door are tried, facing the six main ways. Of
those, three are taken one after the other, each so that the variance of lamp outputs and
reflectance falls most; the first among those that are lit mainly by reflection. More follow until
every lamp is told of.

Source: greedy D-optimal design (Fedorov, "Theory of Optimal Experiments", 1972, from memory), with
the linearised model of `studies.survey.fit`.
"""

from dataclasses import replace

import numpy as np

from raysim.base.cases import CASES, EXPECTED
from raysim.base.errors import RaysimError
from raysim.base.units import to_mm
from raysim.dose.agreement import reading_uncertainty
from raysim.dose.readings_together import unseen_lamps
from raysim.estimate.meter import DIRECT_ONLY, meter_batches
from raysim.scene.build import BuiltScene
from raysim.scene.check.surroundings import Surroundings
from raysim.scene.file.written import Meter
from raysim.scene.sides import Sides, sides_of
from raysim.scene.triangles import LampTube, MeterPoint, SceneTriangles
from raysim.scene.tubes import segment_distance
from raysim.studies.asked import a_scene, checked
from raysim.studies.survey.fit import OUTPUT_PULL, REFLECTANCE_PULL
from raysim.transport.kernel_scene import kernel_scene
from raysim.transport.options import RunOptions
from raysim.transport.tallies import MAX_BOUNCES
from raysim.workshop.grid import MM, Grid, grid_of

# Own choices, m: room for a head on every side of its middle; distance from a lamp at which 5 mm
# change a reading by 5 %, as its budget has it (`meter_position_std`).
CLEAR, CLEAR_OF_LAMPS = 0.04, 0.1
# m of free way in front of a head: one 40 mm wide hides sin^2 = 6 % of what a wall sends it.
AHEAD = 0.08
PER_AXIS = 6  # places of the grid along each axis
EASY = {"mm": 0.01, "in": 0.0127}  # m, cm and half inches are easy to measure; own choice
PATHS = 8  # per batch and place: to choose by, not to tell
PLACES = 3  # at least
BY_REFLECTION = 0.8  # share of the light from which a place tells of the lining; own choice
SURELY = 1.1  # few paths: a place that just tells of a lamp may not; own choice
LEAST_READ = 0.1  # W/m2; ten times the least that UVC meters show (`meter_half_width`)
WAYS = np.array([[1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0], [0, 0, 1], [0, 0, -1]], float)


def propose(scene: BuiltScene, *, options: RunOptions | None = None) -> BuiltScene:
    """The scene with proposed meter points in place of its own, named by distances from walls.

    Raises
    ------
    RaysimError
        No scene, or one in which no place is free and lit.

    Source: the module.

    Examples
    --------
    >>> import raysim
    >>> found = propose(raysim.load_scene("scenes/lining_white_paint.toml"))
    >>> len(found.written.meter) >= 3
    True
    """
    options = checked(options)
    triangles = a_scene(scene).triangles
    grid = grid_of(scene.written.units)
    points = free_points(triangles, grid)
    chosen = chosen_points(replace(triangles, meters=points), options) if points else []
    if not chosen:
        raise RaysimError(
            f"{scene.name}: no place for a meter is free of walls, load and lamps by "
            f"{to_mm(CLEAR):.0f} mm, open to the door, and lit. Mend: take an object out while you "
            "read, and give a [[meter]] of your own"
        )
    low, _ = triangles.box
    named = [replace(point, name=_name(low, point, grid, sides_of(triangles))) for point in chosen]
    meters = [
        Meter.model_validate(
            {"name": point.name, "at": point.at.tolist(), "facing": point.facing.tolist()},
            context={"metres_per_unit": 1.0},
        )
        for point in named
    ]
    first = replace(scene.poses[0], triangles=replace(triangles, meters=tuple(named)))
    written = scene.written.model_copy(update={"meter": meters})
    return replace(scene, written=written, poses=(first, *scene.poses[1:]))


def free_points(triangles: SceneTriangles, grid: Grid = MM) -> tuple[MeterPoint, ...]:
    """Every free place with each way to face that has nothing within AHEAD (definition)."""
    places, ways = free_places(triangles, grid), WAYS
    everything = Surroundings(triangles)
    at, facing = np.repeat(places, len(ways), axis=0), np.tile(ways, (len(places), 1))
    met = everything.first(at, facing, np.full(len(at), AHEAD))
    return tuple(MeterPoint("", at[k], facing[k], None) for k in np.flatnonzero(met < 0))


def free_places(triangles: SceneTriangles, measured: Grid = MM) -> np.ndarray:
    """Places of a grid that a head can be put into from the door, (places, 3), m.

    In the chamber, nothing within CLEAR, no lamp within CLEAR_OF_LAMPS (or half of that, where no
    place is so far off), and nothing between them and the door.
    """
    low, high = triangles.box
    steps = [np.linspace(a + CLEAR, b - CLEAR, PER_AXIS) for a, b in zip(low, high, strict=True)]
    grid = np.stack(np.meshgrid(*steps, indexing="ij"), axis=-1).reshape(-1, 3)
    easy = EASY[measured.unit]
    grid = np.round(np.round(grid / easy) * easy, 9)
    is_wall = triangles.on_wall
    walls = Surroundings(triangles, np.flatnonzero(is_wall))
    everything = Surroundings(triangles)
    grid = grid[walls.seen_from_inside(grid)]
    around = _sphere()
    near = everything.first(
        np.repeat(grid, len(around), axis=0),
        np.tile(around, (len(grid), 1)),
        np.full(len(grid) * len(around), CLEAR - 1e-6),
    )
    grid = grid[(near.reshape(len(grid), -1) < 0).all(axis=1)]
    grid = grid[_open_to_the_door(grid, everything, is_wall)]
    for clear in (CLEAR_OF_LAMPS, 0.5 * CLEAR_OF_LAMPS):
        free = [p for p in grid if _clear_of_tubes(p, low[1], triangles.tubes, clear)]
        if free:
            return np.array(free)
    return np.zeros((0, 3))


def _sphere() -> np.ndarray:
    """The 26 directions to the neighbours in a cube, (26, 3) (definition)."""
    steps = np.stack(np.meshgrid(*[(-1.0, 0.0, 1.0)] * 3), axis=-1).reshape(-1, 3)
    steps = steps[np.abs(steps).sum(axis=1) > 0.0]
    return np.asarray(steps / np.linalg.norm(steps, axis=1)[:, None])


def _open_to_the_door(places: np.ndarray, everything: Surroundings, wall: np.ndarray) -> np.ndarray:
    """Whether a head comes straight from the door (y lowest) to each place, (places,) bool."""
    free = np.ones(len(places), bool)
    for x, z in ((0.0, 0.0), (CLEAR, 0.0), (-CLEAR, 0.0), (0.0, CLEAR), (0.0, -CLEAR)):
        starts = places + 0.999 * np.array([x, 0.0, z])
        ahead = np.tile([0.0, -1.0, 0.0], (len(places), 1))
        met = everything.first(starts, ahead, np.full(len(places), np.inf))
        free &= (met >= 0) & wall[met]
    return free


def _clear_of_tubes(
    place: np.ndarray, door: float, tubes: tuple[LampTube, ...], clear: float
) -> bool:
    """Whether no tube is near a place, or in the way of a head from the door (y of it, m)."""
    way = LampTube(0, place, np.array([place[0], door, place[2]]), 0.0)
    stay = LampTube(0, place, place + [0.0, 1e-6, 0.0], 0.0)
    return all(
        segment_distance(way, tube) > tube.radius + CLEAR
        and segment_distance(stay, tube) > tube.radius + clear
        for tube in tubes
    )


def chosen_points(triangles: SceneTriangles, options: RunOptions) -> list[MeterPoint]:
    """Of the meters of `triangles` those that together tell most; fewer where few are lit."""
    arrays = kernel_scene(triangles)
    light, direct = (
        meter_batches(triangles, arrays, options, paths=PATHS, max_bounces=bounces).mean(axis=1)
        for bounces in (MAX_BOUNCES, DIRECT_ONLY)
    )  # points, lamps, cases
    expected = light[..., CASES.index(EXPECTED)]
    whole = expected.sum(axis=1)
    lit = (whole >= LEAST_READ) & (light.sum(axis=1) > 0.0).all(axis=1)
    numbers = np.flatnonzero(lit)
    if not len(numbers):
        return []
    by_case, whole = light[numbers].sum(axis=1), whole[numbers]
    shares = expected[numbers] / whole[:, None]
    rows = np.column_stack([shares, np.log(by_case[:, 2] / by_case[:, 0])])
    reflected = 1.0 - direct[numbers][..., CASES.index(EXPECTED)].sum(axis=1) / whole
    powers = np.array([lamp.uvc_W for lamp in triangles.lamps])
    picked = most_telling(rows / reading_uncertainty(), reflected, shares, powers)
    return [triangles.meters[numbers[k]] for k in picked]


def most_telling(
    rows: np.ndarray, reflected: np.ndarray, shares: np.ndarray, powers: np.ndarray
) -> list[int]:
    """Numbers of the points that tell most, one after the other.

    Parameters
    ----------
    rows : (points, quantities) float64
        Change of the logarithm of a reading with lamp outputs (logarithms) and, last, with the
        place of the reflectance, over the relative error of a reading.
    reflected : (points,) float64
        Share of the light that comes by way of a surface. The first point is one of those with
        BY_REFLECTION or more, or the one with most where there is none.
    shares : (points, lamps) float64
        Of the light that comes from each lamp.
    powers : (lamps,) float64
        W of each lamp.

    Source: as the module; rank-one update of Sherman and Morrison (1950).
    """
    pull = [OUTPUT_PULL] * (rows.shape[1] - 1) + [REFLECTANCE_PULL]
    variance = np.diag(np.square(pull))
    left = reflected >= min(BY_REFLECTION, reflected.max())
    picked: list[int] = []
    while left.any():
        gain = np.where(left, np.einsum("ij,jk,ik->i", rows, variance, rows), -1.0)
        best = int(gain.argmax())
        row = variance @ rows[best]
        variance = variance - np.outer(row, row) / (1.0 + gain[best])
        picked.append(best)
        left = ~np.isin(np.arange(len(rows)), picked)
        if len(picked) >= PLACES:
            missing = unseen_lamps(shares[picked] / SURELY, powers)
            blind = [unseen_lamps(one[None] / SURELY, powers) for one in shares]
            left &= [len(np.setdiff1d(missing, lamps)) > 0 for lamps in blind]
    return picked


def _name(low: np.ndarray, point: MeterPoint, grid: Grid, sides: Sides) -> str:
    """Distances (mm or inches) from `low` (3,), m, as in the guide, and the way the head faces."""
    off = [grid.told(float(value)) for value in point.at - low]
    off[0] += f" {grid.unit}"
    axis = int(np.abs(point.facing).argmax())
    places = ", ".join(f"{far} {way}" for far, way in zip(off, sides.short, strict=True))
    # A `Name` is short.
    return f"{places}, facing {sides.ways[axis][int(point.facing[axis] > 0.0)]}"
