"""Where an eye outside a gap sees most of the bare lamps.

The picture of a tube in a slit is narrow, and a grid of eyes misses it. So light is let out the way
it goes: lines all over the gap are followed into the chamber, straight or by mirrors, and those
that come from a lamp mark the place outside where they land. Places drawn from these are many where
it is bright; from the best of them it is a walk uphill.

Eyes may be anywhere in the plane that lies `distance` off the outside of the wall. Coordinates (m)
are those of the gap, unrolled, or of its legs (`slit`).
"""

from collections.abc import Callable
from functools import partial

import numpy as np

from raysim.studies.leak.aim import share_out, starts, window_lines
from raysim.studies.leak.inside import Inside
from raysim.studies.leak.sight import lamp_light
from raysim.studies.leak.slit import NO_LEG, Slit
from raysim.studies.leak.walk import landed, walk

LINES_OUT = 1 << 16
ACROSS, ALONG, MOST_ALONG = 7, 5, 25  # places of the eye that are tried
DRAWN, FIRST_LINES = 192, 256  # places that are looked at, by so many lines each
WALKS = ((10, 8, 1024), (5, 6, 4096), (3, 4, 16384))  # walkers, steps, lines: the best go on
FIRST_STEPS = (0.3, 0.1, 0.02)  # of these walks, of the spread of the places drawn

SIDES = np.array([-1.0, 1.0])

Light = Callable[[np.ndarray], np.ndarray]  # at eyes (eyes, 3), W/m2


def lamp_eyes(slit: Slit, inside: Inside, rng: np.random.Generator) -> np.ndarray:
    """Places of an eye (eyes, 3) from which most is seen of the lamps, the brightest first.

    None where no line leads through the gap, or none of many meets a lamp.
    """
    if not slit.seen_through:
        return np.zeros((0, 3))
    eyes, bright = landings(slit, inside, rng)
    if not bright.any():
        return np.zeros((0, 3))
    reached = np.cumsum(bright)
    share = (np.arange(DRAWN) + rng.random()) / DRAWN
    eyes = eyes[np.searchsorted(reached, share * reached[-1])]
    found, spread = lamps_at(slit, inside, eyes, FIRST_LINES, rng), _spread(slit, eyes)
    eyes = eyes[np.argsort(-found, kind="stable")]
    for first, (walkers, steps, lines) in zip(FIRST_STEPS, WALKS, strict=True):
        light = partial(lamps_at, slit, inside, rng=rng, lines=lines)
        eyes = uphill(_apart(eyes, first * spread, walkers), first * spread, steps, light)
    return eyes


def landings(slit: Slit, inside: Inside, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Where lines all over the gap land outside, (lines, 3), and how bright each is, (lines,).

    Lines are even across on both openings, and along on the outer one and in the angle there; what
    one stands for on the plane outside goes with pi L cos^4 dc_inner / d(angle).

    Source: dE dA = L cos^4 / depth^2 dA_inner dA_outer.
    """
    depth, spans = slit.gap.depth, slit.spans(slit.gap.depth)
    b_inner, b_outer = _inside_polygon(slit.lines, LINES_OUT, rng)
    u, v = rng.random((2, LINES_OUT))
    (leg,), (u,), _ = share_out(np.ptp(spans, axis=1)[None], u[None])
    c_outer = spans.mean(axis=1)[leg] + 0.5 * np.ptp(spans, axis=1)[leg] * (2.0 * u - 1.0)
    # A line may come from any other leg.
    reach = slit.spans(0.0) + np.where(slit.beyond != NO_LEG, slit.length() * SIDES, 0.0)
    first, last = (np.arctan((c_outer - end[leg]) / depth) for end in reach[:, ::-1].T)
    n = np.tan(first + v * (last - first))
    rise = np.stack([np.full(LINES_OUT, depth), b_outer - b_inner, n * depth], axis=1)
    long = np.linalg.norm(rise, axis=1)
    outer = np.stack([np.full(LINES_OUT, depth), b_outer, c_outer], axis=1)
    met = walk(slit, leg, outer, -rise)
    free = np.flatnonzero(met.edge == slit.passage.inner)
    eye_leg, eyes = landed(slit, leg[free], outer[free], rise[free])
    directions = slit.turned_back(leg, -rise / long[:, None])[free]
    places = slit.places[eye_leg] + slit.turned_back(eye_leg, eyes)
    origins = slit.just_inside(met.leg[free], places, directions)
    light = lamp_light(inside, origins, directions @ slit.axes[0], rng)
    eyes[:, 2] = slit.unrolled(depth + slit.gap.distance, eye_leg, eyes[:, 2])
    return eyes, light * ((depth / long) ** 4 * (1.0 + n**2) * (last - first))[free]


def lamps_at(
    slit: Slit, inside: Inside, eyes: np.ndarray, lines: int, rng: np.random.Generator
) -> np.ndarray:
    """Irradiance (W/m2) by the lamps at eyes (eyes, 3) that face their light, (eyes,)."""
    eyes = slit.placed(eyes)
    aimed = window_lines(slit, eyes, lines, rng)
    radiance = lamp_light(inside, *starts(slit, eyes, aimed), rng)
    return np.asarray(np.linalg.norm(aimed.light(radiance).sum(axis=1), axis=1))


def uphill(eyes: np.ndarray, step: np.ndarray, steps: int, light: Light) -> np.ndarray:
    """Eyes (eyes, 3) after a walk to more light, sideways and along; the brightest first.

    Nine places around each eye are looked at, at first a `step` (3,), m, apart; where the middle
    one is the brightest, the next ones lie closer.

    Source: pattern search, Hooke and Jeeves 1961 (from memory).
    """
    moves = np.array([(0, b, c) for b in (0, -1, 1) for c in (0, -1, 1)], float)
    size, best = np.tile(step, (len(eyes), 1)), np.zeros(len(eyes))
    for _ in range(steps):
        around = eyes[:, None] + moves * size[:, None]
        found = light(around.reshape(-1, 3)).reshape(len(eyes), len(moves))
        move = found.argmax(axis=1)
        eyes, best = around[np.arange(len(eyes)), move], found.max(axis=1)
        size[move == 0] *= 0.5
    return np.asarray(eyes[np.argsort(-best, kind="stable")])


def _inside_polygon(corners: np.ndarray, count: int, rng: np.random.Generator) -> np.ndarray:
    """Random points (2, count), even over a convex polygon (corners, 2)."""
    sides = corners[1:] - corners[0]  # fan of triangles
    areas = np.abs(sides[:-1, 0] * sides[1:, 1] - sides[:-1, 1] * sides[1:, 0])
    chosen = rng.choice(len(areas), count, p=areas / areas.sum())
    u, v = np.sort(rng.random((2, count)), axis=0)
    return np.asarray(
        (corners[0] + u[:, None] * sides[chosen] + (v - u)[:, None] * sides[chosen + 1]).T
    )


def _spread(slit: Slit, eyes: np.ndarray) -> np.ndarray:
    """Standard deviation (3,) of the eyes (eyes, 3) before one leg, m, the largest of all legs."""
    leg, _ = slit.rolled(float(eyes[0, 0]), eyes[:, 2])
    return np.asarray(np.max([eyes[leg == k].std(axis=0) for k in np.unique(leg)], axis=0))


def _apart(eyes: np.ndarray, step: np.ndarray, most: int) -> np.ndarray:
    """The first few of eyes (eyes, 3) that are more than a step (3,) from each other."""
    kept = eyes[:0]
    for eye in eyes:
        near = (np.abs(kept - eye) <= step).all(axis=1)
        if len(kept) < most and not near.any():
            kept = np.concatenate([kept, eye[None]])
    return kept


def eye_places(slit: Slit) -> np.ndarray:
    """Places of an eye that are tried, (places, 3), m: grids at the distance of the gap.

    One over all places from which lines lead through, and one where only the walls of a gap with
    bends are seen. Light from the walls of box and gap changes slowly from one place to the next.
    """
    gap, lines, across = slit.gap, slit.lines, []
    if slit.seen_through:
        there = lines[:, 0] + (lines[:, 1] - lines[:, 0]) * (1.0 + gap.distance / gap.depth)
        inner = (np.arange(ACROSS) + 1.0) / (ACROSS + 1.0)
        across.append(there.min() + np.ptp(there) * inner)
    if gap.step is not None:
        across.append(gap.step + np.linspace(-1.0, 1.0, ACROSS) * gap.distance)
    a, number = gap.depth + gap.distance, min(ALONG * len(slit.middles), MOST_ALONG)
    beyond = 0.0 if slit.closed else gap.distance
    along = np.linspace(-0.5, 0.5, number) * (slit.length(a) + beyond)
    b, s = (grid.ravel() for grid in np.meshgrid(np.concatenate(across), along))
    return np.stack([np.full(len(b), a), b, s], axis=1)
