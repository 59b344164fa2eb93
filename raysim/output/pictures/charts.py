"""Charts: how the dose is spread over the judged area, and how it grows with time."""

from pathlib import Path
from typing import Any

import numpy as np

from raysim.base.cases import BRIGHT, CAUTIOUS, EXPECTED
from raysim.base.units import minutes_seconds, to_mJ_cm2
from raysim.dose.result import Result
from raysim.output.pictures.figure import BLANK, INK, beside, new_figure, save_figure
from raysim.output.pictures.pictures import CHART, Picture
from raysim.output.pictures.scale import DoseScale, dose_scale, tick_words
from raysim.output.words.numbers import number
from raysim.scene.triangles import INSIDE, OUTSIDE, SIDES

WIDTH, HEIGHT = 1200, 640  # px
LETTERS_ACROSS = 80  # all names of poses in one line
TARGET_INK, BLUE, GREY = "#96141e", "#0b62a8", "#6b727b"


def write_charts(result: Result, folder: Path) -> list[Picture]:
    """Charts (PNG): share of the judged area against dose, and dose of the worst spot in time."""
    folder.mkdir(parents=True, exist_ok=True)
    charts = [_spread_chart(result, folder / "chart_spread.png")]
    if np.isfinite(result.timer):
        chart = _cycle_chart if result.poses else _time_chart
        charts.append(chart(result, folder / "chart_time.png"))
    return charts


def area_receiving(values: np.ndarray, areas: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Values in rising order, and the share of the area that receives at least that (definition).

    Parameters
    ----------
    values, areas : (n,) float64
        One entry per face-side; the unit of `values` is kept, areas in m2.
    """
    order = np.argsort(values)
    below = np.cumsum(areas[order]) - areas[order]
    return values[order], 1.0 - below / areas.sum()


def _spread_chart(result: Result, path: Path) -> Picture:
    scale, judged = dose_scale(result, CAUTIOUS), result.triangles.judged
    figure, axes = _axes()
    curves = [(CAUTIOUS, judged, "all judged faces", "-", INK, 3.0)]
    for side, colour in ((OUTSIDE, "#d98200"), (INSIDE, BLUE)):
        if judged[:, side].any():
            alone = judged & (np.arange(2) == side)
            curves.append((CAUTIOUS, alone, f"{SIDES[side]} only", "-", colour, 1.6))
    for case, style in ((EXPECTED, "--"), (BRIGHT, ":")):
        curves.append((case, judged, "all judged faces", style, GREY, 2.0))
    areas = np.repeat(result.triangles.areas[:, None], 2, axis=1)
    for case, faces, words, style, colour, width in curves:
        x, share = area_receiving(dose_scale(result, case).values[faces], areas[faces])
        every = np.unique(np.linspace(0, len(x) - 1, 2000).astype(int))
        label = f"{case}: {words}"
        axes.plot(x[every], share[every], style, color=colour, lw=width, label=label)
    if scale.logarithmic:
        axes.set_xscale("log")
    timer = f" ({minutes_seconds(result.timer)})" if np.isfinite(result.timer) else ""
    axes.set_xlabel(f"{scale.quantity}{timer}, {scale.unit}")
    axes.set_ylabel("share of the judged area that gets at least this")
    axes.set_xlim(spread_begin(result), spread_end(result))
    axes.set_ylim(0.0, 1.04)
    axes.yaxis.set_major_formatter(lambda value, _: f"{value:.0%}")
    _mark_worst(axes, _worst_value(result, scale))
    for k, (value, words) in enumerate(scale.marks):
        axes.axvline(value, color=TARGET_INK, lw=1.6, ls="-" if k == 0 else (0, (4, 2)))
        beside(axes, words, (value, 0.03 + 0.08 * k), (6, 0), color=TARGET_INK, bbox=BLANK)
    _finish(figure, axes, path)
    title = "How evenly the judged area is lit"
    caption = (
        f"Share of the judged area that gets at least a given {scale.quantity}. The steeper the "
        "curve, the more even the light. The ring is the worst spot of the cautious case."
    )
    return Picture(path, title, caption, CHART)


def spread_begin(result: Result) -> float:
    """Start of the axis: zero, or if it is logarithmic left of the scale and of the worst spot."""
    scale = dose_scale(result, CAUTIOUS)
    worst = _worst_value(result, scale)
    lowest = min(scale.low, worst) if worst > 0.0 else scale.low
    return 0.5 * lowest if scale.logarithmic else 0.0


def spread_end(result: Result) -> float:
    """End of the axis, mJ/cm2 or mW/cm2; beyond the scales of all cases there is only noise."""
    return 1.05 * max(dose_scale(result, case).high for case in (CAUTIOUS, EXPECTED, BRIGHT))


def _worst_value(result: Result, scale: DoseScale) -> float:
    worst = result.cases[CAUTIOUS].worst
    return float(scale.values[worst.face, SIDES.index(worst.side)])


def _mark_worst(axes: Any, value: float) -> None:
    for colour, width, order in (("white", 5, 5), ("black", 2.2, 6)):
        axes.plot([value], [1.0], "o", ms=13, mfc="none", mec=colour, mew=width, zorder=order)
    box = BLANK | {"boxstyle": "square,pad=0.2"}
    beside(axes, f"worst spot: {number(value)}", (value, 1.0), (16, -26), weight="bold", bbox=box)


def _time_chart(result: Result, path: Path) -> Picture:
    """Dose of the worst spot from switch-on to a little after the timer."""
    figure, axes = _axes()
    times = np.linspace(0.0, 1.15 * result.timer, 240)
    grown = np.array([0.0, *(result.warm_up.effective_seconds(t) for t in times[1:])])
    for case, style, colour in ((CAUTIOUS, "-", INK), (EXPECTED, "--", GREY)):
        dose = to_mJ_cm2(result.cases[case].worst.irradiance * grown)
        axes.plot(times / 60.0, dose, style, color=colour, lw=2.4, label=f"worst spot, {case}")
    bound = to_mJ_cm2(result.bound * grown)
    words = f"{result.confidence:.0%} lower bound, {CAUTIOUS}"
    if result.timer != result.calculated:
        words += ", by the meter readings"
    axes.plot(times / 60.0, bound, "-", color=BLUE, lw=1.4, label=words)
    axes.axvline(result.timer / 60.0, color=INK, lw=1.6, ls=(0, (5, 3)))
    timer = f"timer {minutes_seconds(result.timer)} "
    axes.text(result.timer / 60.0, 0.0, timer, ha="right", va="bottom", fontsize=12, weight="bold")
    axes.set(xlabel="minutes after switching on cold lamps", ylabel="dose, mJ/cm²")
    axes.set_xlim(0.0, times[-1] / 60.0)
    _target_lines(axes, result)
    _finish(figure, axes, path)
    caption = (
        "Dose of the worst spot from switching on. Lamps start dim, so the curve bends at first. "
        f"The timer ({minutes_seconds(result.timer)}) stands where the lower bound "
        f"reaches {result.safety_factor:g} × the target."
    )
    return Picture(path, "How the dose of the worst spot grows", caption, CHART)


def dose_in_cycle(result: Result, points: int) -> tuple[np.ndarray, np.ndarray]:
    """Lit time (s) and dose (J/m2) of the worst spot of a cycle, cautious case, (poses, points).

    Within each pose the dose grows with the irradiance of the spot in it; lamps start cold.

    Source: H = integral of E dt, pose after pose (definition of radiant exposure).
    """
    once, begun, dose = result.warm_up.of_one_pose, 0.0, 0.0
    times, doses = [], []
    for pose in result.poses:
        lit = np.linspace(0.0, pose.time, points)
        times.append(begun + lit)
        doses.append(dose + pose.at_worst * np.array([once.effective_seconds(t) for t in lit]))
        begun, dose = times[-1][-1], doses[-1][-1]
    return np.array(times), np.array(doses)


def _cycle_chart(result: Result, path: Path) -> Picture:
    """Dose of the worst spot through the poses of a cycle."""
    figure, axes = _axes()
    times, doses = dose_in_cycle(result, 120)
    words = f"worst spot of the cycle, {CAUTIOUS}"
    axes.plot(times.ravel() / 60.0, to_mJ_cm2(doses).ravel(), color=INK, lw=2.4, label=words)
    for pose, lit in zip(result.poses, times, strict=True):
        axes.axvline(lit[-1] / 60.0, color=INK, lw=1.6, ls=(0, (5, 3)))
        words = f"{pose.name[: LETTERS_ACROSS // len(times)]}\n{minutes_seconds(pose.time)}"
        place = 0.5 * (lit[0] + lit[-1]) / 60.0
        axes.text(place, 0.78, words, transform=axes.get_xaxis_transform(), ha="center",
                  fontsize=12, weight="bold", parse_math=False)  # fmt: skip
    axes.set(xlabel="minutes of light, all poses together", ylabel="dose, mJ/cm²")
    axes.set_xlim(0.0, 1.02 * times[-1, -1] / 60.0)
    _target_lines(axes, result)
    _finish(figure, axes, path)
    caption = (
        "Dose of the worst spot of the cycle, pose after pose. Every pose starts from cold lamps, "
        "so the curve bends anew at each broken line, and it is steeper where the spot sees more "
        "light. The lower bound, which sets the times, holds for the whole cycle only."
    )
    return Picture(path, "How the dose of the worst spot grows", caption, CHART)


def _target_lines(axes: Any, result: Result) -> None:
    """Horizontal lines on an axis of doses (mJ/cm2): target without and with its safety factor."""
    target = float(to_mJ_cm2(result.target_dose))
    axes.set_ylim(0.0, 2.5 * result.safety_factor * target)
    axes.yaxis.set_major_formatter(lambda value, _: tick_words(value))
    asked = result.safety_factor * target
    for value, words in ((target, "target"), (asked, f"target × {result.safety_factor:g}")):
        axes.axhline(value, color=TARGET_INK, lw=1.4)
        beside(axes, words, (0.0, value), (6, 4), color=TARGET_INK)


def _axes() -> tuple[Any, Any]:
    figure = new_figure(WIDTH, HEIGHT)
    figure.set_layout_engine("constrained", w_pad=0.12, h_pad=0.1)  # room for the widest number
    axes = figure.add_subplot()
    axes.grid(color="#dfe3e7", lw=0.8)
    axes.set_axisbelow(True)
    axes.spines[["top", "right"]].set_visible(False)
    axes.tick_params(labelsize=12, color=INK, labelcolor=INK)
    axes.xaxis.label.set(size=13, color=INK)
    axes.yaxis.label.set(size=13, color=INK)
    return figure, axes


def _finish(figure: Any, axes: Any, path: Path) -> None:
    """Numbers as in the tables, a legend, and the file."""
    axes.xaxis.set_major_formatter(lambda value, _: tick_words(value))
    axes.xaxis.set_minor_formatter(lambda *_: "")
    axes.legend(fontsize=12, frameon=True, framealpha=1.0, edgecolor="#c8cdd3")
    save_figure(figure, path)
