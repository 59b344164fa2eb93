"""The survey sheet: where to hold the head of the meter, with space to write."""

from collections.abc import Sequence

from raysim.output.pages.environment import rendered
from raysim.output.words import numbers, readings, survey
from raysim.scene.sides import sides_of
from raysim.studies.survey import Survey

# Steps: burn-in and a calibrated cosine head, makers' catalogues and CIE practice (from memory);
# drift below 1 % a minute and three repeats, common practice.
STEPS = (
    "Cover skin and eyes. Put the head in place with the lamps off, shut the box, read outside.",
    "Lamps burnt in for 100 h; switched on until the reading drifts by less than 1 % a minute.",
    "The box as it is used: loaded, shut. Note air temperature and mains voltage.",
    "Read each point three times, taking the head out and putting it back between.",
    "Write what you read, also where it looks wrong; fold the last columns back while you read.",
)


def sheet_page(found: Survey, more: Sequence[str] = ()) -> str:
    """The sheet as one self-contained HTML page (A4, landscape; mW/cm2).

    `more` are lines to stand below the table.
    """
    return rendered(
        "survey.html.j2",
        kind="Meter survey",
        title=found.scene.written.title,
        steps=STEPS,
        rows=found.rows,
        units=found.scene.triangles.units,
        sides=sides_of(found.scene.triangles),
        more=more,
        numbers=numbers,
        readings=readings,
        survey=survey,
    )
