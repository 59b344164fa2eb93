"""The interactive map in the report: script, data and words, all inside the file.

The viewer is our own. Pages from exporters of 3-D scenes cannot find an object by its name, show no
value under the pointer, colour both sides of a sheet alike and cannot be used by keyboard.
"""

import base64
import hashlib
import json
import re
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

import numpy as np

from raysim.base.units import to_mJ_cm2, to_mm, to_mW_cm2
from raysim.dose.result import Result
from raysim.estimate.face_sides import weighted_percentile
from raysim.output.pages.map_data import map_record
from raysim.output.pictures.scale import dose_scale
from raysim.output.words.numbers import number
from raysim.output.words.sentences import NO_TIMER
from raysim.output.words.table import Table
from raysim.scene.triangles import SIDES

SCRIPTS = (
    *("map_vectors.js", "map_mesh.js", "map_draw.js", "map_turntable.js"),  # shared, ES modules
    *("map_legend.js", "map_page.js"),
)
_OF_MODULES = re.compile(r"(?m)^(import .*;\n|export )")
CONTROLS = "map_controls.js"
MOST_FACES = 250_000  # more faces would add more than some 5 MB to the page


@dataclass(frozen=True)
class MapBlock:
    """What the template needs: text of the script, its policy hash, the data, the table."""

    script: str
    policy: str
    data: str
    table: Table
    finds_room: bool


def map_block(result: Result, case: str) -> MapBlock:
    """Script, data and table of the map of one case; without data if the scene is too large."""
    fits = len(result.triangles.areas) <= MOST_FACES
    record = map_record(result, dose_scale(result, case), case) if fits else None
    return MapBlock(script(), policy(), json_in_script(record), sides_table(result, case), fits)


@cache
def script() -> str:
    """The viewer as one script without global names; what made modules of its files is left out."""
    folder = resources.files("raysim.output.pages").joinpath("templates")
    texts = [folder.joinpath(name).read_text(encoding="utf-8") for name in (*SCRIPTS, CONTROLS)]
    joined = _OF_MODULES.sub("", "\n".join(texts))
    return '(() => {\n"use strict";\n' + joined + "})();"


def policy() -> str:
    """Source expression of the Content-Security-Policy that lets this script run, and no other.

    Source: W3C, "Content Security Policy Level 3", hash-source.
    """
    digest = hashlib.sha256(script().encode("utf-8")).digest()
    return f"'sha256-{base64.b64encode(digest).decode('ascii')}'"


def json_in_script(record: Any) -> str:
    """JSON that is safe within <script>: its content cannot open or close a tag.

    Source: WHATWG HTML, "Restrictions for contents of script elements".
    """
    text = json.dumps(record, allow_nan=False, ensure_ascii=True, separators=(",", ":"))
    for sign in "<>&":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return text


def sides_table(result: Result, case: str) -> Table:
    """The map in numbers: each side of each judged object, cm2, mm, mW/cm2 and mJ/cm2."""
    triangles, values = result.triangles, to_mW_cm2(result.cases[case].irradiance)
    doses = to_mJ_cm2(result.dose_at_timer(case))
    target = to_mJ_cm2(result.target_dose)
    rows = []
    for body, entry in enumerate(triangles.bodies):
        for side, name in enumerate(SIDES):
            chosen = np.flatnonzero((triangles.face_body == body) & triangles.judged[:, side])
            if not len(chosen):
                continue
            areas, light, dose = triangles.areas[chosen], values[chosen, side], doses[chosen, side]
            darkest = chosen[light.argmin()]
            part = triangles.parts[triangles.face_part[darkest]].name
            place = ", ".join(f"{x:.0f}" for x in to_mm(triangles.centroids[darkest]))
            rows.append(
                (
                    f"{entry.name}, {name}",
                    f"{part or 'body'} at {place}",
                    number(1e4 * float(areas.sum())),
                    *(number(float(x)) for x in (light.min(), np.average(light, weights=areas))),
                    number(weighted_percentile(light, areas, 0.99)),
                    *_dose_words(dose, areas, float(target)),
                )
            )
    headings = (
        "side",
        "darkest face at x, y, z, mm",
        "area, cm²",
        "darkest, mW/cm²",
        "mean, mW/cm²",
        "99th percentile, mW/cm²",
        "dose of the darkest at the timer, mJ/cm²",
        "area below the target, cm²",
    )
    note = (
        f"{case.capitalize()} case at full output. Single faces carry counting errors. The 99th "
        "percentile is by area; the brightest single face of a side would be mostly noise."
    )
    return Table(headings, tuple(rows), 2, note)


def _dose_words(dose: np.ndarray, areas: np.ndarray, target: float) -> tuple[str, str]:
    """Least dose (mJ/cm2) of some face-sides and the area below the target, cm2; or no timer."""
    if not np.isfinite(dose).all():
        return NO_TIMER, NO_TIMER
    return number(float(dose.min())), number(1e4 * float(areas[dose < target].sum()))
