"""The study of lamps in words: what to do, the one number, the proof; then the rest."""

import math
from functools import partial

from raysim.base.units import minutes_seconds
from raysim.output.words.numbers import length, length_words, number, told_time
from raysim.output.words.readings import without_readings
from raysim.output.words.sentences import SO_DARK
from raysim.scene.sides import sides_of
from raysim.studies.lamps.places import Place
from raysim.studies.lamps.result import LampCount, LampStudy
from raysim.workshop.grid import grid_of

HELP = (
    "Open the folds, turn the load, or give other places (--at); 'raysim shadows SCENE' says why."
)
ERRORS = 2.0  # standard errors by which the present lamps must fall short


def answer(study: LampStudy) -> str:
    """The one thing to do."""
    best = study.best
    if not math.isfinite(best.best.time):
        return f"With {lamps(best.number)} the darkest spot stays {SO_DARK}. {HELP}"
    if is_as_many(study) and not beats_now(study):
        return f"Leave the {lamps(best.number)} where they are: no choice was shown to be better."
    return f"Put {lamps(best.number)} as listed here and in best.toml."


def lamps(count: int) -> str:
    """A number of lamps (definition)."""
    return f"{count} lamp{'s' if count > 1 else ''}"


def is_as_many(study: LampStudy) -> bool:
    """Whether the answer tells of as many lamps as the scene has (definition)."""
    return study.now is not None and len(study.now.scene.written.lamp) == study.number


def beats_now(study: LampStudy) -> bool:
    """Whether the best choice is shown to be better than the lamps as they are (definition)."""
    if study.now is None:
        return True
    now = study.now.worst
    return study.best.best.worst.lower_bound > now.irradiance + ERRORS * now.standard_error


def more_lines(study: LampStudy) -> tuple[str, ...]:
    """The one number, the proof and the present lamps, then where each lamp goes."""
    best, units = study.best, study.scene.triangles.units
    if not math.isfinite(best.best.time):
        return tuple(filter(None, [proof(study, best), *doubts(study)]))
    places = [
        f"Lamp {k}: {place_words(study.places[place], units)}"
        for k, place in enumerate(best.choices[0], 1)
    ]
    told = [_time_line(study), proof(study, best), equals(study), now_words(study)]
    told += [_all_numbers(study)]
    told += doubts(study)[:2]
    told += [f"Arcs, in {grid_of(units).name} {measured(study)}.", *places]
    return tuple(filter(None, told))


def page_lines(study: LampStudy) -> tuple[str, ...]:
    """The same without places, where tables follow."""
    return tuple(x for x in more_lines(study) if not x.startswith(("Lamp ", "Arcs, ")))


def measured(study: LampStudy) -> str:
    """What the three numbers of a place mean."""
    return " / ".join(sides_of(study.scene.triangles).measured)


def place_words(place: Place, units: str) -> str:
    """A place: the ends of the arc in the unit of the scene, and which lamp."""
    ends = (" / ".join(length(value, units) for value in end) for end in (place.start, place.end))
    return f"{' to '.join(ends)} ({place.kind.name})"


def _time_line(study: LampStudy) -> str:
    best = study.best.best
    each = best.time / max(study.respirators, 1)
    return (
        f"Exposure {minutes_seconds(best.time)} (cautious case, from cold lamps), "
        f"{number(each / 60.0)} minutes a respirator. Run 'raysim dose' on best.toml before "
        "setting a timer."
    )


def _all_numbers(study: LampStudy) -> str:
    """Times by number of lamps."""
    if len(study.numbers) < 2:
        return ""
    times = (f"{one.number}: {told_time(one.best.time)}" for one in study.numbers)
    return f"By number of lamps, {'; '.join(times)}."


def proof(study: LampStudy, one: LampCount) -> str:
    """How much better any other choice could be."""
    among = f"No choice of {one.number} among these {len(study.places)} places"
    if not math.isfinite(one.could_gain):
        return f"How much better another choice of {one.number} could be was not shown."
    share = max(100.0 * one.could_gain, 0.1)
    return (
        f"{among}, tubes neither blocking nor reflecting, can give the darkest spot more than "
        f"{number(share, 2)} % more light than this one is shown to give (95 % confidence)."
        f"{_taken(one)}"
    )


def _taken(one: LampCount) -> str:
    """What its own tubes take, which is part of the share that any other could gain."""
    share = 100.0 * one.taken
    if not math.isfinite(share) or share < 1.0:
        return ""
    return f" Without its tubes in the way it would be {share:.0f} % more: part of this share."


def equals(study: LampStudy) -> str:
    """Which of the choices shown cannot be told from the best one."""
    best, *others = study.best.traced
    alike = [
        f"choice {place}"
        for place, one in enumerate(others, 2)
        if best.worst.lower_bound <= one.worst.irradiance + ERRORS * one.worst.standard_error
    ]
    if not alike:
        return ""
    return (
        f"{' and '.join(alike).capitalize()} cannot be told from it: take what is easier to build."
    )


def now_words(study: LampStudy) -> str:
    """The lamps of the scene as they are."""
    if study.now is None:
        return ""
    count = len(study.now.scene.written.lamp)
    verb = "is" if count == 1 else "are"
    if not math.isfinite(study.now.time):
        return f"For the {lamps(count)} as now no time can be vouched for."
    return f"As the {lamps(count)} {verb} now it takes {minutes_seconds(study.now.time)}."


def doubts(study: LampStudy) -> list[str]:
    """What qualifies the answer, the gravest first."""
    stopped = ""
    if study.interrupted:
        stopped = (
            "This run was stopped before its end: some numbers of lamps are missing, and a better "
            "choice may be."
        )
    poses = ""
    if study.other_poses:
        poses = (
            f"Places were chosen for the pose {pose_of(study)} alone, of {1 + study.other_poses}: "
            "run 'raysim dose' on best.toml, which counts them all, and try --pose."
        )
    return [*filter(None, [stopped, poses, without_readings(study.scene.written)])]


def pose_of(study: LampStudy) -> str:
    """The pose that was looked at, in quotation marks (definition)."""
    return f'"{study.scene.poses[0].name}"'


def details(study: LampStudy) -> tuple[str, ...]:
    """All else that there is to say."""
    clear, told = study.clearances, partial(length_words, units=study.scene.triangles.units)
    left = "; ".join(f"{count} {why}" for why, count in study.no_room.most_common())
    grid = f" on a grid of {told(study.spacing)}" if study.spacing else ""
    lines = [
        *doubts(study)[2:],
        f"{len(study.places)} places{grid} that keep {told(clear.wall)} from walls but for "
        f"their ends, {told(clear.door)} from the door, {told(clear.load)} from the load, "
        f"{told(clear.other)} from all else, and {told(clear.lamps)} from lamp to lamp, with "
        f"room for caps and sockets{f' (left out: {left})' if left else ''}. How a lamp is held "
        "there is for the builder.",
        "Choices were searched with lamps as sources alone, the best of them judged with "
        "tubes in the way, and what is shown was traced so in full; a better choice of the same "
        "places may have been missed, by no more than the share above. Other places may be better "
        "still.",
    ]
    if any(place.kind.lamp.uvc is not None for place in study.places):
        lines.append("Watts are as in the scene, or the low end of catalogues: lamps may differ.")
    return tuple(lines)
