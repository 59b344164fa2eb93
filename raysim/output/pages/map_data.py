"""The dose map as compact data for the interactive page: quantised, base64, inside JSON."""

import base64
from typing import Any, NamedTuple

import numpy as np

from raysim.base.units import minutes_seconds, to_mm, to_mW_cm2
from raysim.dose.result import Result, Spot
from raysim.output.pictures.scale import COLOUR_MAP, DoseScale, tick_words
from raysim.output.pictures.shades import tube_triangles, wall_edges
from raysim.output.words.numbers import milliwatts
from raysim.scene.triangles import SIDES, LampTube, SceneTriangles

STEPS = 65_535  # steps of a coordinate along the longest side of the scene
LEVELS = 65_534  # steps of the logarithm of an irradiance; code 0 is no light
ERROR_LEVELS = 255  # steps of the square root of a relative standard error, 0 to 1
SAME_PLACE = 1e-7  # m: corners nearer than this are one


def map_record(result: Result, scale: DoseScale, case: str) -> dict[str, Any]:
    """Everything the page needs to draw one case, as plain data for JSON.

    Lengths in mm, irradiance in mW/cm2, dose in mJ/cm2. Arrays are base64 of little-endian
    integers; `templates/map_mesh.js` reads them.
    """
    timed = np.isfinite(result.timer)
    return {
        **geometry_record(result.triangles),
        "case": case,
        "timer": minutes_seconds(result.timer) if timed else None,
        # mJ/cm2 at the timer for each mW/cm2 at full output.
        "dosePerIrradiance": float(result.seconds_of_light) if timed else None,
        "scale": _scale_record(scale),
        "values": _values(result, case),
        "worst": _spot_record(result.cases[case].worst),
        "spots": [_spot_record(spot) for spot in result.cases[case].worst_per_object],
    }


Welds = dict[tuple[int, int], tuple[np.ndarray, np.ndarray]]


def geometry_record(triangles: SceneTriangles, welds: Welds | None = None) -> dict[str, Any]:
    """Bodies, parts, tubes and edges of a scene, as `map_record` has them.

    `welds` keeps, from call to call, which corners of a part are one: moving a part leaves it.
    """
    low, step = grid_of(triangles)
    return {
        "grid": {"low": low.tolist(), "step": step},
        "bodies": [
            {"name": body.name, "kind": body.kind, "judged": body.judged}
            for body in triangles.bodies
        ],
        "parts": _parts(triangles, low, step, {} if welds is None else welds),
        "faces": len(triangles.areas),
        "tubes": placed_tubes(triangles, low, step),
        "edges": _placed(wall_edges(triangles), low, step),
        "lamps": _lamp_labels(triangles),
    }


def placed_tubes(triangles: SceneTriangles, low: np.ndarray, step: float) -> str:
    """The tubes of all lamps as triangles on a grid, as `geometry_record` has them."""
    return _placed(tube_triangles(triangles.tubes), low, step)


def grid_of(triangles: SceneTriangles) -> tuple[np.ndarray, float]:
    """Lowest corner (mm) and step (mm) of the grid on which coordinates are rounded."""
    points = triangles.corners.reshape(-1, 3)
    lows, highs = np.min(points, axis=0), np.max(points, axis=0)
    for tube in triangles.tubes:
        for end in _ends(tube):
            lows, highs = np.minimum(lows, end - tube.radius), np.maximum(highs, end + tube.radius)
    low = to_mm(lows)
    return low, float((to_mm(highs) - low).max() / STEPS)


def _placed(points: np.ndarray, low: np.ndarray, step: float) -> str:
    return _coded(np.rint((to_mm(points) - low) / step), "<u2")


def _coded(values: np.ndarray, kind: str) -> str:
    return base64.b64encode(np.ascontiguousarray(values).astype(kind).tobytes()).decode("ascii")


def _parts(
    triangles: SceneTriangles, low: np.ndarray, step: float, welds: Welds
) -> list[dict[str, Any]]:
    """Points and triangles of each part; faces of a part follow one another in the scene."""
    parts = []
    for number_, part in enumerate(triangles.parts):
        faces = np.flatnonzero(triangles.face_part == number_)
        corners = triangles.corners[faces].reshape(-1, 3)
        key = (len(faces), hash(np.round(triangles.areas[faces], 12).tobytes()))
        # Walls that face each other have equal areas, and their corners in another order.
        if key not in welds or not _fits(welds[key], corners):
            rounded = np.round(corners / SAME_PLACE)
            _, first, index = np.unique(rounded, axis=0, return_index=True, return_inverse=True)
            welds[key] = first, index.reshape(-1)
        first, index = welds[key]
        points = corners[first]
        wide = len(points) > np.iinfo(np.uint16).max
        parts.append(
            {
                "body": part.body,
                "name": part.name,
                "twoSided": part.two_sided,
                "first": int(faces[0]) if len(faces) else 0,
                "points": _placed(points, low, step),
                "wide": wide,
                "corners": _coded(index, "<u4" if wide else "<u2"),
            }
        )
    return parts


def _fits(weld: tuple[np.ndarray, np.ndarray], corners: np.ndarray) -> bool:
    """Whether a part's corners (corners, 3), m, are one where those of another part are."""
    first, index = weld
    return bool((np.abs(corners[first][index] - corners) < 2.0 * SAME_PLACE).all())


def _values(result: Result, case: str) -> dict[str, Any]:
    """Irradiance and its relative error of every judged face-side, in the order of the faces."""
    judged = result.triangles.judged
    found = light_codes(
        to_mW_cm2(result.cases[case].irradiance)[judged],
        to_mW_cm2(result.cases[case].standard_error)[judged],
    )
    return {
        "low": found.low,
        "span": found.span,
        "levels": LEVELS,
        "judged": judged_bits(result.triangles),
        "irradiance": _coded(found.irradiance, "<u2"),
        "errorLevels": ERROR_LEVELS,
        "errors": _coded(found.errors, "u1"),
    }


class LightCodes(NamedTuple):
    """Irradiance and its relative error of some face-sides as small whole numbers.

    Irradiance E is kept as 1 + round(LEVELS * log(E / low) / span), no light as 0, a relative
    error as ERROR_LEVELS times its square root, and as the whole of that from 1 on.
    """

    low: float
    span: float
    irradiance: np.ndarray
    errors: np.ndarray


def light_codes(values: np.ndarray, errors: np.ndarray) -> LightCodes:
    """Codes of irradiance (mW/cm2) and of its standard error, (face-sides,) each."""
    lit = values > 0.0
    low, high = (values[lit].min(), values[lit].max()) if lit.any() else (1.0, 1.0)
    span = max(float(np.log(high / low)), 1e-9)
    codes = np.zeros(len(values))
    codes[lit] = 1.0 + np.rint(LEVELS * np.log(values[lit] / low) / span)
    relative = np.clip(errors / np.where(lit, values, 1.0), 0.0, 1.0)
    return LightCodes(float(low), span, codes, np.rint(ERROR_LEVELS * np.sqrt(relative)))


def judged_bits(triangles: SceneTriangles) -> str:
    """Which face-sides are judged, a bit each (definition)."""
    return _coded(np.packbits(triangles.judged, bitorder="little"), "u1")


def colour_table() -> str:
    """The colours of the scale from its low end to its high one, 256 of three bytes."""
    from matplotlib import colormaps

    table = (255.0 * colormaps[COLOUR_MAP](np.arange(256) / 255.0)[:, :3]).round()
    return _coded(table, "u1")


def _scale_record(scale: DoseScale) -> dict[str, Any]:
    return {
        "quantity": scale.quantity,
        "unit": scale.unit,
        "low": scale.low,
        "high": scale.high,
        "logarithmic": scale.logarithmic,
        "colours": colour_table(),
        "bands": [[value, tick_words(value)] for value in band_limits(scale)],
        "marks": [list(mark) for mark in scale.marks],
        "wantingBelow": scale.marks[0][0] if scale.marks else 0.0,  # 0 stands for "no light"
        "wantingWords": scale.wanting_words,
    }


def band_limits(scale: DoseScale) -> list[float]:
    """Round values within the scale that divide it into three to ten bands (definition)."""
    if scale.logarithmic:
        decades = range(int(np.floor(np.log10(scale.low))), int(np.ceil(np.log10(scale.high))) + 1)
        for digits in ((1, 2, 5), (1, 3), (1,)):
            limits = [d * 10.0**power for power in decades for d in digits]
            inside = [v for v in limits if scale.low < v < scale.high]
            if len(inside) <= 9:
                return inside
        return inside[:9]
    from matplotlib.ticker import MaxNLocator

    ticks = MaxNLocator(8).tick_values(scale.low, scale.high)
    return [float(v) for v in ticks if scale.low < v < scale.high]


def _lamp_labels(triangles: SceneTriangles) -> list[dict[str, Any]]:
    """Name of each lamp, and the end of its tubes (mm) where the name is written."""
    labels = []
    for lamp, rating in enumerate(triangles.lamps):
        ends = [end for tube in triangles.tubes if tube.lamp == lamp for end in _ends(tube)]
        lowest = min(ends, key=lambda end: (end[2], *end))
        labels.append({"name": rating.name, "at": [float(x) for x in to_mm(lowest)]})
    return labels


def _ends(tube: LampTube) -> tuple[np.ndarray, np.ndarray]:
    return tube.start, tube.end


def _spot_record(spot: Spot) -> dict[str, Any]:
    return {
        "object": spot.object,
        "part": spot.part,
        "side": SIDES.index(spot.side),
        "face": spot.face,
        "at": [round(float(x), 2) for x in to_mm(spot.centroid)],
        "words": f"{spot.side}, {milliwatts(spot.irradiance)} mW/cm²",
    }
