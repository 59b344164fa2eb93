"""Which lining, and what each buys: worst-lit face and exposure time for many linings of a box."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from raysim.base.cases import CAUTIOUS
from raysim.library.surfaces import Surface
from raysim.scene.build import BuiltScene
from raysim.scene.check.touching import set_aside
from raysim.studies.asked import checked, in_one_pose
from raysim.studies.linings.asked import linings_to_try, named_surface, prices_of
from raysim.studies.linings.bench import (
    STUDY_CASES,
    WALL_PRECISION,
    LiningBench,
    LiningRow,
    best_of_group,
)
from raysim.studies.linings.columns import (
    BLACK,
    Variant,
    glossy_and_bright,
    in_groups,
    wall_surfaces,
)
from raysim.studies.linings.compare import LiningPair, Looked, compared, most_light
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
BLACK_RAYS = 4_000_000  # of the bare black box, which is only the base of the gains


@dataclass(frozen=True)
class LiningStudy:
    """All linings, the shortest cautious time first, and who can be told from whom.

    `pairs` compares each row with every later one: linings of which none is told from the next may
    well be told from the first. `walls` holds the box bare black but for one wall with
    `wall_lining`. `linings` were tried beside the box as it is, whose row is called `AS_WRITTEN`.
    """

    scene: BuiltScene
    seed: int
    linings: tuple[Surface, ...]
    rows: tuple[LiningRow, ...]
    pairs: tuple[LiningPair, ...]
    black: LiningRow
    walls: tuple[LiningRow, ...]
    wall_lining: str
    rays: int
    interrupted: bool = False

    @property
    def not_tried(self) -> list[str]:
        """Linings that were to be tried before the study was broken off (definition)."""
        tried = {row.name for row in self.rows}
        return [lining.name for lining in self.linings if lining.name not in tried]

    @property
    def own(self) -> LiningRow:
        """The box as it is (definition)."""
        return next(row for row in self.rows if row.name == AS_WRITTEN)

    def better(self, first: LiningRow, second: LiningRow) -> bool:
        """Whether one row is shown to beat another (definition)."""
        names = first.name, second.name
        return any(p.told_apart for p in self.pairs if (p.first, p.second) == names)


def study(
    scene: BuiltScene,
    linings: Sequence[Surface | str] | None = None,
    *,
    prices: Mapping[str, float] = NO_PRICES,
    walls: bool = True,
    wall_lining: Surface | str | None = None,
    pose: str | None = None,
    precision: float = 0.02,
    options: RunOptions | None = None,
) -> LiningStudy:
    """Judge the scene as it is, and with all its walls lined in turn with each of `linings`.

    Ctrl-C ends it early, with the linings that were judged by then. Before the scene as it is and
    one lining are judged, it raises KeyboardInterrupt.

    Parameters
    ----------
    linings : sequence of Surface or str, optional
        Default the dozen of `LININGS`; names are those of the scene's own surfaces, then of the
        library.
    prices : mapping
        Price per m2 by name of lining, in any money.
    walls : bool
        Whether to try one wall at a time, too.
    wall_lining : Surface or str, optional
        To try on one wall at a time; default the one with the shortest cautious time.
    pose : str, optional
        Which one of several; default the first.
    precision : float
        (worst - bound) / worst to reach for every lining in both cases.

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
    >>> [pair.told_apart for pair in found.pairs]  # the box is lined with foil, too, but crumpled
    [False]
    """
    options = checked(options, precision)
    scene = set_aside(in_one_pose(scene, pose))
    tried = linings_to_try(scene.written, LININGS if linings is None else linings)
    costs = prices_of(scene.written, prices, tried)
    bench = LiningBench(scene, options)
    rows, looked, black = _lined(bench, tried, costs, precision)
    interrupted = len(rows) <= len(tried)
    one_wall: tuple[LiningRow, ...] = ()
    most = most_light(looked, bench, options.seed + 3)
    rows = [replace(row, most=light) for row, light in zip(rows, most, strict=True)]
    order = sorted(range(len(rows)), key=lambda k: _rank(rows[k]))
    looked = [looked[k] for k in order]
    best = next(variant.walls[0] for variant, _, _ in looked if variant.name != AS_WRITTEN)
    if wall_lining is not None:
        best = named_surface(scene.written, wall_lining)
    pairs = compared(looked, [most[k] for k in order], bench, options.seed + 2)
    if walls and not interrupted:
        try:
            one_wall = _one_wall_each(bench, best)
        except KeyboardInterrupt:
            interrupted = True
    return LiningStudy(
        scene=scene,
        seed=options.seed,
        linings=tried,
        rows=tuple(rows[k] for k in order),
        pairs=pairs,
        black=black,
        walls=one_wall,
        wall_lining=best.name,
        rays=bench.rays,
        interrupted=interrupted,
    )


def _rank(row: LiningRow) -> tuple[bool, float]:
    """What to sort rows by: those that were stopped come last."""
    case = row.cases[CAUTIOUS]
    return case.stopped is not None, case.time


def _lined(
    bench: LiningBench, linings: Sequence[Surface], prices: Mapping[str, float], precision: float
) -> tuple[list[LiningRow], list[Looked], LiningRow]:
    """A row for every way to line the box, what it was judged by, and the row of the black box.

    Where Ctrl-C comes, for those that were judged by then.
    """
    variants = [Variant(AS_WRITTEN, wall_surfaces(bench.triangles))]
    variants += [Variant(s.name, (s,) * len(bench.walls)) for s in linings]
    black_box = Variant("bare black box", (BLACK,) * len(bench.walls))
    groups = [[variants[place] for place in own] for own in in_groups(variants, glossy_and_bright)]
    groups.sort(key=lambda group: -max(map(_brightness, group)))
    # After the brightest the box as it is, so that it is known when the study is broken off.
    groups[1:] = sorted(groups[1:], key=lambda group: variants[0] not in group)
    # In a black box, folds get next to no light, so its rays are bounded. The brightest group is
    # judged first: it tells which of the others are too slow to be followed to their end.
    own = np.zeros(len(STUDY_CASES))
    first = [([black_box], BLACK_PRECISION, BLACK_RAYS), (groups[0], precision, math.inf, own)]
    in_the_dark, brightest = bench.each(LiningBench.worst_face, first)
    black = bench.row(black_box.name, bench.walls, in_the_dark, BLACK_PRECISION)
    best = best_of_group(brightest.state)
    others = [(group, precision, math.inf, best) for group in groups[1:]]
    all_found = [brightest]
    try:
        for found in bench.each(LiningBench.worst_face, others):
            all_found.append(found)
    except KeyboardInterrupt:
        judged = [variant.name for group in groups[: len(all_found)] for variant in group]
        if AS_WRITTEN not in judged or len(judged) < 2:
            raise
    rows, looked = [], []
    for group, found in zip(groups, all_found, strict=False):
        for number, variant in enumerate(group):
            row = bench.row(variant.name, bench.walls, found, precision, number=number, black=black)
            price = prices.get(variant.name)
            rows.append(replace(row, cost=None if price is None else price * row.area))
            looked.append((variant, found, len(STUDY_CASES) * number))
    return rows, looked, black


def _brightness(variant: Variant) -> float:
    """Sum of the reflectances of all walls: the order in which groups are looked at."""
    return sum(wall.reflectance for wall in variant.walls)


def _one_wall_each(bench: LiningBench, lining: Surface) -> tuple[LiningRow, ...]:
    """The bare black box with one wall lined, the wall that gains most first.

    Judged by the darkest cell, not by the darkest face: enough to rank walls.
    """
    if len(bench.walls) < 2:
        return ()

    names = ["bare", *(bench.triangles.bodies[body].short_name for body in bench.walls)]
    lined = [[], *([body] for body in bench.walls)]
    variants = [
        Variant(name, tuple(lining if body in own else BLACK for body in bench.walls))
        for name, own in zip(names, lined, strict=True)
    ]
    found = bench.each(LiningBench.worst_cell, [(variant,) for variant in variants])
    black = bench.row(names[0], lined[0], next(found), WALL_PRECISION)
    rows = [
        bench.row(name, own, one, WALL_PRECISION, black=black)
        for name, own, one in zip(names[1:], lined[1:], found, strict=True)
    ]
    return tuple(sorted(rows, key=lambda row: -row.cases[CAUTIOUS].worst.irradiance))
