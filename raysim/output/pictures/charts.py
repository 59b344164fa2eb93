"""Charts: how the dose is spread over the judged area, and how it grows with time."""

from pathlib import Path
from typing import Any

import numpy as np

from raysim.base.cases import BRIGHT, CAUTIOUS, EXPECTED
from raysim.base.units import minutes_seconds, to_mJ_cm2
from raysim.dose.result import Result
from raysim.output.pictures.page import INK, new_figure, save_figure
from raysim.output.pictures.pictures import CHART, Picture
from raysim.output.pictures.scale import DoseScale, dose_scale, tick_words
from raysim.output.words.sentences import number
from raysim.scene.triangles import INSIDE, OUTSIDE

WIDTH, HEIGHT = 1200, 640  # px
LETTERS_ACROSS = 80  # all names of poses in one line
TARGET_INK = "#96141e"


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
    scale = dose_scale(result, CAUTIOUS)
    figure, axes = _axes()
    cautious = scale.values
    _curve(
        axes,
        result,
        cautious,
        (OUTSIDE, INSIDE),
        words=f"{CAUTIOUS}: all judged faces",
        style="-",
        colour=INK,
        width=3,
    )
    for side, colour, name in ((OUTSIDE, "#d98200", "outside"), (INSIDE, "#0b62a8", "inside")):
        if result.triangles.judged[:, side].any():
            _curve(
                axes,
                result,
                cautious,
                (side,),
                words=f"{CAUTIOUS}: {name} only",
                style="-",
                colour=colour,
                width=1.6,
            )
    for case, style in ((EXPECTED, "--"), (BRIGHT, ":")):
        values = dose_scale(result, case).values
        words = f"{case}: all judged faces"
        _curve(
            axes,
            result,
            values,
            (OUTSIDE, INSIDE),
            words=words,
            style=style,
            colour="#6b727b",
            width=2,
        )
    if scale.logarithmic:
        axes.set_xscale("log")
    axes.set(
        xlabel=_axis_words(result, scale), ylabel="share of the judged area that gets at least this"
    )
    axes.set_xlim(spread_begin(result), spread_end(result))
    axes.set_ylim(0.0, 1.04)
    axes.yaxis.set_major_formatter(lambda value, _: f"{value:.0%}")
    _mark_worst(axes, result, scale)
    _finish(figure, axes, path, scale.marks)
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


def _axis_words(result: Result, scale: DoseScale) -> str:
    if not np.isfinite(result.timer):
        return scale.label
    return f"{scale.quantity} ({minutes_seconds(result.timer)}), {scale.unit}"


def _curve(
    axes: Any,
    result: Result,
    values: np.ndarray,
    sides: tuple[int, ...],
    *,
    words: str,
    style: str,
    colour: str,
    width: float,
) -> None:
    """Share of the area that receives at least x, of the judged faces of some sides."""
    judged = result.triangles.judged.copy()
    judged[:, [side for side in (OUTSIDE, INSIDE) if side not in sides]] = False
    areas = np.repeat(result.triangles.areas[:, None], 2, axis=1)[judged]
    x, share = area_receiving(values[judged], areas)
    every = np.unique(np.linspace(0, len(x) - 1, 2000).astype(int))
    axes.plot(x[every], share[every], style, color=colour, lw=width, label=words)


def _worst_value(result: Result, scale: DoseScale) -> float:
    worst = result.cases[CAUTIOUS].worst
    side = OUTSIDE if worst.side == "outside" else INSIDE
    return float(scale.values[worst.face, side])


def _mark_worst(axes: Any, result: Result, scale: DoseScale) -> None:
    value = _worst_value(result, scale)
    axes.plot([value], [1.0], "o", ms=13, mfc="none", mec="white", mew=5, zorder=5)
    axes.plot([value], [1.0], "o", ms=13, mfc="none", mec="black", mew=2.2, zorder=6)
    axes.annotate(
        f"worst spot: {number(value)}",
        (value, 1.0),
        xytext=(16, -26),
        textcoords="offset points",
        fontsize=12,
        fontweight="bold",
        bbox={"boxstyle": "square,pad=0.2", "facecolor": "white", "edgecolor": "none"},
    )


def _time_chart(result: Result, path: Path) -> Picture:
    """Dose of the worst spot from switch-on to a little after the timer."""
    figure, axes = _axes()
    times = np.linspace(0.0, 1.15 * result.timer, 240)
    grown = np.array([0.0, *(result.warm_up.effective_seconds(t) for t in times[1:])])
    for case, style, colour in ((CAUTIOUS, "-", INK), (EXPECTED, "--", "#6b727b")):
        dose = to_mJ_cm2(result.cases[case].worst.irradiance * grown)
        axes.plot(times / 60.0, dose, style, color=colour, lw=2.4, label=f"worst spot, {case}")
    bound = to_mJ_cm2(result.bound * grown)
    words = f"{result.confidence:.0%} lower bound, {CAUTIOUS}"
    if result.timer != result.calculated:
        words += ", by the meter readings"
    axes.plot(times / 60.0, bound, "-", color="#0b62a8", lw=1.4, label=words)
    axes.axvline(result.timer / 60.0, color=INK, lw=1.6, ls=(0, (5, 3)))
    timer = f"timer {minutes_seconds(result.timer)} "
    axes.text(result.timer / 60.0, 0.0, timer, ha="right", va="bottom", fontsize=12, weight="bold")
    axes.set(xlabel="minutes after switching on cold lamps", ylabel="dose, mJ/cm²")
    axes.set_xlim(0.0, times[-1] / 60.0)
    _target_lines(axes, result)
    _finish(figure, axes, path, ())
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
    _finish(figure, axes, path, ())
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
    for value, words in (
        (target, "target"),
        (result.safety_factor * target, f"target × {result.safety_factor:g}"),
    ):
        axes.axhline(value, color=TARGET_INK, lw=1.4)
        axes.annotate(
            words,
            (0.0, value),
            xytext=(6, 4),
            textcoords="offset points",
            color=TARGET_INK,
            fontsize=12,
        )


def _axes() -> tuple[Any, Any]:
    figure = new_figure(WIDTH, HEIGHT)
    axes = figure.add_axes((0.085, 0.125, 0.885, 0.84))
    axes.grid(color="#dfe3e7", lw=0.8)
    axes.set_axisbelow(True)
    axes.spines[["top", "right"]].set_visible(False)
    axes.tick_params(labelsize=12, color=INK, labelcolor=INK)
    axes.xaxis.label.set(size=13, color=INK)
    axes.yaxis.label.set(size=13, color=INK)
    return figure, axes


def _finish(figure: Any, axes: Any, path: Path, marks: tuple[tuple[float, str], ...]) -> None:
    """Target lines, numbers as in the tables, a legend, and the file."""
    for k, (value, words) in enumerate(marks):
        axes.axvline(value, color=TARGET_INK, lw=1.6, ls="-" if k == 0 else (0, (4, 2)))
        axes.annotate(
            words,
            (value, 0.03 + 0.08 * k),
            color=TARGET_INK,
            fontsize=12,
            xytext=(6, 0),
            textcoords="offset points",
            bbox={"boxstyle": "square,pad=0.1", "facecolor": "white", "edgecolor": "none"},
        )
    axes.xaxis.set_major_formatter(lambda value, _: tick_words(value))
    axes.xaxis.set_minor_formatter(lambda *_: "")
    axes.legend(fontsize=12, frameon=True, framealpha=1.0, edgecolor="#c8cdd3")
    save_figure(figure, path, np.full((HEIGHT, WIDTH, 3), 255, np.uint8))
