"""Uncertainty budget of the worst spot after the GUM: what its irradiance hangs on.

A backward path carries one weight per column of reflectances. Columns that differ from the
expected ones in one surface, a little up and a little down, therefore share every path with them,
and the derivative with respect to that surface is free of the noise that two runs would have. The
derivative with respect to each lamp is that lamp's share. Places and refractive indices need pairs
of runs on the same random numbers (`sensitivity`).

Source: JCGM 100:2008 (GUM); derivatives by path weights as in perturbation Monte Carlo.
"""

from collections.abc import Sequence
from dataclasses import replace
from functools import partial

import numpy as np

from raysim.assess.sensitivity import (
    Bench,
    Cycle,
    body_pairs,
    held_by,
    index_pair,
    index_slope,
    lamp_pairs,
    place_slopes,
    steepest,
)
from raysim.base.cases import EXPECTED
from raysim.dose.result import Budget, Contribution, Result, Spot
from raysim.library.assumptions import Assumption, assumptions
from raysim.library.surfaces import Surface
from raysim.scene.poses import PosedTriangles
from raysim.scene.triangles import SceneTriangles
from raysim.transport.kernel_scene import kernel_scene
from raysim.transport.streams import pose_seed
from raysim.transport.threads import default_threads

STEP = 0.01  # of a reflectance, up and down
PATHS = 2048  # per batch, for the surfaces and lamps
PAIRED_PATHS = 256  # per batch and run of a pair: places are some percent of the budget
INDEX_KEYS = ("refractive_index", "extinction")
METAL = 0.05  # extinction above which it matters to the reflectance
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


def column_batches(bench: Bench) -> np.ndarray:
    """Irradiance of a spot in one pose under each column, (batches, lamps, columns), W/m2."""
    triangles, arrays = bench.triangles, bench.arrays
    columns, _ = reflectance_columns(triangles.surfaces)
    through = np.array([s.transmittance for s in triangles.surfaces])
    table = arrays.surfaces._replace(
        reflectance=columns,
        transmittance=np.repeat(through[:, None], columns.shape[1], axis=1),
        lobe=np.repeat(arrays.surfaces.specular[:, None], columns.shape[1], axis=1),
    )
    return bench.traced(replace(arrays, surfaces=table), triangles)


def spot_derivatives(cycle: Cycle) -> tuple[np.ndarray, np.ndarray, np.ndarray, float]:
    """Irradiance of a spot by lamp, and its derivatives with respect to each reflectance.

    Returns W/m2 by lamp (lamps,), dE/d rho in W/m2 (surfaces,) with its standard error, and the
    relative standard error of the irradiance itself.

    Source: equation of the module.
    """
    _, width = reflectance_columns(cycle.benches[0].triangles.surfaces)
    batches = cycle.summed(column_batches)
    total = batches.sum(axis=1)
    slope = (total[:, 1::2] - total[:, 2::2]) / np.where(width > 0.0, width, np.inf)
    count = np.sqrt(len(total))
    noise = float(total[:, 0].std(ddof=1) / count / max(total[:, 0].mean(), 1e-300))
    return batches[..., 0].mean(0), slope.mean(0), slope.std(axis=0, ddof=1) / count, noise


def uncertainty_budget(
    result: Result,
    seed: int = 1,
    threads: int | None = None,
    poses: Sequence[PosedTriangles] = (),
) -> Budget | None:
    """Budget of the worst spot of the expected case; None where no light was found on it.

    Inputs: the range of every surface and of every refractive index (rectangular), power and place
    of each lamp, the direction of its light, place and shape of the respirator, and counting.

    `poses` are those of the scene; none are needed where there is one.
    """
    spot = result.cases[EXPECTED].worst
    part = 1 if (result.precision_asked or 1.0) <= FINE else COARSER
    poses = poses or (PosedTriangles("", 1.0, result.triangles),)
    cycle = _cycle(poses, spot, seed, threads or default_threads()).with_paths(PATHS // part)
    by_lamp, slope, error, noise = spot_derivatives(cycle)
    total = float(by_lamp.sum())
    if not total > 0.0:
        return None
    cycle = cycle.with_paths(PAIRED_PATHS // min(part, 4))
    pattern = assumptions()["lamp_pattern_half_width"]
    shape = assumptions()["respirator_geometry_std"]
    rows = [
        *_surface_rows(result.triangles, slope / total, error / total),
        *_index_rows(cycle, result.triangles),
        *_lamp_rows(result.triangles, by_lamp / total),
        *_place_rows(cycle, result.triangles, spot),
        Contribution("direction of the lamps' light", 1.0, pattern.value / ROOT3, _source(pattern)),
        Contribution(
            "shape of the respirator, and how it sits on its hook",
            1.0,
            shape.value,
            _source(shape),
        ),
        Contribution("counting", 1.0, noise, "batches of this run"),
    ]
    return Budget(spot, total, tuple(sorted(rows, key=lambda row: -row.relative)))


def _cycle(poses: Sequence[PosedTriangles], spot: Spot, seed: int, threads: int) -> Cycle:
    benches = tuple(
        Bench(t, kernel_scene(t), spot, pose_seed(seed, number), threads, PATHS)
        for number, t in enumerate(pose.triangles for pose in poses)
    )
    return Cycle(benches, tuple(pose.share for pose in poses))


def _source(assumption: Assumption) -> str:
    return f"{assumption.source} ({assumption.mark})"


def _surface_rows(
    triangles: SceneTriangles, slope: np.ndarray, error: np.ndarray
) -> list[Contribution]:
    rows = []
    for surface, change, noise in zip(triangles.surfaces, slope, error, strict=True):
        half = 0.5 * (surface.reflectance_high - surface.reflectance_low)
        if half > 0.0 and change != 0.0:
            what = f"reflectance of {surface.name}"
            source = f"{surface.source} ({surface.mark})"
            row = Contribution(what, float(change), half / ROOT3, source, float(noise))
            rows.append(row)
    return rows


def _index_rows(cycle: Cycle, triangles: SceneTriangles) -> list[Contribution]:
    """Refractive index, and extinction of metals, of every surface that follows Fresnel."""
    range_ = assumptions()["refractive_index_half_width"]
    rows = []
    for number, surface in enumerate(triangles.surfaces):
        if not surface.is_fresnel:
            continue
        for key in INDEX_KEYS if surface.extinction > METAL else INDEX_KEYS[:1]:
            slope = index_slope(cycle.summed(partial(index_pair, surface=number, key=key)))
            what = f"{key.replace('_', ' ')} of {surface.name}, relative"
            source = f"{surface.source} ({surface.mark}); range: {_source(range_)}"
            rows.append(Contribution(what, slope.value, range_.value / ROOT3, source, slope.error))
    return rows


def _lamp_rows(triangles: SceneTriangles, share: np.ndarray) -> list[Contribution]:
    power = assumptions()["lamp_power_half_width"]
    return [
        Contribution(f"power of lamp {lamp.name}", float(part), power.value / ROOT3, _source(power))
        for lamp, part in zip(triangles.lamps, share, strict=True)
    ]


def _place_rows(cycle: Cycle, triangles: SceneTriangles, spot: Spot) -> list[Contribution]:
    """Place of the respirator and of each lamp, each way alike and independent."""
    half = assumptions()["place_half_width_mm"]
    body = triangles.body_called(spot.object)

    def hung(bench: Bench) -> np.ndarray:
        return body_pairs(bench, held_by(bench.triangles, body))

    told = "place of the respirator on its hook, per m"
    slopes = {(told, spot.object): place_slopes(cycle.summed(hung))}
    for number, lamp in enumerate(triangles.lamps):
        pairs = cycle.summed(partial(lamp_pairs, lamp=number))
        slopes[f"place of lamp {lamp.name}, per m", lamp.name] = place_slopes(pairs)
    each = 0.001 * half.value / ROOT3
    return [
        Contribution(what, slope.value, each, _source(half), slope.error, name)
        for (what, name), slope in ((told, steepest(ways)) for told, ways in slopes.items())
    ]
