"""Which lining, and what each buys: worst-lit face and exposure time for many linings of a box."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from raysim.base.cases import CAUTIOUS
from raysim.base.errors import RaysimError
from raysim.base.figures import Figures
from raysim.library.tables import Surface, find_surface
from raysim.scene.build import BuiltScene
from raysim.scene.check.touching import set_aside
from raysim.studies.asked import checked, in_one_pose, within
from raysim.studies.linings.bench import STUDY_CASES, WALL_PRECISION, CaseOfLining, LiningBench
from raysim.studies.linings.columns import BLACK, Variant, in_groups, wall_surfaces
from raysim.studies.pairs import Pair, compared
from raysim.studies.worst_of_cases import WorstOfCases
from raysim.transport.options import RunOptions

AS_WRITTEN = "the box as it is"
LININGS = (
    "household mirror",
    "white paint",
    "aluminium foil, bright side",
    "aluminium foil, crumpled or hand-glued",
    "aluminium sheet, polished",
    "aluminium sheet, mill finish",
    "expanded PTFE sheet, 0.5 mm or more",
    "flash-spun polyethylene sheet",
    "metallised polyester, metal side",
    "stainless steel sheet",
    "white plaster, lime wash or chalk",
    "bare plywood",
)
NO_PRICES: Mapping[str, float] = MappingProxyType({})
BLACK_PRECISION = 0.1
BLACK_RAYS = 4_000_000  # of the bare black box, which only the gains are reckoned from
MASK = 2**64 - 1


@dataclass(frozen=True)
class LiningRow(Figures):
    """One lining in both cases, and what it costs.

    Attributes
    ----------
    gain : dict of str to float
        Worst-face irradiance over that in a bare black box, by case; inf where that gets none.
    area : float
        To be lined, m2.
    cost : float or None
        Area times the user's price per m2.
    """

    name: str
    cases: dict[str, CaseOfLining]
    gain: dict[str, float]
    area: float
    cost: float | None = None


@dataclass(frozen=True)
class LiningStudy:
    """All linings, the shortest cautious time first, and who can be told from whom.

    `pairs` compares each row with the next one, `from_best` the first with every other: linings of
    which none is told from the next may well be told from the first. `walls` holds the box bare
    black but for one wall with `wall_lining`. `linings` were tried beside the box as it is, whose
    row is called `AS_WRITTEN`.
    """

    scene: BuiltScene
    seed: int
    linings: tuple[Surface, ...]
    rows: tuple[LiningRow, ...]
    pairs: tuple[Pair, ...]
    from_best: tuple[Pair, ...]
    black: LiningRow
    walls: tuple[LiningRow, ...]
    wall_lining: str
    rays: int


def study(
    scene: BuiltScene,
    linings: Sequence[Surface] | None = None,
    *,
    prices: Mapping[str, float] = NO_PRICES,
    walls: bool = True,
    wall_lining: Surface | None = None,
    pose: str | None = None,
    precision: float = 0.02,
    options: RunOptions | None = None,
) -> LiningStudy:
    """Judge the scene as it is, and with all its walls lined in turn with each of `linings`.

    Parameters
    ----------
    scene : BuiltScene
    linings : sequence of Surface, optional
        Default the dozen of `LININGS`; `find_surface` finds others.
    prices : mapping
        Price per m2 by name of lining, in any money.
    walls : bool
        Whether to try one wall at a time, too.
    wall_lining : Surface, optional
        To try on one wall at a time; default the one with the shortest cautious time.
    pose : str, optional
        Which one of several; default the first.
    precision : float
        (worst - bound) / worst to reach for every lining in both cases.
    options : RunOptions, optional

    Raises
    ------
    RaysimError
        No scene, no lining, a pose that is not there, or numbers out of range.

    >>> import raysim
    >>> scene = raysim.load_scene("scenes/touching_wall.toml")
    >>> foil = raysim.find_surface("foil")
    >>> found = study(scene, [foil], walls=False, precision=0.9)  # coarse: quick and noisy
    >>> {row.name for row in found.rows} == {AS_WRITTEN, foil.name}
    True
    >>> [pair.told_apart for pair in found.pairs]  # foil is what this box is lined with
    [False]
    """
    options = checked(options, precision)
    scene = set_aside(in_one_pose(scene, pose))
    linings = _to_try(linings, prices)
    bench = LiningBench(scene, options.seed, options.threads, options.progress)
    rows, looked, black = _lined(bench, linings, prices, precision)
    order = sorted(range(len(rows)), key=lambda k: rows[k].cases[CAUTIOUS].exposure_time)
    pairs, from_best = compared([looked[k] for k in order], bench, (options.seed + 2) & MASK)
    best = wall_lining or next(
        variant.walls[0] for k in order if (variant := looked[k][0]).name != AS_WRITTEN
    )
    return LiningStudy(
        scene=scene,
        seed=options.seed,
        linings=linings,
        rows=tuple(rows[k] for k in order),
        pairs=pairs,
        from_best=from_best,
        black=black,
        walls=_one_wall_each(bench, best) if walls else (),
        wall_lining=best.name,
        rays=bench.rays,
    )


def _to_try(linings: Sequence[Surface] | None, prices: Mapping[str, float]) -> tuple[Surface, ...]:
    if linings is None:
        linings = [find_surface(name) for name in LININGS]
    if not linings:
        raise RaysimError("no lining to try. Mend: name one, or leave them out for the usual dozen")
    for one in linings:
        if not isinstance(one, Surface):
            raise RaysimError(f"{one!r} is not a surface. Mend: raysim.find_surface(NAME)")
    for name, price in prices.items():
        within(f'price of "{name}",', price, 0.0, math.inf)
        if name not in {one.name for one in linings}:
            raise RaysimError(f'prices: "{name}" is not tried. Mend: add it to the linings')
    return tuple(linings)


def _lined(
    bench: LiningBench, linings: Sequence[Surface], prices: Mapping[str, float], precision: float
) -> tuple[list[LiningRow], list[tuple[Variant, WorstOfCases, int]], LiningRow]:
    """A row for every way to line the box, what it was judged by, and the row of the black box."""
    count = len(bench.walls)
    variants = [Variant(AS_WRITTEN, wall_surfaces(bench.triangles))]
    variants += [Variant(s.name, (s,) * count) for s in linings]
    black = _black_row(bench)
    rows, looked = [], []
    for group in in_groups(variants):
        found = bench.settle(group, precision)
        for number, variant in enumerate(group):
            cases = bench.cases(found, number, precision)
            area = bench.wall_area(bench.walls)
            price = prices.get(variant.name)
            cost = None if price is None else price * area
            rows.append(LiningRow(variant.name, cases, _gain(cases, black), area, cost))
            looked.append((variant, found, len(STUDY_CASES) * number))
    return rows, looked, black


def _black_row(bench: LiningBench) -> LiningRow:
    # Folds are all but dark in a black box; no more light is spent on them than on a lining.
    variant = Variant("bare black box", (BLACK,) * len(bench.walls))
    found = bench.settle([variant], BLACK_PRECISION, BLACK_RAYS)
    cases = bench.cases(found, 0, BLACK_PRECISION)
    return LiningRow(
        variant.name, cases, dict.fromkeys(cases, 1.0), bench.wall_area(bench.walls), None
    )


def _gain(cases: dict[str, CaseOfLining], black: LiningRow) -> dict[str, float]:
    gains = {}
    for name, case in cases.items():
        least = black.cases[name].worst.irradiance
        gains[name] = case.worst.irradiance / least if least > 0.0 else np.inf
    return gains


def _one_wall_each(bench: LiningBench, lining: Surface) -> tuple[LiningRow, ...]:
    """The bare black box with one wall lined, the wall that gains most first.

    Judged by the darkest cell, not by the darkest face: enough to rank walls.
    """
    count = len(bench.walls)
    if count < 2:
        return ()
    bare = bench.settle_cells(Variant("bare", (BLACK,) * count))
    black = LiningRow("bare", bench.cases(bare, 0, WALL_PRECISION), {}, 0.0)
    rows = []
    for number, body in enumerate(bench.walls):
        walls = tuple(lining if k == number else BLACK for k in range(count))
        name = bench.triangles.bodies[body].short_name
        found = bench.settle_cells(Variant(name, walls))
        cases = bench.cases(found, 0, WALL_PRECISION)
        rows.append(LiningRow(name, cases, _gain(cases, black), bench.wall_area([body])))
    return tuple(sorted(rows, key=lambda row: -row.cases[CAUTIOUS].worst.irradiance))
