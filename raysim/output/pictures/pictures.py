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
from raysim.output.pictures.load import write_load
from raysim.output.pictures.object import object_panels
from raysim.output.pictures.page import Panel, write_page
from raysim.output.pictures.render import Canvas
from raysim.output.pictures.scale import DoseScale, dose_scale
from raysim.output.words.numbers import milliwatts, spot_words
from raysim.output.words.sentences import CASE_WORDS

OVERVIEW, OBJECT, WORST_OBJECT, CHART = "overview", "object", "worst object", "chart"
LOAD = "load"  # for the operator's card
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
    """Pictures (PNG): the dose map of the whole box, twice, and of each judged object; the load.

    Colours show the dose at the timer (mJ/cm2), or the irradiance (mW/cm2) where there is no
    finite timer setting, on one scale for all pictures.

    `numbers` says what to draw: 0 is the box, 1, 2, ... are the bodies of `drawn_bodies`; default
    is all. `folder` is made if it does not exist.
    """
    folder.mkdir(parents=True, exist_ok=True)
    scale, bodies = dose_scale(result, case), drawn_bodies(result, case)
    chosen = range(len(bodies) + 1) if numbers is None else numbers
    pictures = []
    with Canvas() as canvas:
        run = _Run(result, case, scale, canvas, folder)
        for number in chosen:
            pictures += [_object(run, bodies[number - 1])] if number else _overviews(run)
    return pictures


@dataclass(frozen=True)
class _Run:
    """What all pictures of a run are drawn from, on and into."""

    result: Result
    case: str
    scale: DoseScale
    canvas: Canvas
    folder: Path

    def picture(
        self, name: str, title: str, caption: str, kind: str, panels: list[Panel]
    ) -> Picture:
        """A page of views, written to its file."""
        timer = self.result.timer
        told = f"; timer {minutes_seconds(timer)}" if np.isfinite(timer) else ""
        below = f"{self.case} case: {CASE_WORDS[self.case]}{told}"
        write_page(self.folder / name, title, below, panels, self.scale)
        return Picture(self.folder / name, title, caption, kind)


def drawn_bodies(result: Result, case: str) -> list[int]:
    """Numbers of the judged objects that get a picture of their own: the worst-lit ones."""
    bodies = result.triangles.bodies
    worst = {spot.object: spot.irradiance for spot in result.cases[case].worst_per_object}
    judged = [k for k in result.triangles.judged_bodies if bodies[k].name in worst]
    return sorted(sorted(judged, key=lambda k: worst[bodies[k].name])[:MOST_OBJECTS])


def _overviews(run: _Run) -> list[Picture]:
    pictures, triangles = [], run.result.triangles
    panels = box_panels(triangles, run.scale, run.result.cases[run.case].worst, run.canvas)
    for (name, _), panel in zip(OVERVIEWS, panels, strict=True):
        caption = (
            "Walls nearest to you left out, lamps pale blue, all that is not judged grey. "
            f"{_colour_words(run)}"
        )
        if panel.mark is not None:
            hidden = " (behind something in this view: broken ring)" if panel.mark.hidden else ""
            caption += f" The ring marks the worst spot{hidden}."
        judged = len(triangles.judged_bodies)
        if judged > MOST_OBJECTS:
            caption += f" Of {judged} judged objects the {MOST_OBJECTS} worst-lit have a picture."
        file, title = f"box_{name.replace(' ', '_')}.png", f"The loaded box from the {name}"
        pictures.append(run.picture(file, title, caption, OVERVIEW, [panel]))
    load = run.folder / "load.png"
    write_load(triangles, run.canvas, load)
    caption = "What is judged, numbered as in the tally. Walls nearest to you left out."
    return [*pictures, Picture(load, "The load with its numbers", caption, LOAD)]


def _object(run: _Run, body: int) -> Picture:
    triangles, case = run.result.triangles, run.result.cases[run.case]
    name = triangles.bodies[body].name
    spot = next(s for s in case.worst_per_object if s.object == name)
    is_worst = name == case.worst.object
    words = "worst spot" if is_worst else "its worst spot"
    panels = object_panels(triangles, run.scale, body, spot=spot, words=words, canvas=run.canvas)
    title = name + (" (holds the worst spot of all)" if is_worst else "")
    caption = _spot_caption(spot) + (f" {_colour_words(run)}" if is_worst else "")
    kind = WORST_OBJECT if is_worst else OBJECT
    return run.picture(f"object_{body:03d}_{_plain(name)}.png", title, caption, kind, panels)


def _plain(name: str) -> str:
    """Name with letters, digits and underscores only, as part of a file name."""
    return re.sub(r"[^a-z0-9]+", "_", name.casefold()).strip("_")[:40] or "object"


def _colour_words(run: _Run) -> str:
    kind = "logarithmic" if run.scale.logarithmic else "linear"
    words = f"Colours: {run.scale.label}, {run.case} case, {kind} scale"
    if np.isfinite(run.result.timer):
        words += f", timer {minutes_seconds(run.result.timer)}."
        words += " The scale ends at the best-lit spot; what lies above it is counting noise."
    else:
        words += ". There is no timer setting, so no dose is shown."
    if run.scale.wanting.any():
        words += f" Hatched: {run.scale.wanting_words}."
    return words


def _spot_caption(spot: Spot) -> str:
    return (
        f"The ring marks the worst spot of this object: {spot_words(spot)}, "
        f"{milliwatts(spot.irradiance)} mW/cm² at full output. Pale grey: cloth that turns "
        "its other side to you."
    )
