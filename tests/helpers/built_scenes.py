"""Scenes put together from simple shapes, without scene files."""

from dataclasses import dataclass

import numpy as np

from raysim.library.surfaces import Surface
from raysim.scene.triangles import Body, LampRating, LampTube, Part, SceneTriangles


def surface(low, expected=None, high=None, *, specular=0.0, transmittance=(0.0, 0.0, 0.0)):
    """Surface with the reflectances of the three cases; all alike if one is given."""
    expected = low if expected is None else expected
    high = expected if high is None else high
    t = transmittance
    return Surface(
        f"{low}-{expected}-{high}, {specular}",
        low,
        expected,
        high,
        specular,
        transmittance_low=t[0],
        transmittance=t[1],
        transmittance_high=t[2],
    )


def smooth(index, extinction=0.0):
    """Surface that follows Fresnel's equations."""
    return Surface(f"n = {index}", 0.5, 0.5, 0.5, 1.0, index, extinction)


BLACK = surface(0.0)
LOSSLESS = surface(1.0)


@dataclass(frozen=True)
class Piece:
    """Triangles (n, 3, 3) with one surface; a body of its own in the energy account."""

    corners: np.ndarray
    surface: Surface
    two_sided: bool = False


@dataclass(frozen=True)
class Lamp:
    """Tubes (start, end, radius) that share `watts`."""

    tubes: tuple
    watts: float
    surface: Surface = BLACK


def scene_of(pieces, lamps, closed=True) -> SceneTriangles:
    """Scene of pieces and lamps; part i is piece i, lamps' bodies come after."""
    surfaces = list(dict.fromkeys([*(p.surface for p in pieces), *(m.surface for m in lamps)]))
    corners = np.concatenate([np.zeros((0, 3, 3)), *(piece.corners for piece in pieces)])
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(cross, axis=1)
    count = len(pieces)
    return SceneTriangles(
        corners=corners,
        normals=cross / length[:, None],
        areas=0.5 * length,
        face_part=np.repeat(np.arange(count, dtype=np.int32), [len(p.corners) for p in pieces]),
        judged=np.zeros((len(corners), 2), bool),
        parts=tuple(
            Part(i, "", surfaces.index(p.surface), p.two_sided) for i, p in enumerate(pieces)
        ),
        bodies=tuple(
            [Body(f"piece {i}", "object") for i in range(count)]
            + [Body(f"lamp {i}", "lamp") for i in range(len(lamps))]
        ),
        surfaces=tuple(surfaces),
        lamps=tuple(
            LampRating(f"lamp {i}", lamp.watts, 0.0, count + i, surfaces.index(lamp.surface))
            for i, lamp in enumerate(lamps)
        ),
        tubes=tuple(
            LampTube(i, np.array(start, float), np.array(end, float), radius)
            for i, lamp in enumerate(lamps)
            for start, end, radius in lamp.tubes
        ),
        closed=closed,
    )


def grid(xs, ys, place):
    """Two triangles for each cell of a grid; `place` maps coordinates (n,), (n,) to (n, 3)."""
    x, y = np.meshgrid(xs, ys, indexing="ij")
    at = place(x.ravel(), y.ravel()).reshape(len(xs), len(ys), 3)
    a, b, c, d = at[:-1, :-1], at[1:, :-1], at[1:, 1:], at[:-1, 1:]
    faces = np.stack([np.stack([a, b, c], axis=2), np.stack([a, c, d], axis=2)], axis=2)
    return np.ascontiguousarray(faces.reshape(-1, 3, 3))


def flipped(corners):
    """The same triangles seen from the other side."""
    return np.ascontiguousarray(corners[:, ::-1])


def rectangle(corner, along, across, cells=1):
    """Rectangle with the normal of `along` x `across`."""
    corner, along, across = np.array(corner, float), np.array(along), np.array(across)
    steps = np.linspace(0.0, 1.0, cells + 1)
    return grid(steps, steps, lambda x, y: corner + x[:, None] * along + y[:, None] * across)


WALLS = ("left", "right", "front", "back", "floor", "ceiling")


def box_walls(low, high, cells=1):
    """Walls of a box by name, normals inwards, corners shared to the last bit."""
    low, high = np.broadcast_to(low, 3), np.broadcast_to(high, 3)
    steps = [np.linspace(low[k], high[k], cells + 1) for k in range(3)]
    walls = {}
    for axis in range(3):
        i, j = (axis + 1) % 3, (axis + 2) % 3
        for end in range(2):

            def place(x, y, axis=axis, i=i, j=j, level=steps[axis][-end]):
                at = np.empty((len(x), 3))
                at[:, axis], at[:, i], at[:, j] = level, x, y
                return at

            wall = grid(steps[i], steps[j], place)
            walls[WALLS[2 * axis + end]] = flipped(wall) if end else wall
    return walls


def box(low, high, cells=1):
    """All walls of a box, normals inwards."""
    return np.concatenate(list(box_walls(low, high, cells).values()))


def icosphere(radius, subdivisions, centre=(0.0, 0.0, 0.0)):
    """Sphere of 20 * 4**subdivisions triangles, normals outwards, and the twenty zones (faces,)."""
    import trimesh

    sphere = trimesh.creation.icosphere(subdivisions=0)
    vertices, faces = np.array(sphere.vertices), np.array(sphere.faces)
    zone = np.arange(20)
    for _ in range(subdivisions):
        edges = np.sort(faces[:, [[0, 1], [1, 2], [2, 0]]], axis=2).reshape(-1, 2)
        unique, where = np.unique(edges, axis=0, return_inverse=True)
        m = len(vertices) + where.reshape(-1, 3)
        vertices = np.vstack([vertices, vertices[unique].sum(axis=1)])
        vertices /= np.linalg.norm(vertices, axis=1)[:, None]
        a, b, c = faces.T
        x, y, z = m.T
        quarters = ((a, x, z), (x, b, y), (z, y, c), (x, y, z))
        faces = np.concatenate([np.stack(q, axis=1) for q in quarters])
        zone = np.tile(zone, 4)
    return (vertices * radius + np.array(centre))[faces], zone


def area_of(corners):
    """Sum of the areas of triangles, m2 (definition)."""
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    return 0.5 * np.linalg.norm(cross, axis=1).sum()


def disc(radius, height, sides, up=True):
    """Regular polygon of the area of a disc about the z axis, as triangles about its centre."""
    angle = 2.0 * np.pi * np.arange(sides + 1) / sides
    angle[-1] = 0.0
    radius = radius * np.sqrt(2.0 * np.pi / sides / np.sin(2.0 * np.pi / sides))
    rim = np.stack([radius * np.cos(angle), radius * np.sin(angle), np.full(sides + 1, height)], 1)
    centre = np.tile([0.0, 0.0, height], (sides, 1))
    corners = np.stack([centre, rim[:-1], rim[1:]], axis=1)
    return corners if up else flipped(corners)


def band(radius, heights, sides):
    """Prism about the z axis, its sides at `radius` (m) from the axis, normals inwards.

    Returns the corners and the slice (faces,) between heights that each face belongs to.
    """
    turns = np.arange(sides + 1) % sides
    apothem = radius / np.cos(np.pi / sides)

    def place(z, turn):
        angle = 2.0 * np.pi * turn / sides
        return np.stack([apothem * np.cos(angle), apothem * np.sin(angle), z], axis=1)

    corners = grid(heights, turns.astype(float), place)
    return corners, np.repeat(np.arange(len(heights) - 1), 2 * sides)


LINING = [
    surface(0.5, 0.7, 0.8),
    surface(0.6, 0.75, 0.89, specular=0.75),
    smooth(0.1905, 2.9773),
    surface(0.8, 0.9, 0.95, specular=1.0),
    smooth(1.5728),
]
SHEET = surface(0.3, 0.4, 0.5, transmittance=(0.2, 0.25, 0.3))
TUBE_SURFACE = surface(0.05, 0.5, 0.9)
TUBE = (((0.1, 0.2, 0.3), (0.3, 0.25, 0.3), 0.013),)


def busy_scene(lining, lamp_surface, sheet, closed=True, detail=2):
    """Box with a ball, two thin sheets and two lamps; without its front wall if not closed."""
    walls = box_walls(0.0, (0.4, 0.5, 0.6), detail)
    if not closed:
        del walls["front"]
    ball, _ = icosphere(0.08, detail - 1, (0.25, 0.3, 0.12))
    sheets = [
        rectangle((0.05, 0.1, 0.1), (0.2, 0.1, 0.0), (0.0, 0.0, 0.3)),
        rectangle((0.1, 0.05, 0.42), (0.25, 0.0, 0.02), (0.0, 0.3, 0.0)),
    ]
    pieces = [Piece(wall, lining[i % len(lining)]) for i, wall in enumerate(walls.values())]
    pieces += [Piece(ball, lining[-1])] + [Piece(s, sheet, two_sided=True) for s in sheets]
    twin = (
        ((0.05, 0.4, 0.5), (0.3, 0.4, 0.5), 0.008),
        ((0.05, 0.42, 0.5), (0.3, 0.42, 0.5), 0.008),
    )
    return scene_of(pieces, [Lamp(TUBE, 4.9, lamp_surface), Lamp(twin, 3.3, lamp_surface)], closed)


ROOM_POWER = 4.9
# A wide tube in a narrow room: backward paths meet it often, which keeps their noise low.
WIDE = (((0.2, 0.05, 0.2), (0.2, 0.35, 0.2), 0.06),)


def room(walls, tubes=WIDE, tube_surface=LOSSLESS, more=()):
    """Closed box of one lining with one lamp; the first twelve faces are its walls."""
    return scene_of([Piece(box(0.0, 0.4), walls), *more], [Lamp(tubes, ROOM_POWER, tube_surface)])


def sheet_in_room(sheet):
    """Lossless room with a sheet from wall to wall under the lamp: faces 12 and 13, side 0 up."""
    under = rectangle((0.0, 0.0, 0.1), (0.4, 0.0, 0.0), (0.0, 0.4, 0.0))
    return room(LOSSLESS, more=[Piece(under, sheet, two_sided=True)])
