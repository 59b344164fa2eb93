"""Stray light in words and as a table; every figure says which kind it is."""

from collections.abc import Sequence

import numpy as np

from raysim.base.units import UW_CM2_PER_W_M2, minutes_seconds, to_mm
from raysim.library.assumptions import assumptions
from raysim.output.words.numbers import length_words, number, unit_of, xyz
from raysim.output.words.table import Row, Table, labelled, table_of
from raysim.scene.build import BuiltScene
from raysim.scene.rabbet import closing_step
from raysim.studies.leak.exposure_limits import DAY, EYE, SKIN, effective
from raysim.studies.leak.run import Leak, LeakStudy
from raysim.verdict.rules import shift

MEND = "Seal it or make it a deeper rabbet, or keep people farther away"
NOTHING = "Nothing is to be mended at the gaps that are drawn"
# Survey practice: Milonova et al. 2016 for the field of view [read]; the rest is common practice.
SURVEY = (
    "Survey every seam, the door and every hole at contact and at 0.3 m, at eye height, with a "
    "meter that resolves 0.05 uW/cm2; a bare sensor is the cautious one."
)
DOUBT = (
    "Doubt: seams that nobody drew are not in this figure; only a survey with a 254 nm meter says "
    "that the box is tight."
)
WHOLE_DAY = "a whole day"


def time_words(seconds: float) -> str:
    """A permissible time, rounded down to the second."""
    if seconds >= DAY:
        return WHOLE_DAY
    if seconds < 1.0:
        return "less than 1 s"
    return minutes_seconds(float(np.floor(seconds)))


def answer(study: LeakStudy) -> list[str]:
    """How long one may stay at the worst gap; the one thing to do; the one doubt."""
    worst = min(study.leaks, key=lambda leak: leak.times[0])
    time = worst.times[0]
    stay = "all day" if time >= DAY else f"{time_words(time)} a day"
    most = ", which lets most out of all," if len(study.leaks) > 1 else ""
    away = f"{length_words(worst.gap.distance, study.scene.triangles.units)} off it"
    return [
        f'A bare eye may stay {stay} {away}: gap "{worst.gap.name}"{most} lets '
        f"{_unweighted(worst)} uW/cm2 out.",
        f"{NOTHING if time >= shift() else MEND}.",
        DOUBT,
    ]


def rows(study: LeakStudy) -> list[Row]:
    """What is said of single gaps, of the pose and of the limits, under labels."""
    return [
        *labelled("gaps", gap_words(study.leaks)),
        *labelled("pose", pose_words(study)),
        *labelled("limits", limit_lines(study.scene)),
        ("survey", SURVEY),
    ]


def leak_table(study: LeakStudy) -> Table:
    """One row a gap: irradiance unweighted and effective, and how long a person may stay."""
    units = study.scene.triangles.units
    return table_of(
        study.leaks,
        {
            "gap": lambda leak: leak.gap.name,
            f"eye at x, y, z, {unit_of(units)}": lambda leak: ", ".join(xyz(leak.eye, units)),
            "unweighted 254 nm, uW/cm2": _unweighted,
            "effective, uW/cm2": lambda leak: _microwatts(effective(leak.irradiance)),
            "a day, eyes bare": lambda leak: time_words(leak.times[0]),
            "a day, eyes covered, skin bare": lambda leak: time_words(leak.times[1]),
        },
        words=2,
    )


def _unweighted(leak: Leak) -> str:
    light = _microwatts(leak.irradiance)
    return f"at most {light}" if leak.at_most else f"{light} ± {_microwatts(leak.error, 2)}"


def _microwatts(irradiance: float, figures: int = 3) -> str:
    return number(UW_CM2_PER_W_M2 * irradiance, figures)


def limit_lines(scene: BuiltScene) -> list[str]:
    """Where the permissible times come from."""
    factor = scene.written.target.safety_factor
    rows = [assumptions()[key] for key in (EYE, SKIN)]
    eye, skin = (f"{row.value:g} mJ/cm2 ({row.source}; {row.mark})" for row in rows)
    return [
        f"Limits in a day, unweighted 254 nm: eyes {eye}; skin {skin}. In effective terms half of "
        "that. Longer days get no larger dose.",
        f"Permissible times come from the irradiance plus two standard errors and are divided by "
        f"the safety factor {factor:g}. New lamps, high end of every reflectance; the brightest "
        "place found for an eye at the distance of the gap.",
    ]


def gap_words(found: Sequence[Leak]) -> list[str]:
    """Remarks on single gaps."""
    lines = []
    for leak in found:
        gap = leak.gap
        if leak.at_most:
            lines.append(
                f'"{gap.name}": no line of sight met any light. The figure is an upper bound: as '
                "if a lamp filled all that can be seen through the gap and of its walls."
            )
        if gap.step is not None and gap.step < closing_step(gap.width, gap.depth):
            closed = number(to_mm(closing_step(gap.width, gap.depth)))
            lines.append(
                f'"{gap.name}": lines of sight lead aslant through this rabbet; from a step of '
                f"{closed} mm on none does."
            )
    return lines


def pose_words(study: LeakStudy) -> list[str]:
    """Which one of several poses the load hangs in here; nothing for fewer."""
    if len(study.poses) < 2:
        return []
    own = study.scene.poses[0].name
    others = " and ".join(f'"{name}"' for name in study.poses if name != own)
    return [
        f'The load hangs as in pose "{own}". Another pose may let out more light: look at {others} '
        "as well (--pose), and go by the shortest time."
    ]
