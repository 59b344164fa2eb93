"""The demo's photons in Mitsuba 3 (LLVM), as one would write them there: one compiled loop.

Analog photons of the expected case over a wavefront, hits of faces added up in place. Surfaces are
constants with a Lambertian rest; where the demo has Fresnel surfaces this loop would be wrong and
refuses. What is met comes from Mitsuba's own ray tracing (Embree), the rest is Dr.Jit.
"""

import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests" / "peers"))


class Photons:
    """A scene ready to be traced; `trace` returns counts and segments."""

    def __init__(self, triangles):
        import drjit as dr
        from mitsuba_scene import Peer

        if any(s.is_fresnel or s.transmittance > 0.0 for s in triangles.surfaces):
            raise ValueError("only opaque surfaces of constant reflectance")
        peer = Peer(triangles)
        self.dr, self.mi, self.peer = dr, peer.mi, peer
        mi = peer.mi
        first = np.zeros(max(peer.first) + 1, np.uint32)
        for shape, thing in peer.first.items():
            first[shape] = thing
        rho = np.array([s.reflectance for s in triangles.surfaces])[peer.surface]
        specular = np.array([s.specular for s in triangles.surfaces])[peer.surface]
        self.first = mi.UInt32(first)
        self.rho, self.specular = mi.Float(rho), mi.Float(specular)
        lamp_of = np.array([tube.lamp for tube in triangles.tubes])
        watts = np.array([lamp.uvc_W for lamp in triangles.lamps])
        share = watts[lamp_of] / np.bincount(lamp_of)[lamp_of]
        self.below = np.cumsum(share / share.sum())
        self.tubes = [
            (tube.start, tube.end - tube.start, tube.radius, peer.axes[i])
            for i, tube in enumerate(triangles.tubes)
        ]

    def emitted(self, sampler):
        """Rays off the tubes' mantles after Lambert's law."""
        from mitsuba_scene import across

        dr, mi = self.dr, self.mi
        u = sampler.next_float32()
        start, way, a, b, radius = (
            *(mi.Vector3f(0.0) for _ in range(4)),
            mi.Float(0.0),
        )
        below = 0.0
        for (s, w, r, axis), upto in zip(self.tubes, self.below, strict=True):
            own = (u >= below) & (u < upto)
            side = across(axis)
            rows = (s, w, side, np.cross(axis, side))
            start, way, a, b = (
                dr.select(own, mi.Vector3f(row.tolist()), old)
                for row, old in zip(rows, (start, way, a, b), strict=True)
            )
            radius = dr.select(own, float(r), radius)
            below = upto
        sine, cosine = dr.sincos(2.0 * dr.pi * sampler.next_float32())
        normal = cosine * a + sine * b
        at = start + sampler.next_float32() * way + (radius + 2e-6) * normal
        return mi.Point3f(at), self.lambert(sampler, normal)

    def lambert(self, sampler, normal):
        """Directions after Lambert's law about normals."""
        mi = self.mi
        u = mi.Point2f(sampler.next_float32(), sampler.next_float32())
        return mi.Frame3f(normal).to_world(mi.warp.square_to_cosine_hemisphere(u))

    def trace(self, photons, seed, longest=2_000):
        """Hits of every face-side (2 x faces) and the number of segments of so many photons."""
        dr, mi = self.dr, self.mi
        sampler = mi.PCG32(size=photons, initstate=seed)
        at, way = self.emitted(sampler)
        hits = dr.zeros(mi.UInt32, 2 * self.peer.faces)
        segments = dr.zeros(mi.UInt32, 1)
        alive, bounce = mi.Bool(True), mi.UInt32(0)

        def going(at, way, sampler, alive, bounce):
            return alive

        def step(at, way, sampler, alive, bounce):
            ray = mi.Ray3f(at, way)
            met = self.peer.engine.ray_intersect(
                ray, ray_flags=mi.RayFlags.Minimal, coherent=False, active=alive
            )
            dr.scatter_add(segments, mi.UInt32(1), mi.UInt32(0), alive)
            alive = alive & met.is_valid() & (bounce < longest)
            shape = dr.reinterpret_array(mi.UInt32, met.shape)
            first = dr.gather(mi.UInt32, self.first, shape, alive)
            thing = dr.select(first == 0, met.prim_index, first)
            inside = dr.dot(met.n, way) > 0.0
            face = alive & (first == 0)
            dr.scatter_add(hits, mi.UInt32(1), 2 * thing + dr.select(inside, 1, 0), face)
            rho = dr.gather(mi.Float, self.rho, thing, alive)
            alive = alive & (sampler.next_float32() < rho)
            normal = dr.select(inside, -met.n, met.n)
            share = dr.gather(mi.Float, self.specular, thing, alive)
            mirror = sampler.next_float32() < share
            seen = way - 2.0 * dr.dot(way, normal) * normal
            way = dr.select(mirror, seen, self.lambert(sampler, normal))
            at = mi.Point3f(met.p + 2e-6 * normal)
            return at, mi.Vector3f(way), sampler, alive, bounce + 1

        dr.while_loop((at, mi.Vector3f(way), sampler, alive, bounce), going, step, mode="symbolic")
        dr.eval(hits, segments)
        return np.array(hits), int(np.array(segments)[0])


def rate(triangles, photons, rounds):
    """Segments per second (median of `rounds`), after a first round that compiles; and segments."""
    peer = Photons(triangles)
    peer.trace(photons, 1)
    rates = []
    for seed in range(2, 2 + rounds):
        started = time.perf_counter()
        _, segments = peer.trace(photons, seed)
        rates.append(segments / (time.perf_counter() - started))
    return float(np.median(rates)), segments / photons
