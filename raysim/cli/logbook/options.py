"""Shared by the sub-commands of `raysim log`: options, times, settings of a cycle."""

import math
import re
from collections.abc import Sequence
from datetime import date, datetime, time
from pathlib import Path
from typing import Any

import click

from raysim.base import units
from raysim.base.errors import RaysimError, printable
from raysim.cli.given import PLACE, TEXT, Read
from raysim.cli.groups import together
from raysim.cli.logbook.obeyed import obey, refuse_made_to_come
from raysim.logbook.cycles import Setting

DEFAULT_BOOK = "raysim-logbook.db"

BOOK = click.option(
    "--book",
    type=PLACE,
    default=DEFAULT_BOOK,
    envvar="RAYSIM_LOGBOOK",
    help="File of the logbook; also by the environment, RAYSIM_LOGBOOK.",
)
OPERATOR = click.option(
    "--operator", type=TEXT, required=True, help="Initials of whoever enters this."
)
NOTE = click.option(
    "--note", type=TEXT, default="", show_default=False, help="Anything worth keeping."
)
ENTRY = together(OPERATOR, NOTE, BOOK)
BOX = click.option(
    "--box",
    type=TEXT,
    help="Name of the box, the title of its scene; default: the only one in the logbook.",
)


# A time as raysim writes it, "4 h 32 min 01 s", and as on a clock, "14:20" or "4:32:01".
SPOKEN = re.compile(r"(?:(\d{1,4}) *h *)?(?:(\d{1,4}) *min *)?(?:(\d{1,6}) *s)?", re.ASCII)
CLOCK = re.compile(r"(?:(\d{1,3}):(?=[0-5]\d:))?(\d{1,6}):([0-5]\d)", re.ASCII)


def _time(text: str) -> float:
    """Seconds of "14 min", "860 s", "14:20", "4:32:01" or "4 h 32 min 01 s"."""
    whole = CLOCK.fullmatch(text.strip()) or SPOKEN.fullmatch(text.strip())
    try:
        if whole and any(whole.groups()):
            hours, minutes, seconds = (int(part or 0) for part in whole.groups())
            found = 3600.0 * hours + 60.0 * minutes + seconds
        else:
            found = units.parse_quantity(text.strip(), units.TIME)
    except ValueError as error:
        raise ValueError(f'{error}, or minutes and seconds as "14:20"') from None
    if not 0.0 <= found <= 7 * 86_400.0:
        raise ValueError(f'"{text}" is not a time from 0 to 7 days')
    return found


def _dose(text: str) -> float:
    """J/m2 of a dose such as "2.5 J/cm2"."""
    from raysim.scene.file.fields import LARGEST_DOSE

    found = units.parse_quantity(text, units.DOSE)
    if not 0.0 < found <= LARGEST_DOSE:
        raise ValueError(f'"{text}" is not a dose above zero that can be meant')
    return found


def _moment(text: str) -> datetime:
    """A local date and time, "2026-03-01 08:30", with the time zone of this machine."""
    try:
        return datetime.fromisoformat(text).astimezone()
    except (ValueError, OverflowError, OSError):
        raise ValueError(f'"{text}" is not a date and time such as "2026-03-01 08:30"') from None


TIME, DOSE, MOMENT = Read("time", _time), Read("dose", _dose), Read("moment", _moment)
AT = click.option("--at", type=MOMENT, help="When it happened, if not now: 'YYYY-MM-DD HH:MM'.")


def _figure(value: Any) -> float:
    """A number of a result file, which must be finite and not below zero."""
    if isinstance(value, bool) or not 0.0 <= value < math.inf:
        raise ValueError
    return float(value)


def setting_of_result(
    folder: Path, box: str | None, done: Sequence[str]
) -> tuple[Setting, float | None, datetime]:
    """Timer, box, scene and wear of a cycle, as `raysim dose` wrote them.

    Also up to how many lamp hours the timer holds, if the result says so, and since when no lamp
    may have been changed: its making, or the day of its reading.

    Raises
    ------
    RaysimError
        Where its verdict forbids the cycle, or asks for more than was `done`; where it is of
        another box than `box`.
    """
    from raysim.output.files.folder import RESULT_FILE, record_in

    try:
        record = record_in(folder / RESULT_FILE if folder.is_dir() else folder)
        obey(record, folder, done)
        scene, since = record["scene"], datetime.fromisoformat(record["made_at"])
        refuse_made_to_come(since, folder)
        day = record["verdict"]["holds_for"]["reading_date"]
        if day is not None:  # a lamp may have been changed before the reading on that day
            since = min(since, datetime.combine(date.fromisoformat(day), time.max).astimezone())
        parts = {part["part"]: part for part in (record.get("reuse") or {}).get("parts", [])}
        doses = [
            None if name not in parts else 10.0 * _figure(parts[name]["dose_per_cycle_mJ_cm2"])
            for name in ("facepiece", "straps")
        ]
        title, sha256 = (printable(str(scene[key])) for key in ("title", "sha256"))
        life = record.get("lamp_life")
        until = None if life is None else _figure(life["holds_until_h"])
        timer = _figure(record["verdict"]["timer_s"])
        if box is not None and box.strip().casefold() != title.strip().casefold():
            raise RaysimError(
                f'--box {box}: the result is of "{title}". Mend: leave --box out, or take the '
                "result of that box"
            )
        return Setting(title, timer, title, sha256, *doses), until, since
    except OSError as error:
        raise RaysimError(
            f"--result {folder}: cannot be read ({error.strerror}). Mend: name the folder that "
            "'raysim dose' wrote"
        ) from None
    except (ValueError, LookupError, TypeError, AttributeError, RecursionError, OverflowError):
        raise RaysimError(
            f"--result {folder}: not a result of 'raysim dose'. Mend: name the folder it wrote"
        ) from None
