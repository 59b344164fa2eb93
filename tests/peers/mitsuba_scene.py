"""A scene in Mitsuba 3: what a ray meets, and how surfaces answer, written apart from raysim.

Mitsuba (general-purpose research renderer, BSD) finds what a ray meets: triangles, exact cylinders
and discs. The rest is plain numpy in double precision with numpy's own random numbers; nothing of
raysim's kernels takes part. Scene data come as `SceneTriangles`.
"""

import os
from glob import glob

import numpy as np

ABSORBED, REFLECTED, TRANSMITTED = 0, 1, 2
CLEAR = 2e-6  # m, by which a ray starts off the face it leaves
LLVM = (
    "/usr/lib/*/libLLVM*.so*",
    "/usr/lib/llvm-*/lib/libLLVM*.so*",
    "/opt/homebrew/opt/llvm/lib/libLLVM.dylib",
)


def mitsuba():
    """The module with its LLVM variant set; ImportError says what is missing."""
    import mitsuba as mi

    if "DRJIT_LIBLLVM_PATH" not in os.environ:
        new = [p for pattern in LLVM for p in glob(pattern) if _version(p) >= 16]
        if new:
            os.environ["DRJIT_LIBLLVM_PATH"] = max(new, key=_version)
    try:
        mi.set_variant("llvm_ad_rgb")
        mi.Float(1.0) + 1.0
    except Exception as error:
        raise ImportError(f"Mitsuba's LLVM mode needs LLVM 16 or newer: {error}") from None
    return mi


def _version(path):
    """Version in the name of an LLVM library; 0 where there is none."""
    digits = "".join(c if c.isdigit() else " " for c in path.rsplit("/", 1)[1]).split()
    return int(digits[0]) if digits else 0


class Peer:
    """A scene in Mitsuba."""

    def __init__(self, triangles):
        self.mi = mitsuba()
        self.scene = triangles
        part_surface = np.array([part.surface for part in triangles.parts])
        lamp_surface = np.array([lamp.surface for lamp in triangles.lamps], int)
        tube_lamp = np.array([tube.lamp for tube in triangles.tubes], int)
        tube_surface = lamp_surface[tube_lamp]
        faces, tubes = len(triangles.areas), len(triangles.tubes)
        two_sided = np.array([p.two_sided for p in triangles.parts])[triangles.face_part]
        self.two_sided = np.concatenate([two_sided, np.zeros(3 * tubes, bool)])
        self.starts = np.array([t.start for t in triangles.tubes])
        # Things met: faces, then mantles, then both ends of every tube.
        self.surface = np.concatenate(
            [part_surface[triangles.face_part], tube_surface, np.repeat(tube_surface, 2)]
        )
        self.faces, self.tubes = faces, tubes
        axes = [t.end - t.start for t in triangles.tubes]
        self.axes = np.array([a / np.linalg.norm(a) for a in axes])
        self.planes = np.concatenate(
            [triangles.corners[:, 0], np.zeros((tubes, 3))]
            + [np.stack([t.start, t.end]) for t in triangles.tubes]
        )
        self.normals = np.concatenate(
            [triangles.normals, np.zeros((tubes, 3))] + [np.stack([-a, a]) for a in self.axes]
        )
        self.engine, self.first = self._built()

    def _built(self):
        """Mitsuba's scene, and the number of the first thing of each of its shapes."""
        mi, t = self.mi, self.scene
        mesh = mi.Mesh("faces", 3 * self.faces, self.faces)
        params = mi.traverse(mesh)
        params["vertex_positions"] = mi.Float(np.float32(t.corners).ravel())
        params["faces"] = mi.UInt32(np.arange(3 * self.faces, dtype=np.uint32))
        params.update()
        world = {"type": "scene", "a": mesh}
        for i, tube in enumerate(t.tubes):
            ends = {"p0": tube.start.tolist(), "p1": tube.end.tolist()}
            world[f"b{i:03}"] = {"type": "cylinder", "radius": float(tube.radius), **ends}
            for k, (at, way) in enumerate(((tube.start, -1.0), (tube.end, 1.0))):
                world[f"c{i:03}{k}"] = disc(mi, at, way * self.axes[i], tube.radius)
        scene = mi.load_dict(world)
        # Shapes keep no promise of order: find each by its box.
        first = np.array([self._thing(shape) for shape in scene.shapes()])
        pointers = scene.shapes_dr()
        return scene, dict(zip(_numbers(pointers).tolist(), first, strict=True))

    def _thing(self, shape):
        if shape.is_mesh():
            return 0
        box = shape.bbox()
        middle = 0.5 * (np.array(box.min) + np.array(box.max)).ravel()
        mantles = np.array([0.5 * (t.start + t.end) for t in self.scene.tubes])
        ends = np.array([e for t in self.scene.tubes for e in (t.start, t.end)])
        every = np.concatenate([mantles, ends])
        distance = np.linalg.norm(every - middle, axis=1)
        assert distance.min() < 1e-5
        return self.faces + int(distance.argmin())

    def nearest(self, origins, directions):
        """Distance (m) and thing (rays,) met first; -1 for none."""
        import drjit as dr

        mi = self.mi
        o, d = (np.float32(a) for a in (origins, directions))
        ray = mi.Ray3f(mi.Point3f(o.T.copy()), mi.Vector3f(d.T.copy()))
        found = self.engine.ray_intersect_preliminary(ray, coherent=False)
        dr.eval(found)  # all of it at once; field by field the rays would be traced thrice
        shape = _numbers(found.shape)
        prim = np.array(found.prim_index).astype(np.int64)
        first = np.full(shape.max(initial=0) + 1, -1)
        for pointer, thing in self.first.items():
            if pointer < len(first):
                first[pointer] = thing
        thing = first[shape]
        thing = np.where(thing == 0, prim, thing)
        return np.array(found.t).astype(float), np.where(shape == 0, -1, thing)

    def nearest_other(self, origins, directions, last):
        """The same, but never what the ray starts on: everything here is flat or convex."""
        distance, thing = self.nearest(origins, directions)
        again = np.flatnonzero((thing == last) & (thing >= 0))
        for _ in range(4):
            if not len(again):
                break
            ahead = distance[again] + 1e-6
            start = origins[again] + ahead[:, None] * directions[again]
            more, other = self.nearest(start, directions[again])
            distance[again], thing[again] = ahead + more, other
            again = again[(other == last[again]) & (other >= 0)]
        return distance, thing

    def hits(self, origins, directions, distance, thing):
        """Points, normals and sides (0 outside, 1 inside) met, and whether it was a forbidden back."""
        normal = self.normals[thing]
        flat = (thing < self.faces) | (thing >= self.faces + self.tubes)
        down = (normal * directions).sum(axis=1)
        with np.errstate(divide="ignore", invalid="ignore"):
            exact = ((self.planes[thing] - origins) * normal).sum(axis=1) / down
        distance = np.where(flat & np.isfinite(exact), exact, distance)  # double for single
        at = origins + distance[:, None] * directions
        tube = np.clip(thing - self.faces, 0, self.tubes - 1)
        way = at - self.starts[tube]
        way -= (way * self.axes[tube]).sum(axis=1)[:, None] * self.axes[tube]
        normal = np.where(flat[:, None], normal, way / np.linalg.norm(way, axis=1)[:, None])
        side = ((normal * directions).sum(axis=1) > 0.0).astype(int)
        normal = np.where(side[:, None] == 1, -normal, normal)
        return at, normal, side, (side == 1) & ~self.two_sided[thing]

    def response(self, surface, cosine):
        """Reflectance, transmittance and specular share of surfaces, expected case."""
        table = self.scene.surfaces
        rho, tau, specular = (
            np.array([getattr(s, name) for s in table])[surface]
            for name in ("reflectance", "transmittance", "specular")
        )
        for number, s in enumerate(table):
            if s.is_fresnel:
                own = surface == number
                rho[own] = fresnel(cosine[own], complex(s.refractive_index, s.extinction))
                specular[own] = 1.0
        return rho, tau, specular

    def scattered(self, random, directions, normal, thing, lobe=0.0):
        """Fates of hits, and new directions (for all, absorbed or not) with the side they leave to.

        `lobe` (rad) widens mirror reflection: facets tilted at random by half of it along each
        axis, as on rolled or brushed metal.
        """
        cosine = -(normal * directions).sum(axis=1)
        rho, tau, specular = self.response(self.surface[thing], cosine)
        u = random.random(len(rho))
        fate = np.where(u < rho, REFLECTED, np.where(u < rho + tau, TRANSMITTED, ABSORBED))
        mirror = (fate == REFLECTED) & (random.random(len(fate)) < specular)
        normal = np.where((fate == TRANSMITTED)[:, None], -normal, normal)
        facet = normal
        if lobe > 0.0:
            facet = normal + 0.5 * lobe * random.normal(size=normal.shape)
            facet /= np.linalg.norm(facet, axis=1)[:, None]
        seen = directions - 2.0 * (directions * facet).sum(axis=1)[:, None] * facet
        below = (seen * normal).sum(axis=1) <= 0.0
        flat = directions + 2.0 * cosine[:, None] * normal
        seen = np.where(below[:, None], flat, seen)
        new = np.where(mirror[:, None], seen, lambert(random, normal))
        return fate, new / np.linalg.norm(new, axis=1)[:, None], normal


def fresnel(cosine, index):
    """Unpolarised reflectance of n + ik, in complex arithmetic (Hecht, Optics, section 4.6)."""
    inside = np.sqrt(1.0 - (1.0 - cosine**2) / index**2)
    s = (cosine - index * inside) / (cosine + index * inside)
    p = (index * cosine - inside) / (index * cosine + inside)
    return 0.5 * (np.abs(s) ** 2 + np.abs(p) ** 2)


def disc(mi, at, axis, radius):
    """The end of a tube as Mitsuba describes it: a disc about a point (m) that faces an axis."""
    towards = (at + axis).tolist()
    frame = mi.ScalarTransform4f().look_at(at.tolist(), towards, across(axis).tolist())
    size = mi.ScalarTransform4f().scale([float(radius)] * 3)
    return {"type": "disk", "to_world": frame @ size}


def across(axis):
    """A unit vector at a right angle to an axis (definition)."""
    other = np.cross(axis, np.eye(3)[np.argmin(np.abs(axis))])
    return other / np.linalg.norm(other)


def lambert(random, normal):
    """Directions after Lambert's law: a point on the unit sphere about the tip of the normal."""
    height = 2.0 * random.random(len(normal)) - 1.0
    turn = 2.0 * np.pi * random.random(len(normal))
    ring = np.sqrt(1.0 - height**2)
    ball = np.stack([ring * np.cos(turn), ring * np.sin(turn), height], axis=1)
    way = normal + ball
    return way / np.maximum(np.linalg.norm(way, axis=1), 1e-12)[:, None]


def _numbers(pointers):
    """Numbers of shapes behind Mitsuba's pointers; 0 for none."""
    import drjit as dr

    return np.array(dr.reinterpret_array(dr.uint32_array_t(type(pointers)), pointers))
