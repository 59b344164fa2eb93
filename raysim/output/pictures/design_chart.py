"""The front of cost against minutes for each respirator, with all that was tried."""

from pathlib import Path

from raysim.output.pictures.figure import INK, SOFT_INK, beside, new_figure, save_figure
from raysim.output.pictures.pictures import CHART, Picture
from raysim.output.words.design import held_by
from raysim.studies.design.result import DesignStudy

SIZE = (1200, 700)  # px
BEYOND = 6.0  # times the limit of time, or the least time: what takes longer is left out
TRIED, MEETS, MISSES = "#b7c3cb", "#17465a", "#a8443b"


def write_front(study: DesignStudy, path: Path) -> Picture:
    """Chart (PNG) of cost against minutes for each respirator."""
    figure = new_figure(*SIZE)
    axes = figure.add_axes((0.08, 0.11, 0.88, 0.8))
    number, wish = study.wish.load.number, study.wish
    longest = wish.limits.longest_cycle / 60.0 / number
    tried = [
        (trial.proposal.cost, study.limits.requirement.time(trial.worst) / 60.0 / number)
        for trial in study.trials
    ]
    least = min(each for _, each in tried)
    beyond = BEYOND * max(longest, least)
    tried = [(cost, each) for cost, each in tried if each <= beyond]
    axes.plot(*_columns(tried), "o", color=TRIED, ms=7, label="short trace, good to a third")
    shown = [one for one in study.designs if one.each / 60.0 <= beyond]
    for designs, colour, words in (
        ([one for one in shown if not one.broken], MEETS, "traced in full, meets the wish"),
        ([one for one in shown if one.broken], MISSES, "traced in full, misses a limit"),
    ):
        if designs:
            points = [(one.cost, one.each / 60.0) for one in designs]
            axes.plot(*_columns(points), "o", color=colour, ms=10, label=words)
    front = [(one.cost, one.each / 60.0) for one in study.front]
    axes.plot(*_columns(front), "-", color=MEETS, lw=1.6, drawstyle="steps-post")
    for place, one in enumerate(shown):
        words = ", ".join([one.name, *held_by(study, one)])
        beside(
            axes,
            words,
            (one.cost, one.each / 60.0),
            (8, 10 - 12 * (place % 3)),
            fontsize=11,
            color=INK,
        )
    budget = wish.money(wish.limits.budget)
    axes.axvline(budget, color=SOFT_INK, lw=1.0, ls=":")
    beside(axes, "budget", (budget, 0.0), (4, 4), fontsize=10, color=SOFT_INK)
    top = 1.25 * max([each for _, each in tried] + [one.each / 60.0 for one in shown])
    axes.set_ylim(0.0, top)
    if longest < top:
        axes.axhline(longest, color=SOFT_INK, lw=1.0, ls=":")
        at = (axes.get_xlim()[0], longest)
        beside(axes, "longest cycle", at, (4, 4), fontsize=10, color=SOFT_INK)
    axes.margins(x=0.1)
    axes.set_xlabel(f"cost, {wish.currency}", fontsize=12)
    axes.set_ylabel("minutes for each respirator, cautious case, from cold lamps", fontsize=12)
    axes.spines[["top", "right"]].set_visible(False)
    axes.legend(fontsize=11, loc="upper right", frameon=False)
    save_figure(figure, path)
    caption = (
        "A step of the line: no design traced in full that meets the wish is both cheaper and "
        "quicker. To compare by: a timer comes from the verdict of 'raysim dose' alone."
    )
    return Picture(path, "Cost against minutes for each respirator", caption, CHART)


def _columns(points: list[tuple[float, float]]) -> tuple[list[float], list[float]]:
    return [x for x, _ in points], [y for _, y in points]
