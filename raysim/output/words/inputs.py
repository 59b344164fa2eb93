"""Tables of the inputs of a run: lamps, surfaces, assumptions, and how to repeat it."""

import numpy as np

from raysim.base.cases import CASES, CAUTIOUS
from raysim.dose.result import Result
from raysim.library.assumptions import assumptions
from raysim.library.surfaces import Surface
from raysim.output.words.numbers import number
from raysim.output.words.table import Table, table_of
from raysim.scene.triangles import SIDES, SceneTriangles

MOST_NAMES = 4
# Errors that the counting error does not include, with the rows of the table for their size.
NOT_COUNTED = (
    ("lamp_power_half_width", "UVC power of a lamp against its rating"),
    ("lamp_pattern_half_width", "direction of a lamp's light against the calculation"),
    ("respirator_geometry_std", "shape, place and reflectance of the respirators"),
    ("meter_half_width", "the meter itself, when you compare"),
)


def lamps_table(result: Result) -> Table:
    """Lamps with their rating (UVC W), hours, and share of the light on the worst spot (%)."""
    worst = result.cases[CAUTIOUS].worst
    on = np.array([lamp.name not in result.without for lamp in result.triangles.lamps])
    light = result.lamp_irradiance[CASES.index(CAUTIOUS), :, worst.face, SIDES.index(worst.side)]
    there = light * on
    whole = float(there.sum())
    rows = []
    for lamp, here in zip(result.triangles.lamps, there, strict=True):
        share = f"{100.0 * here / whole:.0f}" if whole > 0.0 else "none"
        share = "out" if lamp.name in result.without else share
        rows.append((lamp.name, number(lamp.uvc_W), f"{lamp.hours:,.0f}", share))
    headings = ("lamp", "UVC at 254 nm, W", "hours in use", "share of the worst spot's light, %")
    return Table(headings, tuple(rows), 1, "Shares at full rated output of every lamp.")


def surfaces_table(triangles: SceneTriangles) -> Table:
    """Surfaces in use with low, expected and high reflectance, specular share and source."""
    used: dict[int, list[tuple[str, str]]] = {}
    for part in triangles.parts:
        used.setdefault(part.surface, []).append((triangles.bodies[part.body].name, part.name))
    for lamp in triangles.lamps:
        used.setdefault(lamp.surface, []).append((f"lamp {lamp.name}", ""))
    rows = [
        (
            surface.name,
            _listed(used[index]),
            f"{surface.source} ({surface.mark})",
            *_optics(surface),
        )
        for index, surface in enumerate(triangles.surfaces)
        if index in used
    ]
    headings = ("surface", "used on", "source (mark)", "low", "expected", "high", "specular")
    note = (
        "Reflectance at 254 nm as a share of the light that arrives; specular: share of the "
        "reflectance that goes the mirror way. The cautious case takes the low column."
    )
    return Table(headings, tuple(rows), 3, note)


def _listed(places: list[tuple[str, str]]) -> str:
    """Bodies and parts in one line; a part that many bodies have is counted."""
    by_part: dict[str, list[str]] = {}
    for body, part in dict.fromkeys(places):
        by_part.setdefault(part, []).append(body)
    words = []
    for part, bodies in by_part.items():
        if part:
            words.append(f"{part} of {bodies[0] if len(bodies) == 1 else f'{len(bodies)} objects'}")
            continue
        words += bodies[:MOST_NAMES]
        if len(bodies) > MOST_NAMES:
            words.append(f"{len(bodies) - MOST_NAMES} more")
    return "; ".join(words)


def _optics(surface: Surface) -> tuple[str, str, str, str]:
    if surface.is_fresnel:
        index = f"n = {surface.refractive_index:g}"
        if surface.extinction:
            index += f" + {surface.extinction:g} i"
        return index, index, index, "all"
    ends = (surface.reflectance_low, surface.reflectance, surface.reflectance_high)
    low, expected, high = (f"{value:.3g}" for value in ends)
    return low, expected, high, f"{surface.specular:.2g}"


def assumptions_table(result: Result) -> Table:
    """Assumptions of the run: what, value as printed, source with its mark."""
    return Table(("assumption", "value", "source (mark)"), result.assumptions, 3)


def not_counted_table() -> Table:
    """Errors that the counting error does not include, with likely size (%) and source."""
    return table_of(
        [(words, assumptions()[key]) for key, words in NOT_COUNTED],
        {
            "doubt": lambda entry: entry[0],
            "likely size": lambda entry: f"± {entry[1].value:.0%}",
            "source (mark)": lambda entry: f"{entry[1].source} ({entry[1].mark})",
        },
        words=3,
    )


def repeat_rows(result: Result, command: str) -> list[tuple[str, str]]:
    """Everything needed to get the same numbers again, as (name, value)."""
    finer = int(np.count_nonzero(result.refined))
    rows = [
        ("raysim version", result.raysim_version),
        ("SHA-256 of scene and meshes", result.sha256),
        ("seed", str(result.seed)),
        ("photons from the lamps", f"{result.photons:,}"),
        ("backward paths", f"{result.paths:,} on {finer:,} face-sides"),
        ("ray segments", f"{result.segments:,}"),
        ("triangles", f"{len(result.triangles.areas):,}"),
        ("time of tracing", f"{result.seconds:.1f} s"),
    ]
    if command:
        rows.append(("command", command))
    return rows
