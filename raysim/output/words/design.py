"""Designs from a wish in words: what to build, what each is worth, and why the others lost."""

from collections.abc import Iterator

from raysim.output.words.numbers import about_time, number, told_time
from raysim.output.words.table import Table
from raysim.output.words.verdict import state_words
from raysim.scene.check.check import WEAK_LINING
from raysim.studies.design.boxes import size_words
from raysim.studies.design.limits import Limit
from raysim.studies.design.proposals import WALLS, Proposal
from raysim.studies.design.result import Design, DesignStudy, Relaxation
from raysim.studies.design.trial import Trial

FIRST_RUN = "Run 'raysim dose' on its scene file before setting a timer."
LONG = ("verdict", "outside", "lamps", "lining")  # columns that a terminal leaves out
# The three answers: names of their files, and words.
ROLES = {"cheapest": "cheapest", "quickest": "quickest", "longest_lived": "longest-lived"}


def roles(study: DesignStudy) -> dict[str, Design]:
    """The three designs, by the names of their files; none where nothing meets the wish."""
    found = {role: getattr(study, role) for role in ROLES}
    return {role: design for role, design in found.items() if design is not None}


def held_by(study: DesignStudy, one: Design) -> list[str]:
    """Which of the three answers a design is, in words (definition)."""
    return [ROLES[role] for role, design in roles(study).items() if design is one]


def held_words(study: DesignStudy, one: Design) -> str:
    """The same as a heading; empty for a design that is none of them (definition)."""
    *most, last = held_by(study, one) or [""]
    return " and ".join(filter(None, [", ".join(most), last])).capitalize()


def answer(study: DesignStudy) -> str:
    """What to build, or what stands in the way."""
    cheapest = study.cheapest
    if cheapest is not None:
        return (
            f"Cheapest that meets the wish: {_money(study, cheapest.cost)}, "
            f"{told_time(cheapest.time)} a cycle ({about_time(cheapest.each)} for each of "
            f"{cheapest.number} respirators), "
            f"{box_words(study, cheapest.proposal)}. {FIRST_RUN}"
        )
    if study.interrupted:
        return "Broken off before any design was shown to meet the wish: run it to its end."
    if study.relaxations:
        first = study.relaxations[0]
        binding = " and the ".join(map(_limit, first.limits))
        alone = "" if len(first.limits) == 1 else ": of one alone no change was found that helps"
        return (
            f"No design of those tried meets the wish. What binds is the {binding}{alone}: "
            f"{relaxation_words(study, first)}"
        )
    return (
        "No design of those tried meets the wish, nor did any with one limit let go, or with two: "
        "that does not show that none would. Loosen several limits and ask again. "
        f"{' '.join(_misses(study))}"
    )


def more_lines(study: DesignStudy) -> list[str]:
    """What qualifies the answer."""
    lines = []
    for one in study.designs:
        if held := held_words(study, one):
            what = "" if one is study.cheapest else f"{_short(study, one)}; "
            lines.append(f"{held} ({one.name}): {what}{_verdict(one)}")
    lines += [f"Another way: {relaxation_words(study, one)}" for one in study.relaxations[1:]]
    if study.relaxations:
        lines.append(
            "Each change told is enough, as a full trace showed, but need not be the least: of "
            f"{study.proposals:,} proposals {len(study.trials)} had short traces, and a smaller "
            "change may do."
        )
    lines += dark_linings(study)
    lines.append(
        "Boxes grow in steps, and lamps stand in symmetric places unless they were chosen as by "
        "'raysim lamps': this is the best of what was tried, not of all there is. Prices are "
        "those of the wish, without work. The seam of the door is to have a rabbet, painted matt "
        "black: a bright lining would lead light out through it."
    )
    if study.interrupted:
        lines.insert(0, "Broken off: better designs may be missing.")
    return lines


def _verdict(design: Design) -> str:
    if design.result.verdict is None:
        return "no verdict was given."
    return f"the verdict is {state_words(design.result)}."


def _short(study: DesignStudy, design: Design) -> str:
    return (
        f"{_money(study, design.cost)}, {told_time(design.time)} a cycle, "
        f"{_cycles(design)}, {box_words(study, design.proposal)}"
    )


def _cycles(design: Design) -> str:
    return f"{design.cycles} {'cycle' if design.cycles == 1 else 'cycles'} a respirator"


def _money(study: DesignStudy, amount: float) -> str:
    return study.wish.told(amount)


def lamps_words(proposal: Proposal) -> str:
    """How many lamps of which kind, and how they lie."""
    lamps = proposal.lamps
    ways = {
        "upright": "upright",
        "across": "level, side to side",
        "deep": "level, front to rear",
        "chosen": "placed as by 'raysim lamps'",
    }
    return f"{len(lamps.arcs)} x {lamps.kind.name}, {ways[lamps.axis]}"


def lining_words(proposal: Proposal) -> str:
    """The lining of most walls, and those that differ."""
    others: dict[str, list[str]] = {}
    for wall, name in zip(WALLS, proposal.linings, strict=True):
        if name != proposal.lining:
            others.setdefault(name, []).append("door" if wall == "front" else wall)
    apart = "".join(f"; {name} on {' and '.join(walls)}" for name, walls in others.items())
    return proposal.lining + apart


def box_words(study: DesignStudy, proposal: Proposal) -> str:
    """Size, lamps and lining of a box."""
    thick = study.wish.sheet[proposal.sheet].thickness
    size = size_words(proposal.box.outside(thick), proposal.box.grid)
    return f"{size} outside, {lamps_words(proposal)}, {lining_words(proposal)}"


def _limit(limit: Limit) -> str:
    return {Limit.TIME: "longest cycle", Limit.WEAR: "wear (cycles)"}.get(limit, str(limit))


def relaxation_words(study: DesignStudy, one: Relaxation) -> str:
    """What a limit would have to be for a design that was traced in full."""
    limits, design = study.wish.limits, one.design
    box, thick = design.proposal.box, study.wish.sheet[design.proposal.sheet].thickness
    told = {
        Limit.BUDGET: f"{_money(study, design.cost)} in place of "
        f"{_money(study, study.wish.money(limits.budget))}",
        Limit.TIME: f"{told_time(design.time)} in place of {told_time(limits.longest_cycle)}",
        Limit.WEAR: f"{_cycles(design)} in place of {limits.cycles}",
        Limit.SIZE: f"{size_words(box.outside(thick), box.grid)} outside in place of "
        f"{size_words(limits.outside, box.grid)}",
    }
    changes = " and ".join(f"{_limit(limit)} {told[limit]}" for limit in one.limits)
    return f"with {changes} all else can be kept ({design.name})."


def _misses(study: DesignStudy) -> Iterator[str]:
    """What the designs traced in full miss, limit by limit."""
    for limit in Limit:
        missed = [one.name for one in study.designs if limit in one.broken]
        if missed:
            yield f"The {_limit(limit)} is missed by {', '.join(missed)}."


def dark_linings(study: DesignStudy) -> list[str]:
    """What linings of the wish that look bright are at 254 nm."""
    lines = []
    for offer in study.wish.lining:
        surface = offer.surface
        if surface.reflectance >= WEAK_LINING:
            continue
        tried = [t for t in study.trials if t.proposal.lining == surface.name]
        told = "as a lining it is nearly black"
        best = max(tried, key=lambda trial: trial.worst, default=None)
        if best is not None:
            told += f"; the best box tried with it would take about {_sketched(study, best)}"
            same = [t for t in study.trials if t.proposal.geometry == best.proposal.geometry]
            other = max(same, key=lambda trial: trial.worst)
            if other is not best:
                told += f", and about {_sketched(study, other)} with {other.proposal.lining}"
        name = f"{surface.name[0].upper()}{surface.name[1:]}"
        lines.append(
            f"{name} sends back about {surface.reflectance:.0%} of 254 nm, however bright it "
            f"looks: {told}."
        )
    return lines


def _sketched(study: DesignStudy, trial: Trial) -> str:
    """Exposure time by a short trace, in whole minutes or hours: to compare by only."""
    hours = study.limits.requirement.time(trial.worst) / 3600.0
    return f"{60.0 * hours:.0f} min" if hours < 3.0 else f"{number(hours, 2)} h"


def designs_table(study: DesignStudy) -> Table:
    """All designs traced in full, the cheapest first, with why they lost."""
    rows = []
    for one in study.designs:
        thick = study.wish.sheet[one.proposal.sheet].thickness
        rows.append(
            (
                one.name,
                why_lost(study, one),
                state_words(one.result) if one.result.verdict else "",
                size_words(one.proposal.box.outside(thick), one.proposal.box.grid),
                lamps_words(one.proposal),
                lining_words(one.proposal),
                f"{one.cost:,.0f}",
                told_time(one.time),
                about_time(one.each),
                str(one.cycles),
            )
        )
    headings = (
        *("design", "why it stands here, or lost", "verdict", "outside", "lamps", "lining"),
        *(f"cost, {study.wish.currency}", "calculated cycle", "for each", "cycles"),
    )
    note = (
        "Traced in full, cautious case, from cold lamps. The calculated cycle is no timer setting: "
        "the verdict of 'raysim dose', with readings of a meter, gives that."
    )
    return Table(headings, tuple(rows), 6, note)


def short_table(study: DesignStudy) -> Table:
    """The same in a few columns, for a terminal."""
    whole = designs_table(study)
    kept = [whole.headings.index(one) for one in whole.headings if one not in LONG]
    rows = tuple(tuple(row[k] for k in kept) for row in whole.rows)
    return Table(tuple(whole.headings[k] for k in kept), rows, 2)


def why_lost(study: DesignStudy, one: Design) -> str:
    """What a design is, or which other one beats it."""
    if one.broken:
        return "misses: " + ", ".join(map(_limit, one.broken)) + _forbidding(one)
    if held := held_by(study, one):
        return ", ".join(held)
    if one in study.front:
        return "on the front between cost and time"
    better = next(d for d in study.front if d.cost <= one.cost and d.time <= one.time)
    return f"neither cheaper nor quicker than {better.name}"


def _forbidding(one: Design) -> str:
    """The reasons of a verdict that forbids use."""
    verdict = one.result.verdict
    reasons = [r.code for r in verdict.reasons if r.code.forbids] if verdict else []
    return f" ({', '.join(code.replace('_', ' ') for code in reasons)})" if reasons else ""


def trials_table(study: DesignStudy) -> Table:
    """Of every kind of lamp and lining the best short trace."""
    best: dict[tuple[str, int, str], Trial] = {}
    for trial in study.trials:
        own = trial.proposal
        key = (own.lamps.kind.name, len(own.lamps.arcs), lining_words(own))
        if key not in best or trial.worst > best[key].worst:
            best[key] = trial
    rows = [
        (
            f"{count} x {kind}",
            lining,
            _about_missed(study, trial),
            f"{trial.proposal.cost:,.0f}",
            _sketched(study, trial),
            number(trial.spread, 2),
        )
        for (kind, count, lining), trial in sorted(
            best.items(), key=lambda pair: pair[1].proposal.cost
        )
    ]
    headings = (
        *("lamps", "lining", "seems to miss", f"cost, {study.wish.currency}"),
        *("cycle, to compare by", "light, best over worst"),
    )
    note = "Short traces, good to about a third: they choose what is traced in full, and no timer."
    return Table(headings, tuple(rows), 3, note)


def _about_missed(study: DesignStudy, trial: Trial) -> str:
    """Which limits a short trace seems to miss."""
    wish, own = study.wish, trial.proposal
    missed = []
    if own.cost > wish.money(wish.limits.budget):
        missed.append("budget")
    if trial.worst < study.limits.irradiance:
        missed.append("longest cycle")
    if trial.spread > study.limits.spread:
        missed.append("wear")
    return ", ".join(missed)


def search_words(study: DesignStudy) -> tuple[str, ...]:
    """How the search went, from coarse to fine."""
    return (
        f"{study.proposals:,} proposals of boxes, lamps and linings (dropped: {study.hopeless:,} "
        "that cannot do in the longest cycle even if all light ended evenly on the load). "
        f"Geometries with short traces: {study.geometries}; with their linings: "
        f"{len(study.trials)}. Designs traced in full: {len(study.designs)}.",
    )
