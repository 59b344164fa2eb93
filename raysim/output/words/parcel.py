"""What is said of a parcel: what it holds, and whether its verdict comes out again."""

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from raysim.base.errors import printable
from raysim.base.units import minutes_seconds
from raysim.dose.result import Result
from raysim.dose.verdict_record import State
from raysim.output.words.cautions import CAUTIONS
from raysim.output.words.verdict import the_verdict

NO_VERDICT = "no verdict: it was shared without results"
RUN = ("raysim_version", "seed", "photons", "precision_asked", "without")


def recorded_words(verdict: Mapping[str, Any] | None) -> str:
    """State and timer (min and s) of a verdict record, as in result.json.

    Raises
    ------
    ValueError, LookupError, TypeError
        Where the record is none that raysim writes: what stands in a file is not believed.

    >>> recorded_words({"state": "ready", "timer_s": 90.0})
    'READY, timer 1 min 30 s'
    """
    if verdict is None:
        return NO_VERDICT
    state, timer = State(verdict["state"]), verdict["timer_s"]
    if timer is None:
        return f"{state.upper()}, no timer"
    if isinstance(timer, bool) or not 0.0 < timer < math.inf or state is State.DO_NOT_USE:
        raise ValueError(f"{timer!r} is no timer")
    return f"{state.upper()}, timer {minutes_seconds(timer)}"


def result_words(result: Result) -> str:
    """The same of a result."""
    timer = result.timer if math.isfinite(result.timer) else None
    return recorded_words({"state": the_verdict(result).state, "timer_s": timer})


def compared(manifest: Mapping[str, Any], result: Result, path: Path) -> str:
    """Whether state and timer in a parcel come out again, and if not, what may be the cause."""
    here = result_words(result)
    verdict = manifest.get("verdict")
    if verdict is None:
        return f"{path} holds {NO_VERDICT}"
    try:
        there = recorded_words(verdict)
        same_scene = verdict["holds_for"]["scene"] == result.sha256
    except (ValueError, LookupError, TypeError):
        return f"the verdict in {path} cannot be read; hold to the one computed here: {here}"
    if not same_scene:
        return f"the verdict in {path} is of another scene; hold to the one computed here: {here}"
    if there == here:
        return f"the verdict in {path} is the same: {there}"
    runs = "; ".join(_other_run(manifest, result))
    why = f"run it with the same numbers ({runs})" if runs else "ask whoever shared it"
    return (
        f"THE VERDICT DIFFERS from the one in {path}: there {there}; here {here}. Hold to the one "
        f"computed here; to know why, {why}"
    )


def _other_run(manifest: Mapping[str, Any], result: Result) -> list[str]:
    """In what the run of a parcel was another one."""
    there = manifest.get("run")
    there = there if isinstance(there, dict) else {}
    here = run_record(vars(result) | {"without": list(result.without)})
    return [
        f"{name} {printable(str(there.get(name)))[:40]} there, {value} here"
        for name, value in here.items()
        if there.get(name) != value
    ]


def run_record(record: Mapping[str, Any]) -> dict[str, Any]:
    """What two runs of one scene must share to come out alike, of the content of result.json."""
    return {name: record.get(name) for name in RUN}


def read_me(manifest: Mapping[str, Any], members: list[str]) -> str:
    """What whoever unpacks a parcel by hand should know first, as a text file."""
    lines = [
        f"{manifest['title']}",
        "",
        f"Shared by raysim {manifest['raysim_version']}. The scene is {manifest['scene']['file']}.",
        "Do not believe a timer that you have not computed again: raysim dose takes this zip file",
        "in place of a scene, and says whether the verdict in it comes out again.",
        "",
        *(f"  {name}" for name in sorted(members)),
        "",
    ]
    return "\n".join([*lines, *(f"{caution}\n" for caution in CAUTIONS)])


def shared_lines(manifest: Mapping[str, Any], path: Path) -> list[str]:
    """What was handed on: the file, the verdict in it, and how it is opened."""
    files = manifest["files"]
    size = sum(row["bytes"] for row in files) / 1e6
    return [
        f"{path} holds {len(files)} files, {size:.1f} MB unpacked; the scene in it has the hash "
        f"{manifest['scene']['sha256'][:12]}.",
        f"Its verdict: {recorded_words(manifest['verdict'])}.",
        "Whoever gets it types 'raysim dose' with the zip file in place of a scene.",
    ]
