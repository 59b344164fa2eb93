"""The study of shadows in words and tables, in common units."""

import math
from collections.abc import Iterable

from raysim.base.units import to_mm
from raysim.output.words.numbers import (
    OVER_A_WEEK,
    irradiance_words,
    milliwatts,
    number,
    place_words,
    told_time,
)
from raysim.output.words.readings import without_readings
from raysim.output.words.sentences import SO_DARK
from raysim.output.words.table import Table, table_of
from raysim.scene.triangles import untreated_words
from raysim.studies.shadows.remedies import Remedies, Remedy
from raysim.studies.shadows.run import Shadow, ShadowStudy
from raysim.studies.shadows.view import ITSELF_TURNED

MOST_HIDING = 3
WORTH_NAMING = 0.01  # share of the lines of sight
TOUCHING_MM = 0.3  # as in the check of contact
DOUBT = (
    "What helps was traced for that spot alone; another may then be darker: run 'raysim dose' on "
    "the changed scene before setting a timer."
)


def answer(study: ShadowStudy) -> str:
    """What to do about the spot that sets the timer."""
    if not study.tried:
        return f"The spot that sets the timer: {where(study.shadows[0])}."
    help_ = best_remedy(study.tried[0])
    if help_ is None:
        return (
            "None of the changes tried brings more light to the spot that sets the timer, beyond "
            "the noise: open its folds, keep its straps off it, or add a lamp on that side."
        )
    words = (
        f"What helps the spot that sets the timer most, of what was tried: {_help_words(help_)}."
    )
    return f"{words} Open its folds, or keep its straps off it." if help_.dark else words


def more_lines(study: ShadowStudy) -> tuple[str, ...]:
    """The spot and its time, what there is to doubt, and what the time leaves out."""
    untreated = untreated_words(study.result.untreated)
    written = study.result.written
    lines = (
        _spot_words(study),
        DOUBT if study.tried else "",
        without_readings(written) if written else "",
        untreated and f"{untreated}.",
    )
    return tuple(filter(None, lines))


def _spot_words(study: ShadowStudy) -> str:
    first = study.shadows[0]
    time = f"{told_time(study.result.calculated)} a cycle, calculated"
    if first.dark:
        time = SO_DARK
    elif not math.isfinite(study.result.calculated):
        time = "no time can be vouched for"
    light = irradiance_words(first.irradiance, first.error)
    return (
        f"That spot is {where(first)}: {light} mW/cm2 (cautious), {time}; {_hidden_words(first)}."
    )


def _help_words(remedy: Remedy) -> str:
    still = f", which leaves it too dark all the same ({OVER_A_WEEK})" if remedy.dark else ""
    return f"{remedy.what} ({_times(remedy.gain)}){still}"


def _times(gain: float) -> str:
    return f"{gain:.2f} times the light" if gain < float("inf") else "light where there was none"


def best_remedy(tried: Remedies) -> Remedy | None:
    """The change that helps most, if its gain is larger than its noise."""
    return next((r for r in tried.remedies if r.clear and r.gain > 1.0), None)


def where(shadow: Shadow) -> str:
    """A patch in words a person can find, with its size and place; one face has no size."""
    size = "" if shadow.worst else f"{number(1e4 * shadow.patch.area, 2)} cm2"
    return place_words(shadow.patch.centroid, shadow.place, size, units=shadow.units)


def _hidden_words(shadow: Shadow) -> str:
    names = [entry for entry in shadow.hiding.items() if entry[1] >= WORTH_NAMING][:2]
    if not names or shadow.seen > 0.9:
        return "it sees the lamps but lies far from them or at a grazing angle"
    parts = [_one_hiding(shadow, name, share) for name, share in names]
    return f"it sees {shadow.seen:.0%} of the lamps, {' and '.join(parts)}{_close_words(shadow)}"


def _close_words(shadow: Shadow) -> str:
    """What lies right in front of the patch, if anything."""
    if shadow.in_front is None:
        return ""
    millimetres = to_mm(shadow.in_front.distance)
    how = "touches" if millimetres < TOUCHING_MM else f"lies {millimetres:.1f} mm before"
    return f"; at its nearest it {how} {_whose(shadow, shadow.in_front.name)}"


def _one_hiding(shadow: Shadow, name: str, share: float) -> str:
    if name == ITSELF_TURNED:
        return f"{share:.0%} is lost because it faces away"
    return f"{share:.0%} is hidden by {_whose(shadow, name)}"


def _whose(shadow: Shadow, name: str) -> str:
    """A body and part in words, seen from the respirator that the patch is on."""
    thing = shadow.things.get(name)
    if thing is not None and thing.body == shadow.patch.body:
        return f"the respirator's own {thing.part or 'cloth'}"
    return f"the {thing.wall} wall" if thing is not None and thing.wall else name


def patch_words(study: ShadowStudy) -> tuple[str, ...]:
    """What counts as dark, and how much of it there is."""
    patches = len(study.shadows) - 1 + study.left_out
    found = f"{patches} patches, {number(1e4 * study.dark_area, 2)} cm2 in all"
    return (
        f"Dark: below {milliwatts(study.limit)} mW/cm2 in the cautious case (median of the "
        f"judged area {milliwatts(study.median)}); {found if patches else 'no patch is'}.",
    )


def help_words(study: ShadowStudy) -> tuple[str, ...]:
    """What helps the other patches, and the changes that are unclear or do not fit."""
    tried = enumerate(study.tried)
    return tuple(w for place, one in tried for w in _tried_lines(study.shadows[place], place, one))


def _tried_lines(shadow: Shadow, place: int, tried: Remedies) -> list[str]:
    """Changes that help the other patches, and changes that are unclear or do not fit."""
    lines, of = [], "" if place == 0 else f"Patch {place + 1}: "
    if place > 0:
        best = best_remedy(tried)
        found = _help_words(best) if best else "nothing of what was tried"
        lines.append(f"Patch {place + 1} ({where(shadow)}): this helps most: {found}.")
    unclear = [remedy.what for remedy in tried.remedies if not remedy.clear]
    if unclear:
        lines.append(f"{of}Cannot be told from no change: {'; '.join(unclear)}.")
    if tried.skipped:
        lines.append(f"{of}Does not fit in the box: {'; '.join(tried.skipped)}.")
    return lines


def patches_table(study: ShadowStudy) -> Table:
    """Dark patches: place, area, irradiance, extra time, what hides the lamps."""
    note = (
        "Cautious case. The first is the one face that sets the timer, as in 'raysim dose'. A "
        "patch is what lies together on one side and, averaged over 1 cm² about each face, below "
        "the limit; its mean was then traced backwards. Sight lines run to the near side of the "
        "tubes."
    )
    if study.left_out:
        note += f" {study.left_out} brighter patches are left out."
    return table_of(
        enumerate(study.shadows, 1),
        {
            "": lambda entry: str(entry[0]),
            "patch": lambda entry: (
                f"sets the timer: {where(entry[1])}" if entry[1].worst else where(entry[1])
            ),
            "what hides the lamps, share of all sight lines": lambda entry: _shares(
                list(entry[1].hiding.items())[:MOST_HIDING]
            ),
            "mean irradiance ± standard error, mW/cm²": lambda entry: irradiance_words(
                entry[1].irradiance, entry[1].error
            ),
            "time beyond that of the median": lambda entry: (
                OVER_A_WEEK if entry[1].dark else told_time(entry[1].extra_time)
            ),
            "lamps seen directly": lambda entry: f"{entry[1].seen:.0%}",
        },
        words=3,
        note=note,
    )


def _shares(hiding: Iterable[tuple[str, float]]) -> str:
    return "; ".join(f"{name} {share:.0%}" for name, share in hiding)


def blocking_table(study: ShadowStudy) -> Table:
    """Lamp by lamp for the spot that sets the timer: share seen, and what hides the rest."""
    return table_of(
        study.shadows[0].sights,
        {
            "lamp": lambda sight: sight.lamp,
            "hidden by": lambda sight: _shares(sight.hidden.items()) or "nothing",
            "seen": lambda sight: f"{sight.seen:.0%}",
        },
        words=2,
        note="Of the spot that sets the timer.",
    )


def remedies_table(study: ShadowStudy) -> Table:
    """Changes that were traced: irradiance of each patch after each, mW/cm2, and gain."""
    alone = len(study.tried) == 1
    return table_of(
        [(k, remedy) for k, tried in enumerate(study.tried, 1) for remedy in tried.remedies],
        {
            "change": lambda row: row[1].what if alone else f"patch {row[0]}: {row[1].what}",
            "verdict": lambda row: _verdict(row[1]),
            "the patch then, mW/cm²": lambda row: irradiance_words(row[1].irradiance, row[1].error),
            "gain ± standard error": lambda row: (
                f"{row[1].gain:.2f} ± {row[1].gain_error:.2f}"
                if math.isfinite(row[1].gain)
                else _times(row[1].gain)
            ),
        },
        words=2,
        note="The same random numbers before and after.",
    )


def _verdict(remedy: Remedy) -> str:
    if not remedy.clear:
        return "cannot be told from no change"
    if remedy.gain < 1.0:
        return "makes it darker"
    return f"helps, but it would still take {OVER_A_WEEK}" if remedy.dark else "helps"
