"""From the tallies of a run to its result: photons and backward paths joined, every case judged."""

import numpy as np

from raysim.base.cases import CASES, CAUTIOUS, EXPECTED
from raysim.base.errors import Fault, Level
from raysim.base.fault_codes import Code
from raysim.dose.agreement import with_readings
from raysim.dose.dose_run import DoseRun
from raysim.dose.judge import CaseEstimate, judge_case
from raysim.dose.lamp_failures import LampTallies, lamp_failures, traced_by_lamp
from raysim.dose.poses_apart import with_worst
from raysim.dose.provenance import stated_assumptions
from raysim.dose.readings import MeterResult
from raysim.dose.result import CaseResult, EnergyAccount, Result
from raysim.estimate.bounds import CONFIDENCE
from raysim.estimate.darkness import found_dark
from raysim.estimate.refine import precise
from raysim.estimate.refinement import DECIDED
from raysim.version import __version__

LARGEST_LOST_SHARE = 1e-6


def assembled(
    run: DoseRun,
    *,
    seed: int,
    precision: float | None,
    meters: tuple[MeterResult, ...],
    warnings: tuple[Fault, ...],
    interrupted: bool,
    seconds: float,
) -> Result:
    """Join forward and backward estimates and judge every case."""
    state, scene = run.state, run.scene
    cases = {case: _case(run, number, precision) for number, case in enumerate(CASES)}
    told: tuple[Fault, ...] = ()
    if run.second is not None:
        told = (run.second.told(cases[CAUTIOUS], str(scene.name)),)
        cases = {k: run.second.applied(case, run.requirement) for k, case in cases.items()}
    by_lamp, error, refined, tallies = _joined(run)
    lamps = scene.triangles.lamps
    result = Result(
        title=scene.written.title,
        sha256=scene.sha256,
        scene_file=scene.name.as_posix(),
        raysim_version=__version__,
        seed=seed,
        triangles=scene.triangles,
        target_dose=run.requirement.dose,
        safety_factor=run.requirement.safety_factor,
        warm_up=run.requirement.warm_up,
        confidence=CONFIDENCE,
        photons=int(run.forward.photons.sum()),
        paths=state.paths * len(scene.poses),
        segments=run.forward.segments + state.rays,
        seconds=seconds,
        precision_asked=precision,
        lamp_irradiance=by_lamp,
        lamp_standard_error=error,
        refined=refined,
        cases=cases,
        meters=meters,
        warnings=(*warnings, *told, *_doubts(run, precision, interrupted)),
        interrupted=interrupted,
        assumptions=stated_assumptions(scene.written),
        written=scene.written,
        without=tuple(m.name for m, on in zip(lamps, run.left, strict=True) if not on),
        lamp_failures=lamp_failures(run, tallies, cases[CAUTIOUS].exposure_time),
        poses=with_worst(run, cases[CAUTIOUS].worst),
        untreated=scene.untreated or (),
    )
    return with_readings(result)


def _joined(run: DoseRun) -> tuple[np.ndarray, np.ndarray, np.ndarray, LampTallies]:
    """What photons and backward paths say together, by lamp.

    Returns irradiance and standard error (cases, lamps, faces, 2), W/m2, the face-sides (faces, 2)
    bool that paths were traced from, and the tallies of the cautious case.
    """
    state, sites = run.state, run.sites
    looked = np.flatnonzero(state.rounds > 0)
    faces, sides = sites.faces[looked], sites.sides[looked]
    traced = traced_by_lamp(run.backward, state.row[looked], 0, run.factors.shape)
    mean, path_error, covariance = traced
    by_lamp, error = run.by_lamp.copy(), np.sqrt(run.by_lamp_variance)
    for case, share in enumerate(state.share[:, looked]):  # one by one: copies take memory
        at = (slice(None), faces, sides)
        light, doubt = by_lamp[case], error[case]
        light[at] = (1.0 - share) * light[at] + share * mean[case].T
        doubt[at] = np.hypot((1.0 - share) * doubt[at], share * path_error[case].T)
    refined = np.zeros(by_lamp.shape[2:], bool)
    refined[faces, sides] = True
    counted, variance = (
        values[0][:, sites.faces, sites.sides] for values in (run.by_lamp, run.by_lamp_variance)
    )
    tallies = LampTallies(
        counted,
        variance,
        run.error,
        looked,
        mean[0],
        covariance,
        state.rounds[looked],
        state.reads[looked],
    )
    return by_lamp, error, refined, tallies


def _case(run: DoseRun, number: int, precision: float | None) -> CaseResult:
    state, at = run.state, (run.sites.faces, run.sites.sides)
    mean, error = run.counted.mean[number].copy(), np.sqrt(run.counted.variance[number])
    bound, even = np.zeros_like(mean), mean.copy()  # no bound is asked for of the unjudged
    mean[at], error[at] = state.mean[number], state.error[number]
    bound[at], even[at] = state.bound[number], state.even[number]
    sure = np.zeros(len(state.rounds), bool)  # sites known as well as asked
    if precision is not None and number < DECIDED:
        sure = precise(state, precision)[number]
    watts = run.lamp_watts * run.factors[number]
    return judge_case(
        run.scene.triangles,
        run.sites,
        CaseEstimate(mean, error, bound, even),
        run.requirement,
        name=CASES[number],
        lamp_factor=float(watts.sum() / run.lamp_watts.sum()),
        sure=sure,
        bright=state.bright,
        energy=_energy(run, number, watts),
    )


def _energy(run: DoseRun, number: int, watts: np.ndarray) -> EnergyAccount:
    per_photon = watts / run.forward.photons_by_case[number]
    bodies, fates = (
        (tally[number] * per_photon[:, None]).sum(axis=0)
        for tally in (run.forward.bodies(), run.forward.fates())
    )
    escaped, lost, odd = fates
    if run.scene.triangles.closed:
        lost, escaped = lost + escaped, 0.0
    names = [body.name for body in run.scene.triangles.bodies]
    return EnergyAccount(
        emitted=float(watts.sum()),
        absorbed=dict(zip(names, bodies.tolist(), strict=True)),
        escaped=float(escaped),
        lost=float(lost + odd),
    )


def _doubts(run: DoseRun, precision: float | None, interrupted: bool) -> list[Fault]:
    """What the run itself found doubtful."""
    found = []
    energy = _energy(run, CASES.index(EXPECTED), run.lamp_watts)
    if energy.lost > LARGEST_LOST_SHARE * energy.emitted:
        what = f"{energy.lost / energy.emitted:.2g} of the light was lost through cracks"
        mend = "look for holes, crossing walls or surfaces seen from behind"
        found.append((Code.LIGHT_LOST, "chamber", what, mend))
    if precision is not None and not run.state.reached and not interrupted:
        what, mend = (
            f"{precision:g} was not reached within the limits of the run; the bound, and so "
            "the timer, is on the long side",
            "give more --photons, or see whether the worst spot is in a closed fold",
        )
        if run.backward is not None and found_dark(run.backward, run.state).any():
            what, mend = (
                f"{precision:g} was not reached: the worst spot is so dark that it would take "
                "more than a week, and how much more was not looked for",
                "see whether it is in a closed fold, and bring more light there",
            )
        found.append((Code.PRECISION_NOT_REACHED, "precision", what, mend))
    return [
        Fault(code, str(run.scene.name), key, what, mend, Level.WARNING)
        for code, key, what, mend in found
    ]
