"""Rows of the logbook as records for scripts; the names of the keys have the units."""

import json
from typing import Any

import click

from raysim.base.units import to_mJ_cm2
from raysim.logbook.cycles import Cycle, Setting
from raysim.logbook.lamps import LampAge
from raysim.logbook.respirators import RUNNING, Tally
from raysim.output.words.cautions import CAUTIONS

JSON = click.option("--json", "as_json", is_flag=True, help="Print JSON, and nothing else.")


def print_json(**record: Any) -> None:
    """Print a record, with the cautions, as JSON."""
    click.echo(json.dumps(record | {"cautions": CAUTIONS}, indent=2, ensure_ascii=False))


def setting_record(setting: Setting) -> dict[str, Any]:
    """Setting of a cycle; doses are those of the best-lit face, null if unknown."""
    doses = (setting.dose, setting.strap_dose)
    dose, strap = (None if dose is None else to_mJ_cm2(dose) for dose in doses)
    return {
        "box": setting.box,
        "timer_s": setting.timer,
        "scene": {"title": setting.scene, "sha256": setting.scene_sha256},
        "dose_mJ_cm2": dose,
        "strap_dose_mJ_cm2": strap,
    }


def cycle_record(cycle: Cycle) -> dict[str, Any]:
    """One cycle as it stands after corrections; times in ISO 8601 with the zone.

    The running time of a cycle that has not ended is null.
    """
    return {
        "cycle": cycle.number,
        "started": cycle.started.isoformat(),
        "operator": cycle.operator,
        **setting_record(cycle.setting),
        "respirators": list(cycle.codes),
        "outcome": cycle.outcome,
        "ran_s": None if cycle.outcome == RUNNING else cycle.ran,
        "note": cycle.note,
    }


def tally_record(tally: Tally) -> dict[str, Any]:
    """A respirator's cycles and doses against its limits."""
    kept = tally.respirator
    return {
        "respirator": kept.code,
        "owner": kept.owner,
        "model": kept.model,
        "state": kept.state,
        "cycles_ended": tally.ended,
        "cycles_running": tally.running,
        "cycles_broken_off": tally.interrupted,
        "cycles_of_unknown_dose": tally.unknown,
        "donnings_limit": kept.donnings_limit,
        "cycles_limit": kept.cycles_limit,
        "dose_mJ_cm2": to_mJ_cm2(tally.dose),
        "dose_limit_mJ_cm2": to_mJ_cm2(kept.dose_limit),
        "strap_dose_mJ_cm2": to_mJ_cm2(tally.strap_dose),
        "strap_dose_limit_mJ_cm2": to_mJ_cm2(kept.strap_dose_limit),
        "limits_passed": tally.reached(),
        "limits_passed_by_one_more": tally.reached(cycles=1),
    }


def lamp_record(lamp: LampAge, rated_hours: float) -> dict[str, Any]:
    """A lamp in place and its hours so far."""
    return {
        "box": lamp.box,
        "lamp": lamp.name,
        "hours": lamp.hours,
        "rated_hours": rated_hours,
        "cycles": lamp.cycles,
        "since": lamp.since.isoformat(),
    }
