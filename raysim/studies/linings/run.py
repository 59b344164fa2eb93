"""Which lining, and what each buys: worst-lit face and exposure time for many linings of a box."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

from raysim.base.cases import CAUTIOUS
from raysim.base.errors import RaysimError
from raysim.library.surfaces import Surface, find_surface
from raysim.scene.build import BuiltScene
from raysim.scene.check.touching import set_aside
from raysim.studies.asked import checked, in_one_pose, within
from raysim.studies.linings.bench import STUDY_CASES, WALL_PRECISION, LiningBench, LiningRow
from raysim.studies.linings.columns import (
    BLACK,
    Variant,
    glossy_and_bright,
    in_groups,
    wall_surfaces,
)
from raysim.studies.linings.compare import Looked, compared
from raysim.studies.pairs import Pair
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
    linings = _to_try(linings, prices)
    bench = LiningBench(scene, options)
    rows, looked, black = _lined(bench, linings, prices, precision)
    order = sorted(range(len(rows)), key=lambda k: rows[k].cases[CAUTIOUS].exposure_time)
    pairs, from_best = compared([looked[k] for k in order], bench, options.seed + 2)
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
) -> tuple[list[LiningRow], list[Looked], LiningRow]:
    """A row for every way to line the box, what it was judged by, and the row of the black box."""
    variants = [Variant(AS_WRITTEN, wall_surfaces(bench.triangles))]
    variants += [Variant(s.name, (s,) * len(bench.walls)) for s in linings]
    black_box = Variant("bare black box", (BLACK,) * len(bench.walls))
    # Folds are all but dark in a black box; no more light is spent on them than on a lining.
    found = bench.worst_face([black_box], BLACK_PRECISION, BLACK_RAYS)
    black = bench.row(black_box.name, bench.walls, found, BLACK_PRECISION)
    rows, looked = [], []
    for places in in_groups(variants, glossy_and_bright):
        group = [variants[place] for place in places]
        found = bench.worst_face(group, precision)
        for number, variant in enumerate(group):
            row = bench.row(variant.name, bench.walls, found, precision, number=number, black=black)
            price = prices.get(variant.name)
            rows.append(replace(row, cost=None if price is None else price * row.area))
            looked.append((variant, found, len(STUDY_CASES) * number))
    return rows, looked, black


def _one_wall_each(bench: LiningBench, lining: Surface) -> tuple[LiningRow, ...]:
    """The bare black box with one wall lined, the wall that gains most first.

    Judged by the darkest cell, not by the darkest face: enough to rank walls.
    """
    if len(bench.walls) < 2:
        return ()

    def row_of(lined: Sequence[int], name: str, black: LiningRow | None = None) -> LiningRow:
        surfaces = tuple(lining if body in lined else BLACK for body in bench.walls)
        found = bench.worst_cell(Variant(name, surfaces))
        return bench.row(name, lined, found, WALL_PRECISION, black=black)

    black = row_of([], "bare")
    rows = [row_of([body], bench.triangles.bodies[body].short_name, black) for body in bench.walls]
    return tuple(sorted(rows, key=lambda row: -row.cases[CAUTIOUS].worst.irradiance))
