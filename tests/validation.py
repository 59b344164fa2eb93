"""Run the checks against the outside world and write VALIDATION.md from what they found.

    python tests/validation.py                  # short forms, some minutes
    python tests/validation.py --slow           # long forms as well, hours
    python tests/validation.py --slow -k kills  # a part; the rest of the page stays as it was found

Nothing in the table is typed in: numbers are those that the comparisons saw, verdicts those of the
tests. What each test said last stands in VALIDATION.jsonl, of which the page is put together.
"""

import argparse
import json
import platform
import re
import subprocess
import sys
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

import pytest
from validation_cases import CASES, NOT_DONE, Case

TESTS = Path(__file__).parent
TARGET = TESTS / "VALIDATION.md"
# Tests of planted errors: they compare wrong numbers, on purpose.
PLANTED = re.compile(r"_(is|are)_seen|would_not_do|does_not_hold|test_planted")


@dataclass
class Outcome:
    """What one test did, or what all tests of a case did.

    Attributes
    ----------
    compared : int
        How many comparisons were made; `farthest` is the one farthest off: expected, got, error, z.
    evidence : list of (text, whether it holds, commit and day)
    missing : int
        How many tests of a case have never been run, long forms included.
    when : list of str
        Commits and days on which it was run.
    """

    passed: int = 0
    failed: list[str] = field(default_factory=list)
    skipped: list[str] = field(default_factory=list)
    planted: int = 0
    missing: int = 0
    compared: int = 0
    farthest: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)
    evidence: list[tuple[str, bool, str]] = field(default_factory=list)
    when: list[str] = field(default_factory=list)

    def add(self, other: "Outcome") -> None:
        """Take in what another test did."""
        self.passed += other.passed
        self.planted += other.planted
        self.missing += other.missing
        self.compared += other.compared
        self.farthest = max(self.farthest, other.farthest, key=lambda c: abs(c[3]))
        for name in ("failed", "skipped", "evidence", "when"):
            mine = getattr(self, name)
            mine += [entry for entry in getattr(other, name) if entry not in mine]


class Collector:
    """Plugin that gathers comparisons and verdicts by test."""

    def __init__(self, when: str):
        self.when = when
        self.outcomes: dict[str, Outcome] = {}
        self.known: set[str] = set()

    @staticmethod
    def _seen():
        module = sys.modules.get("agreement")
        return [] if module is None else module.SEEN

    @pytest.hookimpl(tryfirst=True)
    def pytest_collection_modifyitems(self, items):
        """Learn which tests there are, before any are left out."""
        self.known = {item.nodeid for item in items}

    def pytest_runtest_call(self, item):
        """Forget what fixtures of other tests compared."""
        self._seen().clear()

    def pytest_runtest_logreport(self, report):
        """File what one test did."""
        if case_of(report.nodeid) is None or (report.when == "teardown" and report.passed):
            return
        outcome = self.outcomes.setdefault(report.nodeid, Outcome(when=[self.when]))
        if report.skipped:
            outcome.skipped.append(_reason(report))
        elif report.failed:
            outcome.failed.append(report.nodeid)
        elif report.when == "call":
            outcome.passed += 1
        if report.when != "call":
            return
        seen = self._seen()
        if PLANTED.search(report.nodeid):
            outcome.planted += report.passed
        elif seen:
            outcome.compared = len(seen)
            outcome.farthest = max(seen, key=lambda c: abs(c[3]))
        told = [text for key, text in report.user_properties if key == "evidence"]
        outcome.evidence += [(text, report.passed, self.when) for text in told]


def found_before(file: Path) -> dict[str, Outcome]:
    """What each test said when it was last run."""
    if not file.is_file():
        return {}
    lines = map(json.loads, file.read_text("utf-8").splitlines())
    return {line.pop("test"): Outcome(**line) for line in lines}


def keep(outcomes: dict[str, Outcome], file: Path) -> None:
    """Write what each test said, a line for each, without what says nothing."""
    lines = (
        {"test": name} | {key: value for key, value in vars(outcomes[name]).items() if value}
        for name in outcomes
    )
    file.write_text("".join(json.dumps(line) + "\n" for line in lines), "utf-8")


def by_case(outcomes: dict[str, Outcome], known: Iterable[str] = ()) -> dict[str, Outcome]:
    """What all tests of each case said, and how many of those `known` said nothing yet."""
    whole: dict[str, Outcome] = defaultdict(Outcome)
    for name in {**outcomes, **dict.fromkeys(sorted(known))}:
        case = case_of(name)
        if case is not None:
            whole[case.title].add(outcomes.get(name, Outcome(missing=1)))
    return whole


def case_of(nodeid: str) -> Case | None:
    """Case that a test belongs to."""
    name = nodeid.removeprefix("tests/")
    return next((case for case in CASES if name.startswith(case.tests)), None)


def _reason(report) -> str:
    text = report.longrepr[2] if isinstance(report.longrepr, tuple) else str(report.longrepr)
    return text.removeprefix("Skipped: ").splitlines()[0]


def verdict(outcome: Outcome) -> str:
    """Verdict of a case in words."""
    if outcome.failed:
        return f"**FAILS** ({len(outcome.failed)} tests)"
    if not outcome.passed:
        return f"not run: {outcome.skipped[0] if outcome.skipped else 'no tests chosen'}"
    words = f"holds ({outcome.passed} tests"
    words += f", {outcome.planted} of them planted errors found" if outcome.planted else ""
    words += f", {len(outcome.skipped)} not run: {outcome.skipped[0]}" if outcome.skipped else ""
    words += f", {outcome.missing} not run yet" if outcome.missing else ""
    return words + ")"


def row(case: Case, outcome: Outcome) -> str:
    """Line of the table: the comparison that was farthest off stands for all."""
    cells = [case.title, case.source]
    if outcome.compared:
        expected, got, error, z = outcome.farthest
        cells += [
            f"{expected:.5g}",
            f"{got:.5g}",
            f"{error:.2g}",
            f"{z:+.1f} of {outcome.compared}",
        ]
    else:
        cells += ["to rounding, or stated there", "", "", ""]
    return "| " + " | ".join([*cells, verdict(outcome), "; ".join(sorted(outcome.when))]) + " |"


def evidence_rows(outcomes: dict[str, Outcome]) -> list[str]:
    """Lines of the second table, in the order of the cases.

    Of the short and the long form of a test, which say the same of different counts, the one that
    counted more is shown; what fails is always shown.
    """
    told = [
        (text, holds, when)
        for case in CASES
        for text, holds, when in outcomes.get(case.title, Outcome()).evidence
    ]
    most: dict[str, int] = defaultdict(int)
    for text, _, _ in told:
        what, size = _counted(text)
        most[what] = max(most[what], size)
    return [
        f"| {text.replace('|', ' | ')} | {'holds' if holds else '**FAILS**'} | {when} |"
        for text, holds, when in told
        if not holds or _counted(text)[1] == most[_counted(text)[0]]
    ]


def _counted(text: str) -> tuple[str, int]:
    """What a figure is about, and the whole number that its expected value begins with, or 0."""
    what, expected = text.split("|")[:2]
    number = re.match(r"\d+(?![.\d])", expected)
    return what, int(number[0]) if number else 0


def commit_and_day() -> str:
    """Which code is tested, and when; "changed" where it is not what was committed."""

    def git(*words: str) -> str:
        command = ["git", "-C", str(TESTS.parent), *words]
        return subprocess.run(command, capture_output=True, text=True, check=False).stdout.strip()

    own = (f":!tests/{name}" for name in (TARGET.name, TARGET.with_suffix(".jsonl").name))
    changed = git("status", "--porcelain", "--", ".", *own)
    commit = git("describe", "--always") or "unknown"
    return f"{commit}{' changed' if changed else ''}, {date.today()}"


def document(outcomes: dict[str, Outcome]) -> str:
    """Text of VALIDATION.md."""
    from raysim.version import __version__

    machine = f"Python {platform.python_version()}, {platform.system()} {platform.machine()}"
    rows = [row(case, outcomes.get(case.title, Outcome())) for case in CASES]
    missing = [f"| {what} | {why} |" for what, why in NOT_DONE]
    return "\n".join(
        [
            "# What raysim was held against",
            "",
            "Written by `python tests/validation.py [--slow] [-k PART]`, which can be run in parts; do "
            f"not edit. raysim {__version__}, {machine}. The last column says which code was tested, "
            "and when.",
            "",
            "Seeds are fixed. Of all comparisons of a case, the one farthest off is shown, in the "
            "units of its test; `z` is its distance in standard errors, with the number of "
            "comparisons. False alarms are set to one in a million for each comparison (|z| of "
            "4.9, somewhat more where the error comes from few batches), and a comparison too "
            "noisy for the error it is there to catch fails. For chi-square tests expected is the "
            "number of degrees of freedom.",
            "",
            "| case | source | expected | got | error bar | z | verdict | commit, day |",
            "|---|---|---|---|---|---|---|---|",
            *rows,
            "",
            "## Published measurements, faults and other single figures",
            "",
            "| what | expected | got | error bar | verdict | commit, day |",
            "|---|---|---|---|---|---|",
            *(evidence_rows(outcomes) or ["| none in this run | | | | | |"]),
            "",
            "## Could not be done",
            "",
            "| what | why |",
            "|---|---|",
            *missing,
            "",
            "## Limits",
            "",
            "- These checks show that the light transport is computed as stated. They do not show "
            "that a box was built as drawn, that its lining reflects as its table says, or that its "
            "lamps give what their data sheets say. Only a calibrated 254 nm meter does.",
            "- No measured dose map of a respirator was available; nothing here validates a dose on "
            "a real respirator.",
            "- Sources marked 'from memory' were recalled, not seen in print.",
            "",
        ]
    )


def main() -> int:
    """Run, write, and return pytest's status."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--slow", action="store_true", help="long forms as well")
    parser.add_argument("--out", type=Path, default=TARGET, help="file to write")
    parser.add_argument("-k", default="", help="only tests that match, as pytest's -k")
    chosen = parser.parse_args()
    files = list(dict.fromkeys(str(TESTS / name) for case in CASES for name in case.tests))
    collector = Collector(commit_and_day())
    options = [*files, "-q", "-n", "0", "-p", "no:cacheprovider", "--rootdir", str(TESTS.parent)]
    options += ["-m", "slow or not slow" if chosen.slow else "not slow"]
    options += ["-k", chosen.k] if chosen.k else []
    status = pytest.main(options, plugins=[collector])
    found = chosen.out.with_suffix(".jsonl")
    kept = found_before(found) | collector.outcomes
    kept = {name: kept[name] for name in sorted(kept) if name in collector.known}
    keep(kept, found)
    chosen.out.write_text(document(by_case(kept, collector.known)), encoding="utf-8")
    sys.stderr.write(f"wrote {chosen.out}\n")
    return int(status)


if __name__ == "__main__":
    sys.exit(main())
