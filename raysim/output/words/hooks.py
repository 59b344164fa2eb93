"""The study of hooks in words: what to do, the one number, the one doubt; then the rest."""

import math
from functools import partial

from raysim.base.units import minutes_seconds
from raysim.output.words.numbers import (
    OVER_A_WEEK,
    about_time,
    length,
    length_words,
    number,
)
from raysim.output.words.readings import without_readings
from raysim.output.words.sentences import SO_DARK, too_dark_words
from raysim.scene.sides import sides_of
from raysim.studies.hooks.contestant import Fate
from raysim.studies.hooks.load import Hang
from raysim.studies.hooks.result import HookStudy, NumberResult, Ranked
from raysim.workshop.grid import grid_of

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


def measured(study: HookStudy) -> str:
    """What the three numbers of a hook point mean."""
    return " / ".join(sides_of(study.load.scene.triangles).measured)


def answer(study: HookStudy) -> str:
    """The one thing to do."""
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
    if is_now(study, best.best):
        them = "it where it hangs" if best.number == 1 else "them where they hang"
        better = "" if len(best.layouts) < 2 else ": no other place was shown to be better"
        return f"Leave {them}{better}."
    noun = "respirator" if best.number == 1 else "respirators"
    like = f' shaped like "{study.load.model.name}"' if _other_shapes(study) else ""
    return f"Hang {best.number} {noun}{like} as listed here and in best.toml."


def is_now(study: HookStudy, layout: Ranked) -> bool:
    """Whether a layout is that of the scene as it is (definition)."""
    return frozenset(layout.layout) == frozenset(study.load.now)


def more_lines(study: HookStudy) -> tuple[str, ...]:
    """The one number and the one doubt, then where each hook goes."""
    best = study.best
    if not math.isfinite(best.best.time):
        return tuple(filter(None, [*_dark_lines(best), _stopped(study)]))
    doubt = next(iter(doubts(study)), "")
    units = study.load.scene.triangles.units
    places = [f"Hook {k}: {place_words(hang, units)}" for k, hang in enumerate(best.best.layout, 1)]
    told = f"In {grid_of(units).name} {measured(study)}."
    return tuple(filter(None, (_time_line(best), doubt, told, *places)))


def page_lines(study: HookStudy) -> tuple[str, ...]:
    """The number and the doubt alone, where tables follow."""
    places = "Hook ", "In mm ", "In inches "
    return tuple(line for line in more_lines(study) if not line.startswith(places))


def _time_line(best: NumberResult) -> str:
    return (
        f"Exposure {layout_time(best.best)} (cautious case, from cold lamps), "
        f"{number(best.per_hour)} respirators per hour. Run 'raysim dose' on best.toml before "
        "setting a timer."
    )


def layout_time(layout: Ranked) -> str:
    """Its exposure time; without a bound an estimate, which has no seconds."""
    if layout.dark:
        return OVER_A_WEEK
    if layout.has_bound or not math.isfinite(layout.time):
        return minutes_seconds(layout.time)
    return f"about {about_time(layout.time)}"


def layout_title(place: int, number_: int) -> str:
    """Heading of a layout (definition)."""
    return f"Layout {place}: {number_} respirator{'s' if number_ > 1 else ''}"


def place_words(hang: Hang, units: str) -> str:
    """A hook point as `measured` says, in the unit of the scene, and its turn."""
    place = " / ".join(length(value, units) for value in hang.at)
    return f"{place}, turned {hang.turn:g}°" if hang.turn else place


def doubts(study: HookStudy) -> list[str]:
    """What qualifies the answer, the gravest first."""
    read = without_readings(study.load.scene.written)
    found = [_stopped(study), _touching(study), _other_shapes(study), read, _nearer_now(study)]
    return [*filter(None, [*found, _ties(study), _others(study.best)])]


def details(study: HookStudy) -> tuple[str, ...]:
    """All else that there is to say."""
    lines = [*doubts(study)[1:], _now_words(study), _hung_words(study)]
    if study.beyond is not None:
        lines.append(f"No layout of {study.beyond} was found that keeps clear.")
    if study.loading == 0.0:
        lines.append(
            "Respirators per hour leave out loading and unloading: give --loading, such as "
            '--loading "5 min"; more of them at a time then count for more.'
        )
    if any(one.number > 1 for one in study.numbers):
        lines.append(
            "Layouts of several were traced with all in place, but found by a greedy search with "
            "exchanges, and among even rows: a better one may have been missed."
        )
    return tuple(filter(None, lines))


def _dark_lines(result: NumberResult) -> list[str]:
    """Findings where no layout tried has a time."""
    lines = []
    if result.all_dark and result.best.worst is not None and result.best.estimate > 0.0:
        lines.append(too_dark_words(result.best.worst))
    if result.number == 1:
        lines.append("Tried was one respirator at a time; more of them bring no more light.")
    return lines


def _stopped(study: HookStudy) -> str:
    if not study.interrupted:
        return ""
    bound = "" if study.best.best.has_bound else "; its time is an estimate without a bound"
    return (
        f"This run was stopped before its end: {study.best.tried} layouts of {study.best.number} "
        f"were tried by then, a better one may be missing{bound}."
    )


def _touching(study: HookStudy) -> str:
    return f"In this layout {'; '.join(study.touching[:3])}." if study.touching else ""


def _hung_words(study: HookStudy) -> str:
    load, clear = study.load, study.clearances
    told = partial(length_words, units=load.scene.triangles.units)
    along = f" with {', '.join(entry.name for entry in load.along)}" if load.along else ""
    stays = ", ".join(entry.name for entry in load.stays)
    left = sum(study.no_room.values())
    why = "; ".join(f"{count} {reason}" for reason, count in study.no_room.most_common())
    words = (
        f"What was hung everywhere: {load.model.name}{along}"
        f"{f'; in the box stays {stays}' if stays else ''}. {len(study.points)} hook positions "
        f"that keep {told(clear.wall)} from walls, {told(clear.lamp)} from lamps and "
        f"{told(clear.other)} from all else were tried"
    )
    return f"{words} ({left} left out: {why})." if left else f"{words}."


def _other_shapes(study: HookStudy) -> str:
    """Judged objects of the scene that differ in shape from the one that was hung."""
    model = study.load.model
    judged = [entry for entry in study.load.scene.written.object if entry.judged]
    other = next((entry for entry in judged if entry.mesh != model.mesh), None)
    if other is None:
        return ""
    return (
        f'This holds for the shape of "{model.name}", hung everywhere; "{other.name}" has another: '
        f'try --hang "{other.name}" as well.'
    )


def _ties(study: HookStudy) -> str:
    """Which of the layouts shown differ from the best one by more than noise."""
    best, *others = study.best.layouts
    tied = " or ".join(str(k) for k, one in enumerate(others, 2) if not best.beats(one))
    if not tied:
        return ""
    if is_now(study, best):
        return f"Nor is it shown to be worse (95 % confidence) than layout {tied}."
    return (
        f"Layout 1 is not shown to be better (95 % confidence) than layout {tied}: take the one "
        "that is easiest to build."
    )


def _others(result: NumberResult) -> str:
    if result.tried < 2 or not math.isfinite(result.could_gain):
        return ""
    if result.could_gain <= 0.0:
        return f"It beats every other of the {result.tried} layouts tried (95 % confidence)."
    cut = max(100.0 * result.could_gain / (1.0 + result.could_gain), 0.1)
    return (
        f"None of the {result.tried} layouts of {result.number} tried could cut this time by more "
        f"than {cut:.2g} % (95 % confidence)."
    )


def _nearer_now(study: HookStudy) -> str:
    """The present load, where it hangs nearer than asked and is not shown to be worse."""
    now = study.best.now
    if now is None or not now.in_the_way or study.best.best.beats(now):
        return ""
    words = _now_time(study.best.number, now)
    return f"{words}; not chosen: it hangs nearer than asked ({now.in_the_way})."


def _now_words(study: HookStudy) -> str:
    """Result of the present hooks, if this number of respirators was asked for."""
    result = next((one for one in study.numbers if one.now is not None), None)
    if result is None or result.now is None or is_now(study, study.best.best):
        return ""
    words = _now_time(result.number, result.now)
    if result.number == study.best.number and study.best.best.beats(result.now):
        words += ", which is longer beyond the noise (95 % confidence)"
    return "" if _nearer_now(study) else f"{words}."


def _now_time(number_: int, now: Ranked) -> str:
    where = (
        "On the hook as it is now" if number_ == 1 else f"On the {number_} hooks as they are now"
    )
    if not math.isfinite(now.time):
        time = f"it would take {OVER_A_WEEK}" if now.dark else "no time can be vouched for"
        return f"{where} {time}"
    return f"{where} it would take {layout_time(now)}"
