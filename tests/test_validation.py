"""The validation table says what its run said, failures and gaps included."""

import subprocess
import sys
from pathlib import Path

import pytest
from validation import (
    CASES,
    TESTS,
    Outcome,
    by_case,
    case_of,
    document,
    evidence_rows,
    found_before,
    keep,
    row,
    verdict,
)

REPOSITORY = TESTS.parent


def test_every_case_names_tests_that_exist():
    for case in CASES:
        assert case.title
        assert case.source
        assert all((TESTS / name).is_file() for name in case.tests), case


def test_a_test_is_filed_under_its_case():
    case = case_of("tests/physics/test_tube.py::test_limits_near_and_far")
    assert case is not None
    assert case.title.startswith("Tube in the open")
    assert case_of("tests/cli/test_cli_dose.py::test_anything") is None


def test_a_failure_is_never_a_pass():
    case = CASES[0]
    outcome = Outcome(passed=5, failed=["tests/x.py::test_y"])
    outcome.add(Outcome(compared=1, farthest=(1.0, 1.1, 0.01, 10.0)))
    assert "FAILS" in verdict(outcome)
    assert "FAILS" in row(case, outcome)
    assert "1.1" in row(case, outcome)
    told = Outcome(failed=["t"], evidence=[("what|1|2|", False, "c3, today")])
    assert "| what | 1 | 2 |  | **FAILS** | c3, today |" in document({case.title: told})


def test_what_was_skipped_or_not_chosen_is_said():
    missing = "peer not installed: No module named 'mitsuba'"
    assert verdict(Outcome(skipped=[missing])) == f"not run: {missing}"
    assert verdict(Outcome()) == "not run: no tests chosen"
    assert missing in verdict(Outcome(passed=2, skipped=[missing]))


def test_tests_of_a_case_that_said_nothing_yet_are_counted():
    names = [f"tests/physics/test_tube.py::test_{letter}" for letter in "abc"]
    (tube,) = by_case({names[0]: Outcome(passed=1)}, names).values()
    assert verdict(tube) == "holds (1 tests, 2 not run yet)"


def test_the_comparison_farthest_off_is_shown():
    outcome = Outcome(passed=1, compared=1, farthest=(1.0, 1.001, 0.01, 0.1))
    outcome.add(Outcome(passed=1, compared=1, farthest=(2.0, 1.9, 0.05, -2.0)))
    assert "| 2 | 1.9 | 0.05 | -2.0 of 2 |" in row(CASES[0], outcome)


def test_parts_of_the_page_are_put_together(tmp_path):
    file = tmp_path / "page.jsonl"
    first = Outcome(passed=1, evidence=[("what|1|1|", True, "a1")], when=["a1, 2026-01-01"])
    keep({"tests/a.py::test_a": first, "tests/a.py::test_b": Outcome(failed=["b"])}, file)
    found = found_before(file)
    assert "holds" in verdict(found["tests/a.py::test_a"])
    later = found | {"tests/a.py::test_b": Outcome(passed=1, when=["b2, 2026-01-02"])}
    whole = Outcome()
    for one in later.values():
        whole.add(one)
    assert verdict(whole) == "holds (2 tests)"
    line = row(CASES[0], whole)
    assert line.endswith("| a1, 2026-01-01; b2, 2026-01-02 |")
    assert [tuple(e) for e in whole.evidence] == [("what|1|1|", True, "a1")]


def test_of_a_short_and_a_long_form_the_longer_is_shown_and_what_fails():
    told = [(f"kills|{count}|{count}|", True, "a1") for count in (4, 100, 20)]
    told += [("kills|4|0|", False, "b2"), ("other|4|4|", True, "a1"), ("x|1.98|1|", True, "a1")]
    rows = evidence_rows({CASES[0].title: Outcome(evidence=[*told, ("x|1.5|1|", True, "a1")])})
    assert [row.split(" | ")[:2] for row in rows] == [
        *(["| kills", "100"], ["| kills", "4"], ["| other", "4"]),
        *(["| x", "1.98"], ["| x", "1.5"]),
    ]


@pytest.mark.parametrize("broken", [False, True])
def test_the_table_comes_from_the_run_itself(tmp_path, broken):
    # One cheap file for real, once as it is and once with the physics broken under it.
    out = tmp_path / "table.md"
    breaker = (
        "import raysim.library.keitz; raysim.library.keitz.keitz_power = lambda *a: 1.0\n"
        if broken
        else ""
    )
    program = (
        f"import sys; sys.path.insert(0, {str(TESTS)!r})\n{breaker}"
        f"sys.argv = ['validation.py', '-k', 'keitz_both_ways', '--out', {str(out)!r}]\n"
        "import validation\n"
        "validation.CASES = [c for c in validation.CASES if c.title.startswith('Lamp table')]\n"
        "sys.exit(validation.main())"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], cwd=REPOSITORY, capture_output=True, text=True, check=False
    )
    line = next(line for line in out.read_text().splitlines() if line.startswith("| Lamp table"))
    assert ("**FAILS** (1 tests)" in line) == broken, done.stdout[-500:]
    assert ("holds (1 tests, " in line) != broken
    assert (done.returncode == 0) != broken
    assert Path(out).read_text().startswith("# What raysim was held against")
