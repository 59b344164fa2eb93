"""Run the checks against the outside world and write VALIDATION.md from what they found.

    python tests/validation.py            # short forms, some minutes
    python tests/validation.py --slow     # long forms as well

Nothing in the table is typed in: numbers are those that the comparisons of this run saw, verdicts
those of its tests.
"""

import argparse
import platform
import re
import subprocess
import sys
from collections import defaultdict
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from validation_cases import CASES, NOT_DONE, Case

TESTS = Path(__file__).parent
TARGET = TESTS / "VALIDATION.md"
# Tests of planted errors: they compare wrong numbers, on purpose.
PLANTED = re.compile(r"_(is|are)_seen|would_not_do|does_not_hold|test_planted")


@dataclass
class Outcome:
    """What the tests of one case did."""

    passed: int = 0
    failed: list[str] = field(default_factory=list)
    skipped: list[str] = field(default_factory=list)
    planted: int = 0
    compared: list[tuple[float, float, float, float]] = field(default_factory=list)
    evidence: list[tuple[str, bool]] = field(default_factory=list)


class Collector:
    """Plugin that gathers comparisons and verdicts by case."""

    def __init__(self):
        self.outcomes = defaultdict(Outcome)

    @staticmethod
    def _seen():
        module = sys.modules.get("agreement")
        return [] if module is None else module.SEEN

    def pytest_runtest_call(self, item):
        """Forget what fixtures of other tests compared."""
        self._seen().clear()

    def pytest_runtest_logreport(self, report):
        """File one test under its case."""
        case = case_of(report.nodeid)
        if case is None:
            return
        outcome = self.outcomes[case.title]
        if report.skipped:
            outcome.skipped.append(_reason(report))
        elif report.failed:
            outcome.failed.append(report.nodeid)
        elif report.when == "call":
            outcome.passed += 1
        if report.when != "call":
            return
        if PLANTED.search(report.nodeid):
            outcome.planted += report.passed
        else:
            outcome.compared += self._seen()
        told = [text for key, text in report.user_properties if key == "evidence"]
        outcome.evidence += [(text, report.passed) for text in told]


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
    return words + ")"


def row(case: Case, outcome: Outcome) -> str:
    """Line of the table: the comparison that was farthest off stands for all."""
    cells = [case.title, case.source]
    if outcome.compared:
        expected, got, error, z = max(outcome.compared, key=lambda c: abs(c[3]))
        count = len(outcome.compared)
        cells += [f"{expected:.5g}", f"{got:.5g}", f"{error:.2g}", f"{z:+.1f} of {count}"]
    else:
        cells += ["to rounding, or stated there", "", "", ""]
    return "| " + " | ".join([*cells, verdict(outcome)]) + " |"


def evidence_rows(outcomes: dict[str, Outcome]) -> list[str]:
    """Lines of the second table."""
    lines = []
    for outcome in outcomes.values():
        for text, passed in outcome.evidence:
            lines.append(f"| {text.replace('|', ' | ')} | {'holds' if passed else '**FAILS**'} |")
    return lines


def provenance() -> str:
    """Which code was tested, on what."""
    git = ["git", "-C", str(TESTS), "describe", "--always", "--dirty"]
    commit = subprocess.run(git, capture_output=True, text=True, check=False).stdout.strip()
    from raysim.version import __version__

    return (
        f"raysim {__version__}, commit {commit or 'unknown'}, Python {platform.python_version()}, "
        f"{platform.system()} {platform.machine()}"
    )


def document(outcomes: dict[str, Outcome], slow: bool) -> str:
    """Text of VALIDATION.md."""
    rows = [row(case, outcomes.get(case.title, Outcome())) for case in CASES]
    missing = [f"| {what} | {why} |" for what, why in NOT_DONE]
    command = "python tests/validation.py" + (" --slow" if slow else "")
    form = "Short and long forms." if slow else "Short forms; the long ones are tighter."
    return "\n".join(
        [
            "# What raysim was held against",
            "",
            f"Written by `{command}`; do not edit. {provenance()}. {form}",
            "",
            "Seeds are fixed. Of all comparisons of a case, the one farthest off is shown, in the "
            "units of its test; `z` is its distance in standard errors, with the number of "
            "comparisons. False alarms are set to one in a million for each comparison (|z| of "
            "4.9, somewhat more where the error comes from few batches), and a comparison too "
            "noisy for the error it is there to catch fails. For chi-square tests expected is the "
            "number of degrees of freedom.",
            "",
            "| case | source | expected | got | error bar | z | verdict |",
            "|---|---|---|---|---|---|---|",
            *rows,
            "",
            "## Published measurements, faults and other single figures",
            "",
            "| what | expected | got | error bar | verdict |",
            "|---|---|---|---|---|",
            *(evidence_rows(outcomes) or ["| none in this run | | | | |"]),
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
    parser.add_argument("-k", default="", help="only tests that match, as pytest's -k (for trials)")
    chosen = parser.parse_args()
    files = list(dict.fromkeys(str(TESTS / name) for case in CASES for name in case.tests))
    collector = Collector()
    options = [*files, "-q", "-n", "0", "-p", "no:cacheprovider", "--rootdir", str(TESTS.parent)]
    options += [] if chosen.slow else ["-m", "not slow"]
    options += ["-k", chosen.k] if chosen.k else []
    status = pytest.main(options, plugins=[collector])
    chosen.out.write_text(document(collector.outcomes, chosen.slow), encoding="utf-8")
    sys.stderr.write(f"wrote {chosen.out}\n")
    return int(status)


if __name__ == "__main__":
    sys.exit(main())
