"""Shared by the sub-commands of `raysim log`: options, times, settings of a cycle."""

import json
import math
import re
from datetime import datetime
from pathlib import Path
from typing import Any

import click

from raysim.base import units
from raysim.base.errors import RaysimError, printable
from raysim.cli.given import PLACE, TEXT
from raysim.cli.logbook.obeyed import obey
from raysim.logbook.cycles import Setting

DEFAULT_BOOK = "raysim-logbook.db"
LARGEST_RESULT = 50_000_000  # bytes of a result.json

BOOK = click.option(
    "--book",
    type=PLACE,
    default=DEFAULT_BOOK,
    envvar="RAYSIM_LOGBOOK",
    show_default=True,
    help="File of the logbook; also by the environment, RAYSIM_LOGBOOK.",
)
OPERATOR = click.option(
    "--operator", type=TEXT, required=True, help="Initials of whoever enters this."
)
NOTE = click.option("--note", type=TEXT, default="", help="Anything worth keeping.")
BOX = click.option("--box", type=TEXT, default="box", show_default=True, help="Name of the box.")


# A time as raysim writes it, "4 h 32 min 01 s", and as on a clock, "14:20" or "4:32:01".
SPOKEN = re.compile(r"(?:(\d{1,4}) *h *)?(?:(\d{1,4}) *min *)?(?:(\d{1,6}) *s)?", re.ASCII)
CLOCK = re.compile(r"(?:(\d{1,3}):(?=[0-5]\d:))?(\d{1,6}):([0-5]\d)", re.ASCII)


class _Time(click.ParamType):  # type: ignore[type-arg]
    """A duration: "14 min", "860 s", "14:20", "4:32:01" or "4 h 32 min 01 s"."""

    name = "time"

    def convert(self, value: Any, param: Any, ctx: Any) -> float:
        """Seconds."""
        if isinstance(value, float):
            return value
        text = str(value).strip()
        whole = CLOCK.fullmatch(text) or SPOKEN.fullmatch(text)
        try:
            if whole and any(whole.groups()):
                hours, minutes, seconds = (int(part or 0) for part in whole.groups())
                found = 3600.0 * hours + 60.0 * minutes + seconds
            else:
                found = units.parse_quantity(text, units.TIME)
        except ValueError as error:
            self.fail(f'{error}, or minutes and seconds as "14:20"', param, ctx)
        if not 0.0 <= found <= 7 * 86_400.0:
            self.fail(f'"{value}" is not a time from 0 to 7 days', param, ctx)
        return found


class _Dose(click.ParamType):  # type: ignore[type-arg]
    """A dose such as "2.5 J/cm2"."""

    name = "dose"

    def convert(self, value: Any, param: Any, ctx: Any) -> float:
        """J/m2."""
        from raysim.scene.file.fields import LARGEST_DOSE

        if isinstance(value, float):
            return value
        try:
            found = units.parse_quantity(str(value), units.DOSE)
        except ValueError as error:
            self.fail(str(error), param, ctx)
        if not 0.0 < found <= LARGEST_DOSE:
            self.fail(f'"{value}" is not a dose above zero that can be meant', param, ctx)
        return found


class _Moment(click.ParamType):  # type: ignore[type-arg]
    """A local date and time, "2026-03-01 08:30"."""

    name = "moment"

    def convert(self, value: Any, param: Any, ctx: Any) -> datetime:
        """The moment, with the time zone of this machine."""
        if isinstance(value, datetime):
            return value
        try:
            return datetime.fromisoformat(str(value)).astimezone()
        except (ValueError, OverflowError, OSError):
            self.fail(f'"{value}" is not a date and time such as "2026-03-01 08:30"', param, ctx)


TIME, DOSE, MOMENT = _Time(), _Dose(), _Moment()
AT = click.option("--at", type=MOMENT, help="When it happened, if not now: 'YYYY-MM-DD HH:MM'.")


def _record(file: Path) -> dict[str, Any]:
    """Content of a result file; pipes, devices and huge files are refused."""
    if file.exists() and (not file.is_file() or file.stat().st_size > LARGEST_RESULT):
        raise ValueError
    record = json.loads(file.read_text(encoding="utf-8"))
    if not isinstance(record, dict):
        raise ValueError
    return record


def _figure(value: Any) -> float:
    """A number of a result file, which must be finite and not below zero."""
    if isinstance(value, bool) or not 0.0 <= value < math.inf:
        raise ValueError
    return float(value)


def setting_of_result(folder: Path, box: str, done: str) -> tuple[Setting, str]:
    """Timer, scene and wear of a cycle, as `raysim dose` wrote them, and when it did.

    Raises
    ------
    RaysimError
        Where its verdict forbids the cycle, or asks for more than was `done`.
    """
    try:
        record = _record(folder / "result.json" if folder.is_dir() else folder)
        obey(record, folder, done)
        timer, scene = record["verdict"]["timer_s"], record["scene"]
        made_at = str(record["made_at"])
        datetime.fromisoformat(made_at)
        parts = {part["part"]: part for part in (record.get("reuse") or {}).get("parts", [])}
        doses = [
            None if name not in parts else 10.0 * _figure(parts[name]["dose_per_cycle_mJ_cm2"])
            for name in ("facepiece", "straps")
        ]
        title, sha256 = (printable(str(scene[key])) for key in ("title", "sha256"))
        return Setting(box, _figure(timer), title, sha256, *doses), made_at
    except OSError as error:
        raise RaysimError(
            f"--result {folder}: cannot be read ({error.strerror}). Mend: name the folder that "
            "'raysim dose' wrote"
        ) from None
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        raise RaysimError(
            f"--result {folder}: not a result of 'raysim dose'. Mend: name the folder it wrote"
        ) from None


def hours_of_result(folder: Path) -> float:
    """Lamp hours up to which the timer of a result holds; by default the rated life."""
    from raysim.library.tables import assumptions

    record = _record(folder / "result.json" if folder.is_dir() else folder)
    try:
        return _figure(record["lamp_life"]["holds_until_h"])
    except (ValueError, KeyError, TypeError):
        return assumptions()["rated_life_h"].value


def shown(moment: datetime) -> str:
    """A moment in the local time of this machine."""
    return moment.astimezone().strftime("%Y-%m-%d %H:%M")
