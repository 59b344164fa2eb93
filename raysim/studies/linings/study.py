"""Which lining, and what each buys: worst-lit face and exposure time for many linings of a box."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from raysim.base.cases import CAUTIOUS
from raysim.base.figures import Figures
from raysim.base.progress import Progress
from raysim.library.tables import Surface
from raysim.scene.build import BuiltScene
from raysim.studies.linings.bench import STUDY_CASES, WALL_PRECISION, CaseOfLining, LiningBench
from raysim.studies.linings.columns import BLACK, Variant, in_groups
from raysim.studies.pairs import Pair, compared

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
    black but for one wall with `wall_lining`.
    """

    rows: tuple[LiningRow, ...]
    pairs: tuple[Pair, ...]
    from_best: tuple[Pair, ...]
    black: LiningRow
    walls: tuple[LiningRow, ...]
    wall_lining: str
    rays: int


def compare_linings(
    scene: BuiltScene,
    linings: Sequence[Surface],
    *,
    as_written: tuple[str, tuple[Surface, ...]],
    prices: dict[str, float],
    seed: int,
    precision: float,
    threads: int | None,
    wall_lining: Surface | None,
    walls: bool,
    progress: Progress,
) -> LiningStudy:
    """Judge the scene with all its walls lined in turn with each of `linings`.

    Parameters
    ----------
    as_written : (str, surfaces)
        What to call the box as it is, and the surfaces of its walls.
    prices : dict
        Price per m2 by name of lining, in any money.
    precision : float
        (worst - bound) / worst to reach for every lining in both cases.
    walls : bool
        Whether to try one wall at a time, too.
    wall_lining : Surface, optional
        To try on one wall at a time; default the one with the shortest cautious time.
    """
    bench = LiningBench(scene, seed, threads, progress)
    count = len(bench.walls)
    variants = [Variant(as_written[0], as_written[1])]
    variants += [Variant(s.name, (s,) * count) for s in linings]
    black = _row(bench, Variant("bare black box", (BLACK,) * count), None, BLACK_PRECISION, None)
    rows, looked = [], []
    for group in in_groups(variants):
        found = bench.settle(group, precision)
        for number, variant in enumerate(group):
            cases = bench.cases(found, number, precision)
            rows.append(_priced(bench, variant, cases, black, prices))
            looked.append((variant, found, len(STUDY_CASES) * number))
    order = sorted(range(len(rows)), key=lambda k: rows[k].cases[CAUTIOUS].exposure_time)
    pairs, from_best = compared([looked[k] for k in order], bench, (seed + 2) & MASK)
    best = wall_lining or next(
        variant.walls[0] for k in order if (variant := looked[k][0]).name != as_written[0]
    )
    return LiningStudy(
        rows=tuple(rows[k] for k in order),
        pairs=pairs,
        from_best=from_best,
        black=black,
        walls=_one_wall_each(bench, best) if walls else (),
        wall_lining=best.name,
        rays=bench.rays,
    )


def _row(
    bench: LiningBench,
    variant: Variant,
    black: LiningRow | None,
    precision: float,
    cost: float | None,
) -> LiningRow:
    # Folds are all but dark in a black box; no more light is spent on them than on a lining.
    found = bench.settle([variant], precision, BLACK_RAYS)
    cases = bench.cases(found, 0, precision)
    return LiningRow(variant.name, cases, _gain(cases, black), bench.wall_area(bench.walls), cost)


def _gain(cases: dict[str, CaseOfLining], black: LiningRow | None) -> dict[str, float]:
    if black is None:
        return dict.fromkeys(cases, 1.0)
    gains = {}
    for name, case in cases.items():
        least = black.cases[name].worst.irradiance
        gains[name] = case.worst.irradiance / least if least > 0.0 else np.inf
    return gains


def _priced(
    bench: LiningBench,
    variant: Variant,
    cases: dict[str, CaseOfLining],
    black: LiningRow,
    prices: dict[str, float],
) -> LiningRow:
    area = bench.wall_area(bench.walls)
    price = prices.get(variant.name)
    cost = None if price is None else price * area
    return LiningRow(variant.name, cases, _gain(cases, black), area, cost)


def _one_wall_each(bench: LiningBench, lining: Surface) -> tuple[LiningRow, ...]:
    """The bare black box with one wall lined, the wall that gains most first.

    Sites by the darkest cell, not by the darkest face: enough to rank walls.
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
