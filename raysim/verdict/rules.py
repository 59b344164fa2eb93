"""The rules of the verdict: each looks at one thing, and gives a reason or none."""

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime

from raysim.assess.reuse import reuse
from raysim.base.cases import CAUTIOUS
from raysim.base.fault_codes import Code
from raysim.base.units import UW_CM2_PER_W_M2, minutes_seconds, to_mm
from raysim.dose.agreement import with_times
from raysim.dose.result import Result
from raysim.dose.verdict_record import HoldsFor, Reason, Verdict, Why
from raysim.library.assumptions import assumptions
from raysim.scene.file.written import SceneAsWritten
from raysim.scene.triangles import untreated_words
from raysim.studies.leak.exposure_limits import permissible_time
from raysim.studies.leak.run import Leak
from raysim.verdict.of_readings import no_day, reading_reasons, too_old

MORE_LIGHT = "bring light to the worst-lit spot: 'raysim shadows' and 'raysim linings' show how"


def with_verdict(result: Result, leaks: Sequence[Leak] | None = None) -> Result:
    """The result with its verdict; one that forbids use leaves no timer.

    Parameters
    ----------
    result : Result
    leaks : sequence of Leak, optional
        Stray light of the gaps of the scene, of `leak.run.study`; None where it was not looked
        for.

    >>> import raysim
    >>> scene = raysim.load_scene("scenes/touching_wall.toml")
    >>> found = with_verdict(raysim.simulate(scene, photons=65_536))  # too few to vouch for a time
    >>> found.verdict.state.value, found.timer
    ('do not use', inf)
    """
    found = _verdict(replace(result, verdict=None), leaks)
    return with_times(replace(result, verdict=found))


def _verdict(result: Result, leaks: Sequence[Leak] | None) -> Verdict:
    """Every rule applied.

    Source: limits composed, each with its own source.
    """
    found = [*_time(result), *_wear(result), *reading_reasons(result), *_stray_light(result, leaks)]
    found += [*_run(result), *_lamps(result), *_touching(result), *_target(result)]
    reasons = tuple(sorted(found, key=lambda reason: not reason.code.forbids))
    forbidden = any(reason.code.forbids for reason in reasons)
    timer = math.inf if forbidden else result.timer
    now = datetime.now(UTC)
    gaps = tuple(leak.gap.name for leak in leaks or ())
    return Verdict(timer, result.calculated, reasons, replace(_holds_for(result), gaps=gaps), now)


def shift() -> float:
    """Length of a shift, s (stated assumption)."""
    return 3600.0 * assumptions()["shift_h"].value


def _time(result: Result) -> Iterator[Reason]:
    if result.readings is not None and not result.readings.agree:
        return  # the reading is the reason, and calculation may be right
    worst = result.cases[CAUTIOUS].worst
    if not math.isfinite(result.timer):
        says = f"no time can be vouched for: {worst.object} {worst.part} gets too little light"
        yield Reason(Why.NO_FINITE_TIME, says, _more_light(result), "light in the dark spot")
    elif result.timer > shift():
        says = f"one cycle takes longer than a shift of {shift() / 3600.0:g} h"
        yield Reason(Why.LONGER_THAN_A_SHIFT, says, _more_light(result), "more light")


def _more_light(result: Result) -> str:
    if result.interrupted:
        return "go on with the run (--resume)"
    if result.precision_asked is None:
        return "run again without --photons; if that gives no better time, " + MORE_LIGHT
    return MORE_LIGHT


def _wear(result: Result) -> Iterator[Reason]:
    found = reuse(result)
    if found is None or found.cycles > 0:
        return
    limits = ", ".join(f"{x.value} ({x.what})" for x in found.limits if x.cycles == 0)
    yield Reason(
        Why.NO_CYCLE_ALLOWED,
        f"by the limit of {limits} not even one cycle is allowed",
        "take the best-lit spot away from its lamp, and " + MORE_LIGHT,
        "more even light",
    )


def _stray_light(result: Result, leaks: Sequence[Leak] | None) -> Iterator[Reason]:
    written = result.written
    seams = written.seams if written else None
    mend = "seal it or make it a deeper rabbet, or keep people farther away"
    for name, light, error, where in [*_of_gaps(leaks), *_of_seams(written)]:
        time = permissible_time(light + 2.0 * error, result.safety_factor)
        if time < shift():
            says = (
                f"{name} lets {UW_CM2_PER_W_M2 * light:.3g} uW/cm2 out{where}: a bare eye may stay "
                f"{minutes_seconds(math.floor(time))} a day, less than a shift"
            )
            yield Reason(Why.LEAK_ABOVE_LIMIT, says, mend, "a tight seam")
    if seams is None:
        drawn = "only the gaps that are drawn were calculated, and " if leaks else ""
        what = f"{drawn}no seam was surveyed"
    elif no_day(seams.checked_on):
        what = f"the survey of the seams is of {seams.checked_on}, which has not come"
    elif too_old(seams.checked_on):
        what = f"the seams were surveyed on {seams.checked_on}, over a year ago"
    else:
        return
    yield Reason(
        Why.LEAK_NOT_CHECKED,
        f"light that gets out was not checked: {what}",
        "survey every seam (an ordinary white lamp inside, room dark; then a 254 nm meter outside) "
        "and enter what you found under [seams]",
        "a seam survey",
    )


def _of_gaps(leaks: Iterable[Leak] | None) -> Iterator[tuple[str, float, float, str]]:
    """Name, light and its error (W/m2), and place of each gap that was calculated."""
    for leak in leaks or ():
        place = f" {to_mm(leak.gap.distance):.0f} mm off the wall"
        yield f'gap "{leak.gap.name}"', leak.irradiance, leak.error, place


def _of_seams(written: SceneAsWritten | None) -> Iterator[tuple[str, float, float, str]]:
    if written is not None and written.seams is not None:
        yield "a seam, by the survey,", written.seams.highest, 0.0, ""


def _run(result: Result) -> Iterator[Reason]:
    if result.interrupted:
        says = "the run was broken off, and rests on what was traced until then"
        yield Reason(Why.RUN_INTERRUPTED, says, "go on with --resume", "the rest of the run")
        return
    asked, reached = result.precision_asked, result.cases[CAUTIOUS].precision
    unreached = any(fault.code is Code.PRECISION_NOT_REACHED for fault in result.warnings)
    if asked is not None and math.isfinite(result.timer) and (unreached or reached > asked):
        says = f"a precision of {asked:.1%} was asked for, and {reached:.1%} reached"
        mend = (
            f"run longer: more --photons with the same --precision {asked:g}; asking for less "
            "makes no time shorter"
        )
        yield Reason(Why.PRECISION_NOT_REACHED, says, mend, "a longer run")


def _lamps(result: Result) -> Iterator[Reason]:
    """Lamps past their rated life: what they still give is a guess."""
    rated = result.written.lamps_behaviour.rated_hours if result.written else math.inf
    old = [name for name, hours in _holds_for(result).lamps if hours > rated]
    if old:
        yield Reason(
            Why.LAMP_PAST_LIFE,
            f"lamp {' and '.join(old)} has burnt more than the {rated:g} h that it is rated for, "
            "and what it still gives is a guess",
            "change the lamp, and give its hours (0) in the scene",
            "a change of lamps",
        )


def _touching(result: Result) -> Iterator[Reason]:
    if not result.untreated:
        return
    yield Reason(
        Why.TOUCHING,
        untreated_words(result.untreated),
        "shift them in a [[pose]] of their own, lamps off meanwhile, or treat these spots another "
        "way",
        "another treatment of the spots that touch",
    )


def _target(result: Result) -> Iterator[Reason]:
    usual = 1e4 * assumptions()["target_dose_J_cm2"].value
    if result.target_dose < usual * (1.0 - 1e-9):
        yield Reason(
            Why.TARGET_BELOW_PRINT,
            f"the target, {result.target_dose / 10.0:.3g} mJ/cm2, is "
            f"{usual / result.target_dose:,.1f} times below the {usual / 10.0:,.0f} mJ/cm2 in "
            "print for respirators",
            'give dose = "1 J/cm2" under [target], or have whoever answers for it confirm it',
            "a word of whoever answers for the lower target",
        )


def _holds_for(result: Result) -> HoldsFor:
    points = result.written.meter if result.written else []
    days: list[date] = [p.read_on for p in points if p.reading is not None and p.read_on]
    lamps = tuple(
        (lamp.name, float(lamp.hours))
        for lamp in result.triangles.lamps
        if lamp.name not in result.without
    )
    seams = result.written.seams if result.written else None
    surveyed = None if seams is None else seams.checked_on
    return HoldsFor(result.sha256, lamps, min(days, default=None), surveyed)
