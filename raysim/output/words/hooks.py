"""The study of hooks in words, in common units."""

import math

from raysim.base.units import minutes_seconds, to_mm
from raysim.output.words.numbers import OVER_A_WEEK, number
from raysim.output.words.sentences import SO_DARK, too_dark_words
from raysim.studies.hooks.light import Fate
from raysim.studies.hooks.result import HookStudy, NumberResult, Ranked

LIGHT = (
    "Open the folds, turn the respirator (--turn) or add a lamp; 'raysim shadows SCENE' says what "
    "hides it."
)
FATE_WORDS = {
    Fate.RACING: "",
    Fate.FINALIST: "finalist",
    Fate.WORSE: "shown to be worse",
    Fate.ASIDE: "set aside",
    Fate.TOO_DARK: "too dark",
}


def answer(study: HookStudy) -> str:
    """The sentence to act on."""
    best = study.best
    if best.all_dark and best.best.estimate > 0.0:
        return f"At no hook position will it do: everywhere the darkest spot is {SO_DARK}. {LIGHT}"
    if not math.isfinite(best.best.time):
        if best.best.estimate > 0.0:
            return (
                "At no hook position could this run vouch for any light at the darkest spot, "
                f"though it found some: it gets too little to be counted well. {LIGHT}"
            )
        return f"No hook position brings light to the darkest spot. {LIGHT}"
    noun = "respirator" if best.number == 1 else "respirators"
    it, hooks = ("it", "hook") if best.number == 1 else ("them", "hooks")
    words = (
        f"Hang {best.number} {noun}, the {hooks} at {places_words(best.best)}: exposure "
        f"{minutes_seconds(best.best.time)} (cautious case, from cold lamps), "
        f"{number(best.per_hour)} respirators per hour"
    )
    if best.now is not None and best.now.layout == best.best.layout:
        words = f"Leave {it} where {'it hangs' if best.number == 1 else 'they hang'}. {words}"
    return f"{words}. Run 'raysim dose' on best.toml before setting a timer."


def layout_title(place: int, number_: int) -> str:
    """Heading of a layout (definition)."""
    return f"Layout {place}: {number_} respirator{'s' if number_ > 1 else ''}"


def places_words(layout: Ranked) -> str:
    """Hook points in mm from left wall, door and floor."""
    groups = [" / ".join(f"{mm(value)}" for value in hang.at) for hang in layout.layout]
    turned = [f" turned {hang.turn:g}°" if hang.turn else "" for hang in layout.layout]
    joined = "; ".join(a + b for a, b in zip(groups, turned, strict=True))
    return f"{joined} mm (from the left wall / from the door / above the floor)"


def mm(value: float) -> str:
    """A length (m) in whole mm, or tenths where there are any."""
    return f"{round(float(to_mm(value)), 1):g}"


def more_lines(study: HookStudy) -> tuple[str, ...]:
    """Qualifications of the answer."""
    best = study.best
    lines = [_hung_words(study), _other_shapes(study)]
    if best.all_dark:
        return tuple(filter(None, [*_dark_lines(best), *lines]))
    lines += [_ties(best), _others(best), _now_words(study)]
    if len(study.numbers) > 1:
        lines.append(_number_words(study))
    if study.beyond is not None:
        lines.append(f"No layout of {study.beyond} was found that keeps clear.")
    if study.touching:
        lines.append(f"In this layout {'; '.join(study.touching[:3])}.")
    if study.loading == 0.0:
        lines.append(
            "Respirators per hour leave out loading and unloading: give --loading, such as "
            '--loading "5 min"; more of them at a time then count for more.'
        )
    if any(one.number > 1 for one in study.numbers):
        lines.append(
            "Layouts of several were traced with all in place, but found by a greedy search with "
            "exchanges: a better one may have been missed."
        )
    return tuple(filter(None, lines))


def _dark_lines(result: NumberResult) -> list[str]:
    """Findings where every layout tried is too dark."""
    lines = []
    if result.best.worst is not None and result.best.estimate > 0.0:
        lines.append(too_dark_words(result.best.worst))
    if result.number == 1:
        lines.append("Tried was one respirator at a time; more of them bring no more light.")
    return lines


def _hung_words(study: HookStudy) -> str:
    load, clear = study.load, study.clearances
    along = f" with {', '.join(entry.name for entry in load.along)}" if load.along else ""
    stays = ", ".join(entry.name for entry in load.stays)
    points, left = len(study.points), sum(study.no_room.values())
    why = "; ".join(f"{count} {reason}" for reason, count in study.no_room.most_common())
    words = (
        f"What was hung everywhere: {load.model.name}{along}"
        f"{f'; in the box stays {stays}' if stays else ''}. {points} of {points + left} hook "
        f"positions keep {mm(clear.wall)} mm from walls, {mm(clear.lamp)} mm from lamps and "
        f"{mm(clear.other)} mm from all else"
    )
    return f"{words} (left out: {why})." if left else f"{words}."


def _other_shapes(study: HookStudy) -> str:
    """Judged objects of the scene that differ in shape from the one that was hung."""
    model = study.load.model
    judged = [entry for entry in study.load.scene.written.object if entry.judged]
    other = next((entry for entry in judged if entry.mesh != model.mesh), None)
    if other is None:
        return ""
    return (
        f"{other.name} has another shape than {model.name}, which was hung in its place: try "
        f'--hang "{other.name}" as well.'
    )


def _ties(result: NumberResult) -> str:
    """Which of the layouts shown differ from the best one by more than noise."""
    if not result.pairs:
        return ""
    tied = [pair.second for pair in result.pairs if not pair.told_apart]
    if not tied:
        return "Layout 1 is better than each of the others shown (95 % confidence each)."
    return (
        f"Layout 1 and {' and '.join(tied)} cannot be told apart at this run's confidence (95 %): "
        "take the one that is easier to build."
    )


def _others(result: NumberResult) -> str:
    if result.tried < 2 or not math.isfinite(result.could_gain):
        return ""
    if result.could_gain <= 0.0:
        return f"It beats every other of the {result.tried} layouts tried (95 % confidence)."
    cut = max(100.0 * result.could_gain / (1.0 + result.could_gain), 0.1)
    dark = f", {result.dark} would take {OVER_A_WEEK}" if result.dark else ""
    return (
        f"No other layout of {result.number} that was tried ({result.tried} in all) could cut this "
        f"time by more than {cut:.2g} % (95 % confidence); {result.worse} were shown to be "
        f"worse, {result.aside} looked darker and were not followed further{dark}."
    )


def _now_words(study: HookStudy) -> str:
    """Result of the present hooks, if this number of respirators was asked for."""
    result = next((one for one in study.numbers if one.now is not None), None)
    if result is None or result.now is None or result.now.layout == study.best.best.layout:
        return ""
    about = "" if result.now.has_bound else "about "
    if not math.isfinite(result.now.time):
        time = f"it would take {OVER_A_WEEK}" if result.now.dark else "no time can be vouched for"
        return f"{_as_now(result.number)} {time}."
    words = f"{_as_now(result.number)} it would take {about}{minutes_seconds(result.now.time)}"
    if result.number != study.best.number:
        return f"{words}."
    if result.now_tied:
        return f"{words}, which this run cannot tell from the best."
    return f"{words}, which is longer beyond the noise (95 % confidence)."


def _as_now(number_: int) -> str:
    return "On the hook as it is now" if number_ == 1 else f"On the {number_} hooks as they are now"


def _number_words(study: HookStudy) -> str:
    parts = [
        f"{one.number}: {'too dark' if one.all_dark else number(one.per_hour)}"
        for one in study.numbers
    ]
    return f"Respirators per hour by how many hang at a time: {', '.join(parts)}."
