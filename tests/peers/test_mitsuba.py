"""The whole demo scene, all faces of it, against photons that Mitsuba's rays carry.

The locker keeps its 36,000 triangles, four tubes, six respirators, rails and hooks, and gets one
surface of every kind: diffuse, mirror, mixed, Fresnel metal, a sheet that transmits, and tubes.

Power. Of H hits on a surface that sends on the share a, the share seen has a relative error of
sqrt((1 - a) / (a H)), and the difference from a second program with as many hits sqrt(2) of that.
An error b is caught with a probability of 0.975 at a false alarm of 1e-6 where
H >= 2 (6.85 / b)^2 (1 - a) / a: for b = 0.5 % that is 0.7 million hits on the mirror (0.85) and on
the mixed surface (0.85), 0.9 on the diffuser (0.8), 0.3 on the metal (0.926). On the sheet
(0.6 + 0.3) 0.5 % of its reflectance is 0.33 % of what goes on, which takes 0.9 million. The tubes
absorb 0.2 of what they meet: 0.5 % more reflectance is 2 % less absorption, which takes 0.24
million absorptions. The long form has all of these; the short one sees 2 % (3 % in a sheet).

What the z-scores of faces do not see here: a specular share of the mixed surface that is 0.2 off
(tried: their variance goes from 1.007 to 1.012). That is left to `test_one_wall.py` and
`test_mirror_box.py`.
"""

import dataclasses
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from agreement import agrees, all_agree
from built_scenes import smooth, surface
from mitsuba_photons import trace
from mitsuba_scene import ABSORBED, Peer, mitsuba
from scipy import stats

from raysim import load_scene
from raysim.scene.triangles import Body
from raysim.transport.kernel_scene import kernel_scene
from raysim.transport.photons import PhotonRun

SCENE = Path(__file__).parents[2] / "scenes" / "clinic_locker.toml"
SURFACES = {
    "diffuse": surface(0.8),
    "mirror": surface(0.85, specular=1.0),
    "mixed": surface(0.85, specular=0.4),
    "metal": smooth(0.1905, 2.9773),  # aluminium at 253.7 nm, Rakic 1995
    "sheet": surface(0.6, transmittance=(0.3, 0.3, 0.3)),
    "tubes": dataclasses.replace(surface(0.8), name="tubes"),
}
KINDS = list(SURFACES)
WALLS = {"left": 0, "right": 1, "back": 2, "front": 3, "floor": 0, "ceiling": 2}
BLOCKS = 16
FEWEST = 25  # hits on a face-side, of both together, for a z-score of it
# Mitsuba's photons in all (ours: twice as many), and the error caught in a surface.
FORMS = {"short": (240_000, 0.02), "long": (2_400_000, 0.005)}


@pytest.fixture(scope="module", autouse=True)
def _needs_mitsuba():
    try:
        mitsuba()
    except ImportError as error:
        pytest.skip(f"peer not installed: {error}")


def kind_of(part, bodies):
    """Number of the surface that a part of the demo gets."""
    name = bodies[part.body].name
    if name.startswith("chamber: "):
        return WALLS[name.removeprefix("chamber: ")]
    if name.startswith("respirator"):
        return {"straps": 0, "nose clip": 3}.get(part.name, 4)
    return 1  # rails and hooks


@cache
def locker():
    """The demo scene with a surface of every kind, each part a body of its own."""
    t = load_scene(SCENE).triangles
    parts = tuple(
        dataclasses.replace(part, body=i, surface=kind_of(part, t.bodies))
        for i, part in enumerate(t.parts)
    )
    lamps = tuple(
        dataclasses.replace(lamp, body=len(parts) + i, surface=5) for i, lamp in enumerate(t.lamps)
    )
    bodies = tuple(Body(f"{t.bodies[p.body].name} {p.name}", "object") for p in t.parts)
    bodies += tuple(Body(lamp.name, "lamp") for lamp in t.lamps)
    return dataclasses.replace(
        t, parts=parts, lamps=lamps, bodies=bodies, surfaces=tuple(SURFACES.values())
    )


@dataclasses.dataclass(frozen=True)
class Told:
    """What one program says, per photon and by block.

    `hits` (blocks, faces, 2), `absorbed` (blocks, surfaces), `photons` of one block.
    """

    hits: np.ndarray
    absorbed: np.ndarray
    photons: int


@cache
def theirs(form):
    """Blocks of Mitsuba's photons."""
    peer, photons = Peer(locker()), FORMS[form][0] // BLOCKS
    at_once = 16 if form == "short" else 8  # blocks in memory together
    parts = [trace(peer, photons, at_once, 1_000 + i) for i in range(BLOCKS // at_once)]
    assert sum(p.lost for p in parts) < 1e-5 * photons * BLOCKS
    absorbed = np.concatenate([p.fates[:, :, ABSORBED] for p in parts])
    return Told(np.concatenate([p.hits for p in parts]), absorbed, photons)


def ours(scene, form, times=2, seed=91):
    """Blocks of raysim's photons, `times` as many as Mitsuba's."""
    run = PhotonRun(kernel_scene(scene), seed, 2, batch_photons=FORMS[form][0] // BLOCKS)
    surface_of_body = [p.surface for p in scene.parts] + [m.surface for m in scene.lamps]
    before = [0, 0]
    hits, absorbed = [], []
    for _ in range(BLOCKS):
        run.add_batches(times)
        now = [run.arrivals()[0][1].sum(axis=0), run.bodies()[1].sum(axis=0)]
        hits.append(now[0] - before[0])
        absorbed.append(np.bincount(surface_of_body, now[1] - before[1]))
        before = now
    return Told(np.array(hits), np.array(absorbed), int(run.photons.sum()) // BLOCKS)


@cache
def ours_once(form):
    """Blocks of raysim's photons in the scene as it is."""
    return ours(locker(), form)


def by_surface(told, scene):
    """Hits (blocks, surfaces) on triangles."""
    number = np.array([p.surface for p in scene.parts])[scene.face_part]
    return np.array([np.bincount(number, h, len(SURFACES)) for h in told.hits.sum(axis=2)])


def sent_on(told, scene, kind):
    """Share of the hits on a surface that goes on, and its binomial error; tubes: absorbed."""
    absorbed = told.absorbed.sum(axis=0)[kind]
    if KINDS[kind] == "tubes":  # their hits are not tallied: light they take, per photon
        share = absorbed / (told.photons * BLOCKS)
        return share, np.sqrt(share * (1.0 - share) / (told.photons * BLOCKS))
    hits = by_surface(told, scene).sum(axis=0)[kind]
    share = 1.0 - absorbed / hits
    return share, np.sqrt(share * (1.0 - share) / hits)


def same_surface(first, second, scene, kind, catches):
    """Whether two programs treat the light on a surface alike.

    `catches` is the error of its reflectance that must be seen.
    """
    share, error = sent_on(first, scene, kind)
    other, other_error = sent_on(second, scene, kind)
    # d ln(what is compared) / d ln(reflectance); 0.8 / 0.2 for what tubes take.
    sensitivity = {"sheet": 0.6 / 0.9, "tubes": 0.8 / 0.2}.get(KINDS[kind], 1.0)
    return agrees(share, np.hypot(error, other_error), other, catches * sensitivity)


LONG = pytest.param("long", marks=pytest.mark.slow)


@pytest.mark.parametrize("kind", range(len(KINDS)), ids=KINDS)
@pytest.mark.parametrize("form", ["short", LONG])
def test_every_kind_of_surface_sends_on_as_in_mitsuba(form, kind):
    scene = locker()
    assert same_surface(ours_once(form), theirs(form), scene, kind, FORMS[form][1])


@cache
def demo_bodies():
    """Wall, respirator (shell, straps and clip together), rail or hook of each face."""
    t = load_scene(SCENE).triangles
    return t.face_body, [body.name for body in t.bodies]


def per_object(told):
    """Hits per photon on every object: mean and error over blocks."""
    number, names = demo_bodies()
    hits = np.array([np.bincount(number, h, len(names)) for h in told.hits.sum(axis=2)])
    rate = hits / told.photons
    return rate.mean(axis=0), rate.std(axis=0, ddof=1) / np.sqrt(BLOCKS)


@pytest.mark.parametrize("form", ["short", LONG])
def test_every_object_gets_as_much_light_as_in_mitsuba(form):
    (mean, error), (other, other_error) = (
        per_object(told) for told in (ours_once(form), theirs(form))
    )
    _, names = demo_bodies()
    large = np.array([name.startswith(("chamber", "respirator")) for name in names])
    assert large.sum() == 12
    both = np.hypot(error, other_error)
    limit = 0.15 if form == "short" else 0.05  # a respirator gets 1 % of all hits
    assert all_agree(mean[large], both[large], other[large], limit, 2 * BLOCKS - 2)
    walls = np.array([name.startswith("chamber") for name in names])
    limit = 0.02 if form == "short" else 0.007
    error = np.sqrt((both[walls] ** 2).sum())
    assert agrees(mean[walls].sum(), error, other[walls].sum(), limit, 2 * BLOCKS - 2)


def face_scores(first, second):
    """z of every face-side by block, (blocks, faces x 2): their mean over blocks is the z-score.

    Differences of blocks over the error that Poisson's law gives their mean.
    """
    a, b = (t.hits.reshape(BLOCKS, -1) / t.photons for t in (first, second))
    # Chosen by both together, two parts in three ours: by one alone, its lucky faces would be taken.
    seen = first.hits.sum(axis=0).ravel() + second.hits.sum(axis=0).ravel() >= FEWEST
    variance = a.mean(axis=0) / first.photons + b.mean(axis=0) / second.photons
    return (a - b)[:, seen] / np.sqrt(variance[seen] / BLOCKS)


def flipped_statistics(scores, statistic, flips=1_000, seed=5):
    """The statistic with the signs of blocks turned at random: its law if nothing differs."""
    signs = np.random.default_rng(seed).choice([-1.0, 1.0], (flips, BLOCKS)) / BLOCKS
    return np.concatenate([statistic(part @ scores) for part in np.array_split(signs, 50)])


STATISTICS = {
    "variance": lambda z: (z**2).mean(axis=1),
    "sum": lambda z: z.sum(axis=1),
    "tails": lambda z: (np.abs(z) > 2.0).mean(axis=1),
    "middle": lambda z: (np.abs(z) < 1.0).mean(axis=1),
}


def odd(scores, name):
    """How many spreads of the turned-sign law the statistic is off its middle."""
    statistic = STATISTICS[name]
    null = flipped_statistics(scores, statistic)
    return (statistic(scores.mean(axis=0)[None])[0] - null.mean()) / null.std()


@pytest.mark.parametrize("statistic", STATISTICS)
@pytest.mark.parametrize("form", ["short", LONG])
def test_z_scores_of_all_faces_are_spread_as_chance_spreads_them(form, statistic):
    # Faces of one run share photons, so the law of the statistic comes from the blocks: with the
    # sign of each block's differences turned at random, as if the two programs were one.
    scores = face_scores(ours_once(form), theirs(form))
    assert scores.shape[1] > (6_000 if form == "short" else 40_000)
    assert abs(odd(scores, statistic)) < 4.9


@pytest.mark.parametrize("form", ["short", LONG])
def test_z_scores_of_faces_have_variance_one_and_no_outlier(form, record_property):
    scores = face_scores(ours_once(form), theirs(form))
    z = scores.mean(axis=0)
    what = f"demo in Mitsuba, {form} form, z of {len(z):,} face-sides"
    record_property("evidence", f"{what}: variance|1|{(z**2).mean():.3f}|")
    record_property("evidence", f"{what}: largest|below 7|{np.abs(z).max():.1f}|")
    assert (z**2).mean() == pytest.approx(1.0, abs=0.05)
    # Largest of so many normal scores (Sidak); counts of 5 have somewhat longer tails.
    limit = stats.norm.isf(0.5e-6 / scores.shape[1])
    assert np.abs(z).max() < limit


def changed(scene, kind, by):
    """The scene with the reflectance of one surface raised by a share."""
    s = scene.surfaces[kind]
    if s.is_fresnel:
        n, k = s.refractive_index, s.extinction
        r = (1.0 + by) * ((n - 1.0) ** 2 + k**2) / ((n + 1.0) ** 2 + k**2)
        new = dataclasses.replace(
            s, extinction=float(np.sqrt((r * (n + 1.0) ** 2 - (n - 1.0) ** 2) / (1.0 - r)))
        )
    else:
        ends = ("reflectance_low", "reflectance", "reflectance_high")
        new = dataclasses.replace(s, **{e: (1.0 + by) * getattr(s, e) for e in ends})
    surfaces = list(scene.surfaces)
    surfaces[kind] = new
    return dataclasses.replace(scene, surfaces=tuple(surfaces))


PLANTED = [("short", 0, 0.02)]
PLANTED += [pytest.param("long", kind, 0.005, marks=pytest.mark.slow) for kind in range(6)]


@pytest.mark.parametrize(("form", "kind", "by"), PLANTED)
def test_an_error_in_any_one_material_is_seen(form, kind, by):
    scene = locker()
    wrong = ours(changed(scene, kind, by), form, times=1, seed=92)
    assert not same_surface(wrong, theirs(form), scene, kind, FORMS[form][1])
