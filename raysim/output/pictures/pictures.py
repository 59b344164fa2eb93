"""Pictures of the loaded box and of each judged object, coloured by dose or irradiance."""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from raysim.base.cases import CAUTIOUS
from raysim.base.units import minutes_seconds
from raysim.dose.result import Result, Spot
from raysim.output.pictures.box import OVERVIEWS, box_panels
from raysim.output.pictures.object import object_panels
from raysim.output.pictures.page import write_page
from raysim.output.pictures.render import Canvas
from raysim.output.pictures.scale import DoseScale, dose_scale
from raysim.output.words.numbers import milliwatts, spot_words
from raysim.output.words.sentences import CASE_WORDS

OVERVIEW, OBJECT, WORST_OBJECT, CHART = "overview", "object", "worst object", "chart"
MOST_OBJECTS = 24  # pictures of single objects, the worst-lit ones


@dataclass(frozen=True)
class Picture:
    """A picture file with its title and caption; `kind` is one of those named above."""

    file: Path
    title: str
    caption: str
    kind: str


def write_pictures(
    result: Result, folder: Path, case: str = CAUTIOUS, numbers: Iterable[int] | None = None
) -> list[Picture]:
    """Pictures (PNG) of the dose map: two of the whole box, one of each judged object.

    Colours show the dose at the timer (mJ/cm2), or the irradiance (mW/cm2) where there is no
    finite timer setting, on one scale for all pictures.

    Parameters
    ----------
    result : Result
    folder : Path
        Made if it does not exist.
    case : str
        "cautious", "expected" or "bright".
    numbers : iterable of int, optional
        What to draw: 0 is the box, 1, 2, ... are the bodies of `drawn_bodies`. Default: all.
    """
    folder.mkdir(parents=True, exist_ok=True)
    scale = dose_scale(result, case)
    bodies = drawn_bodies(result, case)
    chosen = range(len(bodies) + 1) if numbers is None else numbers
    pictures = []
    with Canvas() as canvas:
        for number in chosen:
            if number == 0:
                pictures += _overviews(result, case, scale, canvas, folder)
            else:
                pictures.append(
                    _object(result, case, scale, canvas, folder=folder, body=bodies[number - 1])
                )
    return pictures


def drawn_bodies(result: Result, case: str) -> list[int]:
    """Numbers of the judged objects that get a picture of their own: the worst-lit ones."""
    bodies = result.triangles.bodies
    worst = {spot.object: spot.irradiance for spot in result.cases[case].worst_per_object}
    judged = [k for k, body in enumerate(bodies) if body.judged and body.name in worst]
    return sorted(sorted(judged, key=lambda k: worst[bodies[k].name])[:MOST_OBJECTS])


def _overviews(
    result: Result, case: str, scale: DoseScale, canvas: Canvas, folder: Path
) -> list[Picture]:
    pictures = []
    panels = box_panels(result.triangles, scale, result.cases[case].worst, canvas)
    for (name, _), panel in zip(OVERVIEWS, panels, strict=True):
        title = f"The loaded box from the {name}"
        file = folder / f"box_{name.replace(' ', '_')}.png"
        write_page(file, title, _case_words(result, case), [panel], scale)
        caption = (
            "Walls nearest to you left out, lamps pale blue, all that is not judged grey. "
            f"{_colour_words(result, scale, case)}"
        )
        if panel.mark is not None:
            hidden = " (behind something in this view: broken ring)" if panel.mark.hidden else ""
            caption += f" The ring marks the worst spot{hidden}."
        judged = sum(body.judged for body in result.triangles.bodies)
        if judged > MOST_OBJECTS:
            caption += f" Of {judged} judged objects the {MOST_OBJECTS} worst-lit have a picture."
        pictures.append(Picture(file, title, caption, OVERVIEW))
    return pictures


def _object(
    result: Result, case: str, scale: DoseScale, canvas: Canvas, *, folder: Path, body: int
) -> Picture:
    name = result.triangles.bodies[body].name
    spot = next(s for s in result.cases[case].worst_per_object if s.object == name)
    is_worst = name == result.cases[case].worst.object
    words = "worst spot" if is_worst else "its worst spot"
    panels = object_panels(result.triangles, scale, body, spot=spot, words=words, canvas=canvas)
    title = name + (" (holds the worst spot of all)" if is_worst else "")
    file = folder / f"object_{body:03d}_{_plain(name)}.png"
    write_page(file, title, _case_words(result, case), panels, scale)
    caption = _spot_caption(spot) + (" " + _colour_words(result, scale, case) if is_worst else "")
    return Picture(file, title, caption, WORST_OBJECT if is_worst else OBJECT)


def _plain(name: str) -> str:
    """Name with letters, digits and underscores only, as part of a file name."""
    return re.sub(r"[^a-z0-9]+", "_", name.casefold()).strip("_")[:40] or "object"


def _case_words(result: Result, case: str) -> str:
    timer = f"; timer {minutes_seconds(result.timer)}" if np.isfinite(result.timer) else ""
    return f"{case} case: {CASE_WORDS[case]}{timer}"


def _colour_words(result: Result, scale: DoseScale, case: str) -> str:
    kind = "logarithmic" if scale.logarithmic else "linear"
    words = f"Colours: {scale.label}, {case} case, {kind} scale"
    if np.isfinite(result.timer):
        words += f", timer {minutes_seconds(result.timer)}."
        words += " The scale ends at the best-lit spot; what lies above it is counting noise."
    else:
        words += ". There is no finite timer setting, so no dose can be shown."
    if scale.wanting.any():
        words += f" Hatched: {scale.wanting_words}."
    return words


def _spot_caption(spot: Spot) -> str:
    return (
        f"The ring marks the worst spot of this object: {spot_words(spot)}, "
        f"{milliwatts(spot.irradiance)} mW/cm² at full output. Pale grey: cloth that turns "
        "its other side to you."
    )
