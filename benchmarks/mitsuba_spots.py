"""The worst-lit spot in Mitsuba 3 (LLVM), as one would look for it there.

Mitsuba's own path integrator (next-event estimation and hits, combined by multiple importance
sampling) from every judged face-side, as many paths from each: the irradiance is pi times the mean
radiance over directions after Lambert's law. Expected case. Surfaces are constants with a share
reflected as by a mirror; where a scene has Fresnel surfaces or translucent sheets it refuses.
"""

import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests" / "peers"))

BATCHES = 32
CLEAR = 2e-6  # m, by which a path starts off its face-side, as in `mitsuba_scene`
# One-sided quantile of Student's t, 95 %, 31 degrees of freedom: one look, nothing to be shared
# out among several as ours has to.
QUANTILE = 1.6955


def response(surface, two_sided):
    """A surface as Mitsuba describes it."""
    rho = {"type": "rgb", "value": float(surface.reflectance)}
    matt = {"type": "diffuse", "reflectance": rho}
    mirror = {"type": "conductor", "material": "none", "specular_reflectance": rho}
    share = float(surface.specular)
    both = matt
    if share > 0.0:
        both = {"type": "blendbsdf", "weight": share, "matt": matt, "mirror": mirror}
    return {"type": "twosided", "one": both} if two_sided else both


def built(triangles):
    """Mitsuba's module, and the scene with shining tubes."""
    from mitsuba_scene import mitsuba

    if any(s.is_fresnel or s.transmittance > 0.0 for s in triangles.surfaces):
        raise ValueError("only opaque surfaces of constant reflectance")
    mi = mitsuba()
    world = {"type": "scene"}
    for number in range(len(triangles.parts)):
        world[f"part{number}"] = mesh(mi, triangles, number)
    for number in range(len(triangles.tubes)):
        world |= shining(mi, triangles, number)
    return mi, mi.load_dict(world)


def mesh(mi, triangles, number):
    """The faces of one part."""
    part = triangles.parts[number]
    corners = np.float32(triangles.corners[triangles.face_part == number])
    props = mi.Properties()
    props["bsdf"] = mi.load_dict(response(triangles.surfaces[part.surface], part.two_sided))
    shape = mi.Mesh(f"part{number}", 3 * len(corners), len(corners), props)
    params = mi.traverse(shape)
    params["vertex_positions"] = mi.Float(corners.ravel())
    params["faces"] = mi.UInt32(np.arange(3 * len(corners), dtype=np.uint32))
    params.update()
    return shape


def shining(mi, triangles, number):
    """One tube: the mantle, which shines, and its two ends, which do not."""
    from mitsuba_scene import disc

    tube = triangles.tubes[number]
    lamp = triangles.lamps[tube.lamp]
    twins = sum(other.lamp == tube.lamp for other in triangles.tubes)
    way = tube.end - tube.start
    length = float(np.linalg.norm(way))
    radiance = lamp.uvc_W / twins / (2.0 * np.pi * tube.radius * length) / np.pi
    bsdf = response(triangles.surfaces[lamp.surface], False)
    mantle = {
        "type": "cylinder",
        "radius": float(tube.radius),
        "p0": tube.start.tolist(),
        "p1": tube.end.tolist(),
        "light": {"type": "area", "radiance": {"type": "rgb", "value": float(radiance)}},
        "bsdf": bsdf,
    }
    ends = {
        f"end{number}{sign}": {**disc(mi, at, sign * way / length, tube.radius), "bsdf": bsdf}
        for at, sign in ((tube.start, -1), (tube.end, 1))
    }
    return {f"tube{number}": mantle, **ends}


class Spots:
    """All judged face-sides of a scene; `irradiance` traces further paths from each."""

    def __init__(self, triangles, faces, sides):
        self.mi, self.scene = built(triangles)
        sign = np.where(sides == 0, 1.0, -1.0)[:, None]
        normals = triangles.normals[faces] * sign
        corners = triangles.corners[faces] + CLEAR * normals[:, None]
        self.count = len(faces)
        self.tables = [
            self.mi.Float(np.float32(column))
            for column in np.concatenate([corners.reshape(-1, 9), normals], axis=1).T
        ]
        self.integrator = self.mi.load_dict({"type": "path", "max_depth": -1, "rr_depth": 5})

    def batch(self, paths, seed):
        """Mean irradiance (W/m2) of each face-side by so many paths."""
        import drjit as dr

        mi, size = self.mi, self.count * paths
        sampler = mi.load_dict({"type": "independent"})
        sampler.seed(seed, size)
        spot = dr.arange(mi.UInt32, size) // paths
        a, b, c, normal = (
            mi.Vector3f(*(dr.gather(mi.Float, table, spot) for table in self.tables[at : at + 3]))
            for at in (0, 3, 6, 9)
        )
        weights = mi.warp.square_to_uniform_triangle(sampler.next_2d())
        at = a + weights.x * (b - a) + weights.y * (c - a)
        way = mi.Frame3f(normal).to_world(mi.warp.square_to_cosine_hemisphere(sampler.next_2d()))
        ray = mi.RayDifferential3f(mi.Ray3f(mi.Point3f(at), way))
        radiance, _, _ = self.integrator.sample(self.scene, sampler, ray)
        total = dr.zeros(mi.Float, self.count)
        dr.scatter_reduce(dr.ReduceOp.Add, total, radiance.x, spot)
        return np.pi * np.array(total) / paths

    def irradiance(self, paths, seed):
        """Mean and standard error (W/m2) of each face-side from BATCHES batches of paths."""
        means = np.stack([self.batch(paths, seed + k) for k in range(BATCHES)])
        return means.mean(axis=0), means.std(axis=0, ddof=1) / np.sqrt(BATCHES)


def search(triangles, faces, sides, paths):
    """Irradiance and its standard error (W/m2) of every judged face-side, and the seconds taken."""
    spots = Spots(triangles, faces, sides)
    spots.batch(paths, 1)  # compiles
    started = time.perf_counter()
    mean, error = spots.irradiance(paths, 2)
    return mean, error, time.perf_counter() - started
