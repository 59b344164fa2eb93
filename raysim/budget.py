"""Uncertainty budget of the worst spot after the GUM: what its irradiance hangs on.

A backward path carries one weight per column of reflectances. Columns that differ from the
expected ones in one surface, a little up and a little down, therefore share every path with them,
and the derivative with respect to that surface is free of the noise that two runs would have. The
derivative with respect to each lamp is that lamp's share. Only places need new runs.

Source: JCGM 100:2008 (GUM); derivatives by path weights as in perturbation Monte Carlo.
"""

from dataclasses import replace

import numpy as np

from raysim.library import Surface, assumptions
from raysim.result import EXPECTED, Budget, Contribution, Result, Spot
from raysim.scene.triangles import SIDES, SceneTriangles
from raysim.tracing import AdjointRun, Target, default_threads, kernel_scene

STEP = 0.01  # of a reflectance, up and down
SHIFT = 0.005  # m: how far a respirator may hang off its place, half-width
PATHS = 2048  # per batch, for the surfaces and lamps
SHIFT_PATHS = 1024  # per batch and place
FINE, COARSER = 0.05, 16  # a run to a precision above FINE gets a budget from so much fewer paths
ROOT3 = np.sqrt(3.0)  # a rectangular half-width over it is a standard uncertainty


def reflectance_columns(surfaces: tuple[Surface, ...]) -> tuple[np.ndarray, np.ndarray]:
    """Reflectances with each surface a step up and down in turn, and the steps taken.

    Returns (surfaces, 1 + 2 surfaces) float64, the first column as expected, and (surfaces,)
    distances between the two columns of each surface; 0 for those that follow Fresnel.
    """
    base = np.array([s.reflectance for s in surfaces])
    columns, width = [base], np.zeros(len(surfaces))
    for k, surface in enumerate(surfaces):
        up, down = base.copy(), base.copy()
        if not surface.is_fresnel:
            up[k] = min(base[k] + STEP, 1.0 - surface.transmittance)
            down[k] = max(base[k] - STEP, 0.0)
            width[k] = up[k] - down[k]
        columns += [up, down]
    return np.stack(columns, axis=1), width


def spot_derivatives(
    triangles: SceneTriangles, spot: Spot, seed: int, threads: int, paths: int = PATHS
) -> tuple[np.ndarray, np.ndarray, np.ndarray, float]:
    """Irradiance of a spot by lamp, and its derivatives with respect to each reflectance.

    Returns W/m2 by lamp (lamps,), dE/d rho in W/m2 (surfaces,) with its standard error, and the
    relative standard error of the irradiance itself.

    Source: equation of the module.
    """
    arrays = kernel_scene(triangles)
    columns, width = reflectance_columns(triangles.surfaces)
    through = np.array([s.transmittance for s in triangles.surfaces])
    table = arrays.surfaces._replace(
        reflectance=columns,
        transmittance=np.repeat(through[:, None], columns.shape[1], axis=1),
        lobe=np.repeat(arrays.surfaces.specular[:, None], columns.shape[1], axis=1),
    )
    run = AdjointRun(replace(arrays, surfaces=table), triangles, seed, threads)
    side = SIDES.index(spot.side)
    run.add_targets([Target(2 * spot.face + side, (spot.face,), (side,))])
    run.add_paths(np.zeros(1, int), np.array([paths]))
    batches = run.batch_irradiance(np.zeros(1, int))[0]  # batches, lamps, columns
    total = batches.sum(axis=1)
    slope = (total[:, 1::2] - total[:, 2::2]) / np.where(width > 0.0, width, np.inf)
    count = np.sqrt(len(total))
    noise = float(total[:, 0].std(ddof=1) / count / max(total[:, 0].mean(), 1e-300))
    return batches[..., 0].mean(0), slope.mean(0), slope.std(axis=0, ddof=1) / count, noise


def shifted(triangles: SceneTriangles, body: int, by: np.ndarray) -> SceneTriangles:
    """The scene with one body moved by (3,), m."""
    corners = triangles.corners.copy()
    corners[triangles.faces_of(body)] += by
    return replace(triangles, corners=corners)


def shift_slopes(
    triangles: SceneTriangles, spot: Spot, seed: int, threads: int, paths: int = SHIFT_PATHS
) -> np.ndarray:
    """Relative change of a spot's irradiance per metre that its object is moved, x, y, z, (3,).

    Central differences between two runs with the same random numbers.

    Source: definition of the derivative.
    """
    body = next(k for k, b in enumerate(triangles.bodies) if b.name == spot.object)
    side = SIDES.index(spot.side)
    slopes = []
    for axis in range(3):
        light = []
        for sign in (1.0, -1.0):
            moved = shifted(triangles, body, sign * SHIFT * np.eye(3)[axis])
            run = AdjointRun(kernel_scene(moved), moved, seed, threads, cases=slice(1, 2))
            run.add_targets([Target(2 * spot.face + side, (spot.face,), (side,))])
            run.add_paths(np.zeros(1, int), np.array([paths]))
            light.append(float(run.batch_irradiance(np.zeros(1, int)).sum(axis=2).mean()))
        mean = 0.5 * sum(light)
        slopes.append((light[0] - light[1]) / (2.0 * SHIFT * mean) if mean > 0.0 else 0.0)
    return np.array(slopes)


def uncertainty_budget(result: Result, seed: int = 1, threads: int | None = None) -> Budget | None:
    """Budget of the worst spot of the expected case; None where no light was found on it.

    Inputs: the range of every surface (rectangular), each lamp's power, the direction of its
    light, the place of the respirator, and counting.
    """
    spot = result.cases[EXPECTED].worst
    triangles, threads = result.triangles, threads or default_threads()
    part = 1 if (result.precision_asked or 1.0) <= FINE else COARSER
    by_lamp, slope, _, noise = spot_derivatives(triangles, spot, seed, threads, PATHS // part)
    total = float(by_lamp.sum())
    if not total > 0.0:
        return None
    rows = [*_surface_rows(triangles, slope / total), *_lamp_rows(triangles, by_lamp / total)]
    known = assumptions()
    pattern = known["lamp_pattern_half_width"]
    source = f"{pattern.source} ({pattern.mark})"
    rows.append(Contribution("direction of the lamps' light", 1.0, pattern.value / ROOT3, source))
    moved = float(np.linalg.norm(shift_slopes(triangles, spot, seed, threads, SHIFT_PATHS // part)))
    hang = f"±{1000 * SHIFT:g} mm each way, rectangular (estimate, no source)"
    rows.append(Contribution("place of the respirator, per m", moved, SHIFT / ROOT3, hang))
    rows.append(Contribution("counting", 1.0, noise, "batches of this run"))
    ranked = sorted(rows, key=lambda row: -row.relative)
    return Budget(spot, total, tuple(ranked))


def _surface_rows(triangles: SceneTriangles, slope: np.ndarray) -> list[Contribution]:
    rows = []
    for surface, change in zip(triangles.surfaces, slope, strict=True):
        half = 0.5 * (surface.reflectance_high - surface.reflectance_low)
        if half > 0.0 and change != 0.0:
            what = f"reflectance of {surface.name}"
            source = f"{surface.source} ({surface.mark})"
            rows.append(Contribution(what, float(change), half / ROOT3, source))
    return rows


def _lamp_rows(triangles: SceneTriangles, share: np.ndarray) -> list[Contribution]:
    power = assumptions()["lamp_power_half_width"]
    return [
        Contribution(
            f"power of lamp {lamp.name}",
            float(part),
            power.value / ROOT3,
            f"{power.source} ({power.mark})",
        )
        for lamp, part in zip(triangles.lamps, share, strict=True)
    ]
