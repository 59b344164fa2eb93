"""Connected dark patches of the judged surface, and what stands between them and the lamps."""

from dataclasses import dataclass

import numpy as np

from raysim.base.figures import Figures
from raysim.estimate.face_sides import Sites, weighted_percentile
from raysim.scene.check.surroundings import Surroundings
from raysim.scene.triangles import LampTube, SceneTriangles

POINTS = 48  # sampled on a patch
ALONG = 24  # sampled along each lamp tube
CLEAR = 2e-5  # m, start of a sight line before its face
SHORT = 1e-6  # share by which a sight line ends before the tube
REACH = 0.02  # m: what lies nearer than this before a patch shuts out the light from its front
MUCH = 0.3  # of a patch
ITSELF_TURNED = "turned away from the lamp"


@dataclass(frozen=True)
class DarkPatch(Figures):
    """Face-sides that lie together and get less than the limit; `faces` (members,), one side."""

    faces: np.ndarray
    side: int
    body: int
    area: float  # m2
    centroid: np.ndarray  # (3,) m


@dataclass(frozen=True)
class Sight(Figures):
    """What is seen of one lamp from a patch: shares of all sight lines, 0 to 1.

    `hidden` is by name of what is met first, lines from points turned away under
    `ITSELF_TURNED`.
    """

    lamp: str
    seen: float
    hidden: dict[str, float]


@dataclass(frozen=True)
class Close(Figures):
    """What lies right before a patch, by name, and its least distance along the normal, m."""

    name: str
    distance: float


@dataclass(frozen=True)
class Thing:
    """What can hide a lamp, taken apart: body by number, part and wall by name, "" for none."""

    body: int
    part: str
    wall: str


def median_irradiance(values: np.ndarray, sites: Sites) -> float:
    """Irradiance (sites,) that half of the judged area gets less than; the site is kept."""
    return weighted_percentile(values, sites.areas, 0.5)


def dark_patches(
    triangles: SceneTriangles, irradiance: np.ndarray, limit: float, smallest: float
) -> list[DarkPatch]:
    """Connected judged face-sides below `limit`, the largest patch first.

    Connected means sharing an edge, on one part and side.

    Parameters
    ----------
    irradiance : (faces, 2) float64
        W/m2.
    limit : float
        W/m2.
    smallest : float
        Area below which a patch is left out, m2.
    """
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    found = []
    for side in (0, 1):
        faces = np.flatnonzero(triangles.judged[:, side] & (irradiance[:, side] < limit))
        if not len(faces):
            continue
        a, b, _ = neighbours(triangles, faces)
        links = coo_matrix((np.ones(len(a)), (a, b)), shape=(len(faces), len(faces)))
        count, label = connected_components(links, directed=False)
        areas = np.bincount(label, triangles.areas[faces], count)
        for number in np.flatnonzero(areas >= smallest):
            own = faces[label == number]
            weight = triangles.areas[own] / triangles.areas[own].sum()
            found.append(
                DarkPatch(
                    own,
                    side,
                    int(triangles.face_body[own[0]]),
                    float(areas[number]),
                    weight @ triangles.centroids[own],
                )
            )
    return sorted(found, key=lambda patch: -patch.area)


def neighbours(
    triangles: SceneTriangles, faces: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Pairs of rows of `faces` that share an edge on one part, and the ends of it.

    Rows (pairs,) and (pairs,); ends (pairs, 2, 3), m.
    """
    points = np.round(triangles.corners[faces].reshape(-1, 3), 7)
    unique, index = np.unique(points, axis=0, return_inverse=True)
    corner = index.reshape(-1, 3)
    edges = np.sort(corner[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
    owner = np.repeat(np.arange(len(faces)), 3)
    keys = np.column_stack([edges, triangles.face_part[faces[owner]]])
    _, where = np.unique(keys, axis=0, return_inverse=True)
    order = np.argsort(where.reshape(-1), kind="stable")
    same = where.reshape(-1)[order]
    touching = np.flatnonzero(same[1:] == same[:-1])
    ends = unique[edges[order[touching]]]
    return owner[order[touching]], owner[order[touching + 1]], ends


def sample_points(
    triangles: SceneTriangles, patch: DarkPatch, count: int, seed: int
) -> tuple[np.ndarray, np.ndarray]:
    """Points (count, 3), m, uniform over a patch, and the site normals there on its side."""
    random = np.random.default_rng(seed)
    areas = triangles.areas[patch.faces]
    faces = patch.faces[random.choice(len(areas), count, p=areas / areas.sum())]
    u, v = np.sqrt(random.random(count)), random.random(count)
    corners = triangles.corners[faces]
    weights = np.stack([1.0 - u, u * (1.0 - v), u * v], axis=1)
    points = np.einsum("nk,nkx->nx", weights, corners)
    return points, triangles.normals[faces] * (1.0 if patch.side == 0 else -1.0)


def sights(triangles: SceneTriangles, patch: DarkPatch, seed: int = 1) -> tuple[Sight, ...]:
    """What the patch sees of each lamp, and which object hides how much of it.

    Sight lines go from points all over the patch to points along the near side of each tube.
    """
    everything = Surroundings(triangles, np.arange(len(triangles.areas)))
    points, normals = sample_points(triangles, patch, POINTS, seed)
    return tuple(
        _sight(triangles, everything, points, normals, number)
        for number in range(len(triangles.lamps))
    )


def close_before(triangles: SceneTriangles, patch: DarkPatch, seed: int = 1) -> Close | None:
    """What lies right before most of a patch that has anything within `REACH`, and how near.

    None where less than `MUCH` of the patch has.
    """
    everything = Surroundings(triangles, np.arange(len(triangles.areas)))
    points, normals = sample_points(triangles, patch, POINTS, seed)
    starts = points + CLEAR * normals
    hit = everything.first(starts, normals, np.full(len(points), REACH))
    if (hit >= 0).mean() < MUCH:
        return None
    met = np.flatnonzero(hit >= 0)
    corner, normal = triangles.corners[hit[met], 0], triangles.normals[hit[met]]
    across = ((corner - starts[met]) * normal).sum(axis=1)
    distance = CLEAR + across / (normals[met] * normal).sum(axis=1)
    names = np.array(_names(triangles))[triangles.face_part[hit[met]]]
    kinds, count = np.unique(names, return_counts=True)
    name = str(kinds[count.argmax()])
    return Close(name, float(distance[names == name].min()))


def _sight(
    triangles: SceneTriangles,
    everything: Surroundings,
    points: np.ndarray,
    normals: np.ndarray,
    lamp: int,
) -> Sight:
    starts, ends, facing = _lines(triangles, points, normals, lamp)
    way = ends - starts
    away = (way * facing).sum(axis=1) <= 0.0
    length = np.linalg.norm(way, axis=1)
    hit = everything.first(starts, way, length * (1.0 - SHORT))
    hidden: dict[str, float] = {}
    share = 1.0 / len(starts)
    names = _names(triangles)
    tube = _tubes_met(triangles, lamp, starts, ends)
    for line in range(len(starts)):
        name = ""
        if away[line]:
            name = ITSELF_TURNED
        elif hit[line] >= 0:
            name = names[triangles.face_part[hit[line]]]
        elif tube[line] >= 0:
            name = f"lamp {triangles.lamps[tube[line]].name}"
        if name:
            hidden[name] = hidden.get(name, 0.0) + share
    ordered = dict(sorted(hidden.items(), key=lambda item: -item[1]))
    return Sight(triangles.lamps[lamp].name, max(1.0 - sum(hidden.values()), 0.0), ordered)


def _lines(
    triangles: SceneTriangles, points: np.ndarray, normals: np.ndarray, lamp: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Starts, ends on the near side of the lamp's tubes, and normals, (lines, 3) each."""
    starts, ends, facing = [], [], []
    for tube in (one for one in triangles.tubes if one.lamp == lamp):
        steps = (np.arange(ALONG) + 0.5) / ALONG
        axis = tube.end - tube.start
        on_axis = tube.start + steps[:, None] * axis
        site = axis / np.linalg.norm(axis)
        clear = points + CLEAR * normals
        way = clear[:, None] - on_axis[None]
        across = way - (way @ site)[..., None] * site
        across /= np.maximum(np.linalg.norm(across, axis=2, keepdims=True), 1e-12)
        ends.append((on_axis[None] + tube.radius * across).reshape(-1, 3))
        starts.append(np.repeat(clear, ALONG, axis=0))
        facing.append(np.repeat(normals, ALONG, axis=0))
    return np.concatenate(starts), np.concatenate(ends), np.concatenate(facing)


def things(triangles: SceneTriangles) -> dict[str, Thing]:
    """Everything but lamps that can hide one, by the names that `Sight` and `Close` give."""
    return {
        name: Thing(part.body, part.name, triangles.bodies[part.body].wall)
        for name, part in zip(_names(triangles), triangles.parts, strict=True)
    }


def _names(triangles: SceneTriangles) -> list[str]:
    """Name of each part in words: the body, and the part of it where it has one."""
    return [
        f"{triangles.bodies[part.body].name}" + (f", {part.name}" if part.name else "")
        for part in triangles.parts
    ]


def _tubes_met(
    triangles: SceneTriangles, lamp: int, starts: np.ndarray, ends: np.ndarray
) -> np.ndarray:
    """Another lamp whose tube each line passes through, (lines,), -1 for none."""
    met = np.full(len(starts), -1)
    for tube in triangles.tubes:
        if tube.lamp != lamp:
            met[_passes(tube, starts, ends)] = tube.lamp
    return met


def _passes(tube: LampTube, starts: np.ndarray, ends: np.ndarray) -> np.ndarray:
    """Whether lines come nearer to the tube's axis than its radius, between its ends.

    Nearest points of a line and an axis in closed form, each held within its ends.

    Source: Ericson, "Real-Time Collision Detection" (2005), section 5.1.9.
    """
    d1, d2, r = ends - starts, tube.end - tube.start, starts - tube.start
    a, e, f = (d1 * d1).sum(axis=1), float(d2 @ d2), r @ d2
    b, c = d1 @ d2, (d1 * r).sum(axis=1)
    below = a * e - b * b
    s = np.clip(
        np.where(below > 0.0, (b * f - c * e) / np.where(below > 0.0, below, 1.0), 0.0), 0, 1
    )
    t = np.clip((b * s + f) / e, 0.0, 1.0)
    s = np.clip((b * t - c) / a, 0.0, 1.0)
    gap = starts + s[:, None] * d1 - tube.start - t[:, None] * d2
    return np.asarray(np.linalg.norm(gap, axis=1) < tube.radius)
