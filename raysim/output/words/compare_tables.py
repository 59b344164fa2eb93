"""Tables of two results side by side."""

import math
from collections.abc import Callable, Sequence

from raysim.base.errors import printable
from raysim.base.units import minutes_seconds
from raysim.output.words.compare import (
    Record,
    an_hour,
    judged,
    target_words,
    verdict_words,
    worst,
)
from raysim.output.words.numbers import number
from raysim.output.words.table import Table
from raysim.scene.file.differences import Difference

BREAK = ".\u200b"  # where a key may be broken on a narrow page


def differences_table(found: Sequence[Difference]) -> Table:
    """Every key that differs, as it is written in both."""
    rows = tuple(
        (printable(row.key).replace(".", BREAK), printable(row.first), printable(row.second))
        for row in found
    )
    return Table(("key of the scene", "A", "B"), rows, words=3)


def side_by_side(
    first: Record,
    second: Record,
    costs: Sequence[Record | None],
    boxes: Sequence[tuple[str, str, str]] = (),
) -> Table:
    """Verdict, timer, worst spot, spread, what the boxes are, cost and run of both."""
    rows = [(label, cell(first), cell(second)) for label, cell in _CELLS.items()]
    rows[-1:-1] = [*boxes, ("cost, by the guide", _cost(costs[0]), _cost(costs[1]))]
    return Table(("", "A", "B"), tuple(rows), words=3)


def reasons_table(first: Record, second: Record) -> Table:
    """What keeps each from being ready, and how it is mended."""
    rows = [
        (letter, f"{printable(reason['says'])}. Mend: {printable(reason['mend'])}.")
        for letter, record in (("A", first), ("B", second))
        for reason in record["verdict"]["reasons"]
    ]
    return Table(("", "what has to be done"), tuple(rows), words=2)


def _time(seconds: float | None) -> str:
    return "none" if seconds is None else minutes_seconds(seconds)


def _calculated(verdict: Record) -> str:
    timer, calculated = verdict["timer_s"], verdict["calculated_s"]
    return "as the timer" if timer is not None and timer == calculated else _time(calculated)


def _light(value: float | None) -> str:
    return "not known" if value is None else number(value)


def _rounds(record: Record) -> str:
    reuse = record.get("reuse")
    if record["verdict"]["timer_s"] is None or not isinstance(reuse, dict):
        return "not known"
    cycles = "1 cycle" if reuse["cycles"] == 1 else f"{reuse['cycles']} cycles"
    return f"{cycles} at most, for {printable(str(reuse['binding']))}"


def _place(record: Record) -> str:
    spot = worst(record)
    words = (spot["object"], spot["part"], spot["side"], spot["place"])
    return ", ".join(printable(word) for word in words if word)


def _figure(key: str) -> Callable[[Record], str]:
    return lambda record: _light(record["cases"]["cautious"]["percentiles"].get(f"{key}_mW_cm2"))


def _worst_light(record: Record) -> str:
    light, error = (worst(record)[f"{key}_mW_cm2"] for key in ("irradiance", "standard_error"))
    if light is None or error is None:
        return "not known"
    return f"{number(light)} ± {number(error, 2)}"


def _even(record: Record) -> str:
    summary = record["cases"]["cautious"]["percentiles"]
    best, low = summary.get("best_mW_cm2"), summary.get("worst_mW_cm2")
    return "not known" if not best or not low else number(best / low)


def _lamps(record: Record) -> str:
    watts = math.fsum(lamp["uvc_W"] or 0.0 for lamp in record["lamps"])
    out = f", without {', '.join(map(printable, record['without']))}" if record["without"] else ""
    return f"{len(record['lamps'])}, together {number(watts)} W of UVC{out}"


def _cost(guide: Record | None) -> str:
    if guide is None:
        return "no guide of this scene with prices"
    blank = f", {guide['lines_without_price']} lines without a price"
    return (
        f"{number(guide['cost'])} {printable(str(guide['currency'] or ''))}"
        f"{blank if guide['lines_without_price'] else ''}"
    )


def _run(record: Record) -> str:
    asked = record["precision_asked"]
    precision = f"precision {asked:g}" if isinstance(asked, float) else "photons alone"
    stopped = ", BROKEN OFF" if record["interrupted"] else ""
    version = printable(str(record["raysim_version"]))
    counts = f"seed {record['seed']}, {record['photons']:,} photons"
    return f"raysim {version}, {counts}, {precision}{stopped}"


_CELLS: dict[str, Callable[[Record], str]] = {
    "verdict": lambda record: verdict_words(record["verdict"]),
    "timer": lambda record: _time(record["verdict"]["timer_s"]),
    "calculated, not to be set": lambda record: _calculated(record["verdict"]),
    "target": target_words,
    "judged objects": judged,
    "of them in an hour, by the timer alone": an_hour,
    "a respirator may go round": _rounds,
    "worst spot": _place,
    "light there, mW/cm2": _worst_light,
    "lower bound, mW/cm2": lambda record: _light(worst(record)["lower_bound_mW_cm2"]),
    "1 % get less than, mW/cm2": _figure("percentile_1"),
    "5 % get less than, mW/cm2": _figure("percentile_5"),
    "mean, mW/cm2": _figure("mean"),
    "best, mW/cm2": _figure("best"),
    "best over worst": _even,
    "lamps": _lamps,
    "run": _run,
}
