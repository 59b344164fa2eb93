"""Tests of the report: self-contained, escaped, and saying what the result says."""

import base64
import hashlib
import json
import math
import re
from dataclasses import replace
from datetime import date
from html.parser import HTMLParser
from importlib import resources
from pathlib import Path

import numpy as np
import pytest
import synthetic

from raysim.base.cases import BRIGHT, CAUTIOUS, EXPECTED
from raysim.base.units import minutes_seconds
from raysim.dose.exposure import LONGEST_TIME, exposure_time
from raysim.dose.result import Budget, Contribution, LampFailure, Result
from raysim.output.pages.report import write_report
from raysim.output.pictures.charts import write_charts
from raysim.output.pictures.pictures import write_pictures
from raysim.output.words.answer import head_lines, rows
from raysim.output.words.cautions import CAUTION_LINE, CAUTIONS
from raysim.output.words.failures import failure_line, failures_table
from raysim.output.words.inputs import lamps_table, surfaces_table
from raysim.output.words.numbers import about_time, irradiance_words, number, told_time
from raysim.output.words.report_words import uncertainty_words
from raysim.output.words.tables import (
    NOT_CLEAR,
    cases_table,
    doses_table,
    energy_table,
    objects_table,
    reflectance_gain,
)
from raysim.output.words.uncertainty import doubt_line
from raysim.output.words.verdict import reason_lines, timer_words
from raysim.verdict.rules import with_verdict

NASTY = "<b>\"bold\" & 'x'</b><img src=x onerror=alert(1)>"

WARM_UP_LOSS = 75.0  # s: five minutes that rise from half to full output lose a quarter


class Page(HTMLParser):
    """Tags, addresses and text of an HTML page."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []
        self.pieces: list[str] = []
        self.scripts: list[str] = []
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += attrs

    def handle_data(self, data):
        (self.scripts if self.tags[-1:] == ["script"] else self.pieces).append(data)

    def handle_endtag(self, tag):
        if tag == "script":
            self.tags.append("/script")

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.pieces).split())

    def values(self, *names: str) -> list[str]:
        return [value or "" for name, value in self.attributes if name in names]


def html_of(result: Result, path: Path, pictures=(), **more) -> str:
    write_report(result, pictures, path / "report.html", **more)
    return (path / "report.html").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def result() -> Result:
    return synthetic.result()


@pytest.fixture(scope="module")
def full(result, drawn, tmp_path_factory) -> str:
    """Report with all its pictures."""
    folder = tmp_path_factory.mktemp("full")
    pictures = drawn + write_charts(result, folder)
    return html_of(result, folder, pictures, day=date(2031, 4, 5), command="raysim dose a.toml")


def test_loads_nothing_and_runs_its_own_script_only(full):
    page = Page(full)
    assert not {"iframe", "object", "embed", "link", "form"} & set(page.tags)
    assert page.tags.count("script") == 2
    data, script = page.scripts
    assert json.loads(data)["faces"] > 0
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    policy = next(v for v in page.values("content") if v and v.startswith("default-src"))
    assert policy.startswith(f"default-src 'none'; script-src 'sha256-{digest}'; img-src data:;")
    assert not re.search(r"\b(fetch|XMLHttpRequest|import|eval|innerHTML|WebSocket)\b", script)
    assert not [name for name, _ in page.attributes if name.startswith("on")]
    addresses = page.values("src", "href", "srcset", "data", "action", "background")
    assert addresses
    assert all(address.startswith("data:image/png;base64,") for address in addresses)
    style = re.search(r"<style>(.*?)</style>", full, re.S).group(1)
    assert "url(" not in style
    assert "@import" not in style
    bare = re.sub(r"base64,[A-Za-z0-9+/=]+", "", full)
    assert set(re.findall(r"https?:[^\"'\s]*", bare)) == {
        "http://www.w3.org/2000/svg"
    }  # a name only


def test_all_pictures_are_inside(full):
    images = [v.split(",", 1)[1] for v in Page(full).values("src")]
    assert len(images) == 2 + 2 + 2  # overviews, objects, charts
    assert all(base64.b64decode(i).startswith(b"\x89PNG\r\n") for i in images)
    assert len(set(images)) == len(images)


def test_everything_a_user_names_is_escaped(result, drawn, tmp_path):
    hostile = synthetic.result(names=(NASTY, "{{ 7 * 7 }}"), title=NASTY)
    lamps = tuple(replace(lamp, name=NASTY) for lamp in hostile.triangles.lamps)
    surfaces = tuple(replace(s, name=NASTY, source=NASTY) for s in hostile.triangles.surfaces)
    triangles = replace(hostile.triangles, lamps=lamps, surfaces=surfaces)
    warning = replace(hostile.warnings[0], what=NASTY, file=NASTY)
    (meter,) = hostile.meters
    hostile = replace(
        hostile,
        triangles=triangles,
        warnings=(warning,),
        meters=(replace(meter, point=replace(meter.point, name=NASTY)),),
        assumptions=((NASTY, NASTY, NASTY),),
    )
    html = html_of(
        hostile, tmp_path, write_pictures(hostile, tmp_path),
        written_inputs=[(NASTY, NASTY)], command=NASTY,
    )  # fmt: skip
    plain = html_of(
        result, tmp_path, drawn,
        written_inputs=[("a", "b")], command="c",
    )  # fmt: skip
    page = Page(html)
    assert page.tags == Page(plain).tags
    assert "onerror" not in [name for name, _ in page.attributes]
    assert page.text.count(NASTY) > 15
    assert "{{ 7 * 7 }}" in page.text
    assert NASTY not in html


def test_bottom_line_says_what_the_result_says(result, full):
    lines = synthetic.lines_of(result)
    case = result.cases[CAUTIOUS]
    timer = minutes_seconds(result.timer)
    assert lines[0].startswith("READY AFTER a meter check and a seam survey. ")
    assert f"Then, unless the reading makes it longer, set the timer to {timer}, cou" in lines[0]
    whole = " ".join(lines)
    assert f"{case.worst.object}, {case.worst.part}, {case.worst.side}, lower left" in whole
    x, y, z = (1000.0 * case.worst.centroid).round().astype(int)
    assert f"x {x}, y {y}, z {z} mm" in whole
    seconds = result.timer - WARM_UP_LOSS
    dose = case.worst.irradiance * seconds / 10.0
    assert f"and {number(dose)} mJ/cm2 by the end of the timer" in whole
    assert "asked for are 1.2 × 1,000 mJ/cm2" in whole
    assert minutes_seconds(result.cases[EXPECTED].exposure_time) in whole
    assert "95% confidence" in whole
    ratio = case.best.irradiance / case.worst.irradiance
    assert f"{number(ratio)} times" in whole
    text = Page(full).text
    assert lines[0].startswith("READY AFTER a meter check and a seam survey. Then, unless the read")
    assert "READY AFTER a meter check and a seam survey. Then, unless the reading makes" in text
    for line in lines[1:]:
        assert line.replace("/cm2", "/cm²") in text


def test_the_head_of_the_report_tells_its_state_and_its_time_once(result, tmp_path):
    """Both stood in large letters, and again in the line below them."""
    forbidden = with_verdict(too_little_light())
    assert forbidden.verdict.forbids
    for judged, state in ((with_verdict(result), "READY AFTER"), (forbidden, "DO NOT USE")):
        head = html_of(judged, tmp_path).partition('<section class="answer')[2]
        head = head.partition("</section>")[0]
        assert head.count(state) == 1
        assert head.count(timer_words(judged)) == 1


def test_a_crew_chief_reads_three_lines(result, tmp_path):
    """The head of the report held up to nine sentences, and the terminal twenty."""
    judged = with_verdict(result)
    number_line, to_do, doubt = head_lines(judged)
    assert minutes_seconds(result.timer) in number_line
    assert to_do.startswith("No meter was read in this box. Mend: clamp the head of a calibrated")
    assert to_do.endswith("1 more to mend below.")
    assert doubt.startswith("Doubt: ")
    head = html_of(judged, tmp_path).partition('<section class="answer">')[2]
    head = head.partition("</section>")[0]
    assert head.count("<p") == 3  # the first is state and timer
    assert "<li" not in head
    below = [line for _, line in rows(judged)]
    assert len(below) == len(set(below))
    assert not {number_line, doubt, reason_lines(judged)[0]} & set(below)
    assert reason_lines(judged)[1] in below


def test_with_nothing_left_to_do_the_head_says_what_is_next(result):
    ready = replace(result, verdict=replace(with_verdict(result).verdict, reasons=()))
    assert head_lines(ready)[1].startswith("Hang the card beside the box")


def test_the_one_doubt_is_the_largest_part_of_the_budget(result):
    lining = Contribution("the lining", 1.0, 0.2, "somebody")
    lamps = Contribution("the lamps", 1.0, 0.1, "somebody")
    spot = result.cases[EXPECTED].worst
    budget = Budget(spot, spot.irradiance, (lining, lamps))
    words = head_lines(with_verdict(replace(result, budget=budget)))[2]
    assert "± 45% (k = 2), and the lining is" in words  # 2 sqrt(0.2^2 + 0.1^2)


def test_precision_missed_and_interruption_are_said(result):
    assert "precision" not in " ".join(synthetic.lines_of(result))
    missed = " ".join(synthetic.lines_of(replace(result, precision_asked=0.01)))
    assert "A precision of 1.0% was asked for, and 3.0% reached." in missed
    assert "was broken off" in " ".join(synthetic.lines_of(replace(result, interrupted=True)))


def test_interruption_stands_in_the_report(result, tmp_path):
    assert "Interrupted run" not in html_of(result, tmp_path)
    assert "Interrupted run" in html_of(replace(result, interrupted=True), tmp_path)


def test_no_finite_time(tmp_path):
    dark = synthetic.result(dark=True)
    lines = synthetic.lines_of(dark)
    assert lines[0] == "DO NOT USE. There is no timer setting."
    assert lines[1].startswith("No time can be vouched for: respirator 2 shell gets too little")
    where = next(k for k, line in enumerate(lines) if line.startswith("No light was found at resp"))
    assert "add a lamp" in lines[where + 1]
    text = Page(html_of(dark, tmp_path)).text
    assert "no time can be vouched for" in text.casefold()
    assert "Dose of each object at the timer" not in text
    assert "nan" not in text.lower().replace("finance", "")
    assert doses_table(dark) is None
    assert reflectance_gain(dark) is None


def too_little_light(**changes):
    """A result without a time although some light was found at its worst spot."""
    lit = synthetic.result()
    case = replace(lit.cases[CAUTIOUS], bound=0.0, exposure_time=np.inf)
    return replace(lit, cases={**lit.cases, CAUTIOUS: case}, **changes)


def test_a_spot_with_too_little_light_asks_for_photons_and_says_what_they_can_give():
    result = too_little_light(precision_asked=0.02)
    lines = synthetic.lines_of(result)
    where = next(k for k, line in enumerate(lines) if "it could be none" in line)
    assert "More photons" in lines[where + 1]
    worst = result.cases[CAUTIOUS].worst
    most = worst.irradiance + 2.0 * worst.standard_error
    least = minutes_seconds(1.2 * 10_000.0 / most + WARM_UP_LOSS)
    advice = lines[where + 1]
    assert f"hardly one below {least}." in advice
    assert advice.index("More photons") < advice.index("turn or move")
    assert any("must not set a timer" in line for line in lines)


def test_what_is_too_dark_to_wait_for_asks_for_light_and_not_for_photons():
    lit = too_little_light(precision_asked=0.02)
    case = lit.cases[CAUTIOUS]
    # 1.2 x 10 kJ/m2 in a week are 0.0198 W/m2; two errors are on top of the first figure.
    for irradiance, is_too_dark in ((0.0189, True), (0.0199, False)):
        spot = replace(case.worst, irradiance=irradiance, standard_error=0.0001)
        cases = {**lit.cases, CAUTIOUS: replace(case, worst=spot)}
        words = " ".join(synthetic.lines_of(replace(lit, cases=cases)))
        assert ("more than a week" in words) == is_too_dark
        assert ("it could be none" in words) != is_too_dark
        assert ("More photons" in words) != is_too_dark
        assert "turn or move" in words


def test_a_timer_of_more_than_a_week_is_told_before_all_else():
    lit = replace(synthetic.result(), precision_asked=0.001)
    case = lit.cases[CAUTIOUS]
    for days, is_too_long in ((6.9, False), (7.1, True)):
        slow = replace(case, exposure_time=days * 86_400.0, precision=0.5)
        lines = synthetic.lines_of(replace(lit, cases={**lit.cases, CAUTIOUS: slow}))
        assert lines[0].startswith("DO NOT USE.")
        assert ("more than a week" in lines[0]) == is_too_long
        assert lines[1].startswith("One cycle takes longer than a shift of 8 h.")


@pytest.mark.parametrize("dark", [True, False])
def test_without_a_time_the_first_advice_follows_the_cause(dark):
    # Few photons, or a run broken off, say nothing against how the respirators hang.
    for changes, first in (
        ({"precision_asked": None}, "Nothing need be wrong with how it hangs"),
        ({"precision_asked": 0.02, "interrupted": True}, "Go on with the run first (--resume)"),
    ):
        result = too_little_light(**changes)
        if dark:
            result = replace(synthetic.result(dark=True), **changes)
        advice = next(line for line in synthetic.lines_of(result) if "turn or move" in line)
        assert advice.startswith(first)
        assert "nly if" in advice.partition("turn or move")[0]


def test_cautions_stand_in_the_report(full):
    text = Page(full).text
    assert CAUTION_LINE in text
    assert len(CAUTIONS) >= 8
    for caution in CAUTIONS:
        assert caution in text
    together = " ".join(CAUTIONS).lower()
    for word in (
        "injures eyes and skin", "crisis", "not a medical device", "calibrated", "maker",
        "regulator", "local codes", "licensed",
    ):  # fmt: skip
        assert word in together
        assert word in CAUTION_LINE.lower()


def test_the_word_never_to_be_used_is_not(full):
    folder = resources.files("raysim.output.pages").joinpath("templates")
    sources = [one.read_text(encoding="utf-8") for one in folder.iterdir()]
    assert len(sources) > 8
    source = "".join(sources)
    assert "steril" not in (full + source).lower()


def test_repeat_block_and_date(full, result):
    text = Page(full).text
    for piece in ("2031-04-05", result.sha256, "raysim dose a.toml", "1,000,000", "5,000 on 0"):
        assert piece in text
    for word in ("Prepared by", "Checked by", "signature", "date"):
        assert word in text


def test_cases_table(result):
    table = cases_table(result)
    cells = {row[0]: row[1:] for row in table.rows}
    assert table.headings[1:] == (CAUTIOUS, EXPECTED, BRIGHT)
    assert cells["lamp output, share of rating"] == ("0.680", "1.00", "1.00")
    worst = result.cases[CAUTIOUS].worst
    shown = f"{number(worst.irradiance / 10)} ± {number(worst.standard_error / 10, 2)}"
    assert cells["its irradiance ± standard error, mW/cm²"][0] == shown
    times = cells["exposure time from a cold start"]
    assert times[0] == f"{minutes_seconds(result.timer)} (sets the timer)"
    assert times[1] == minutes_seconds(result.cases[EXPECTED].exposure_time)


def test_a_case_counted_too_coarsely_is_not_quoted(result):
    coarse = replace(result.cases[BRIGHT], bound=0.0, exposure_time=np.inf)
    changed = replace(result, cases={**result.cases, BRIGHT: coarse})
    rows = [row for row in cases_table(changed).rows if row[3] == NOT_CLEAR]
    assert len(rows) == 3  # its time is never quoted: that case is for wear
    assert all(NOT_CLEAR not in row[1:3] for row in rows)


def test_objects_table(result):
    table = objects_table(result)
    assert [row[0] for row in table.rows] == ["respirator 1", "respirator 2", "all judged faces"]
    case = result.cases[CAUTIOUS]
    for row, summary in zip(table.rows, (*case.per_object, case.summary), strict=True):
        assert row[1] == number(summary.worst / 10)
        assert row[5] == number(summary.mean / 10)
        assert row[6] == number(summary.best / 10)
    bound = case.per_object[1].bound
    alone = exposure_time(bound, synthetic.TARGET, synthetic.SAFETY, synthetic.WARM_UP)
    assert table.rows[1][-1] == minutes_seconds(alone)
    assert table.rows[2][-1] == minutes_seconds(result.timer)


def test_doses_table(result):
    seconds = result.timer - WARM_UP_LOSS
    for row, summary in zip(
        doses_table(result).rows, result.cases[CAUTIOUS].per_object, strict=False
    ):
        assert row[4] == number(summary.percentile_5 * seconds / 10.0)


def test_energy_table_adds_up(result):
    rows = energy_table(result).rows
    assert rows[-1][0] == "emitted by the lamps"
    assert rows[-1][1:] == ("3.26", "100.0", "4.80", "100.0")
    for column in (2, 4):
        assert sum(float(row[column]) for row in rows[:-1]) == pytest.approx(100.0, abs=0.6)


def test_lamps_table_shares_the_light_on_the_worst_spot(result):
    rows = lamps_table(result).rows
    assert [row[0] for row in rows] == ["front lamp", "rear lamp"]
    assert rows[1][1:3] == ("2.40", "100")
    worst = result.cases[CAUTIOUS].worst
    side = ("outside", "inside").index(worst.side)
    there = result.lamp_irradiance[0, :, worst.face, side]
    assert rows[0][3] == f"{100 * there[0] / there.sum():.0f}"
    assert sum(int(row[3]) for row in rows) in (99, 100, 101)


def test_surfaces_table_has_every_surface_in_use(result):
    rows = surfaces_table(result.triangles).rows
    assert [row[0] for row in rows] == [s.name for s in result.triangles.surfaces]
    cloth = rows[2]
    assert cloth[1] == "shell of 2 objects"
    assert cloth[3:6] == ("0.05", "0.25", "0.6")
    assert cloth[2].endswith("(estimate, no source)")


def test_uncertainty_says_what_the_bound_leaves_out(result):
    words = " ".join(" ".join(uncertainty_words(result)).split())
    assert f"gets less than {number(result.cases[CAUTIOUS].bound / 10)} mW/cm²" in words
    for word in ("reflectance", "output of the lamps", "shape", "calibrated", "68% of the rated"):
        assert word in words
    gain = reflectance_gain(result)
    worst = [result.cases[case].worst.irradiance for case in (CAUTIOUS, EXPECTED)]
    assert gain == pytest.approx(worst[1] / (worst[0] / 0.68))


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (0.0, "0"),
        (1.0, "1.00"),
        (0.99999, "1.00"),
        (9.996, "10.0"),
        (0.012345, "0.0123"),
        (1234.5, "1,230"),
        (99950.0, "100,000"),
        (-3.14159, "-3.14"),
        (2.5e-7, "2.50 × 10^-7"),
        (np.float64(305.49), "305"),
    ],
)
def test_number(value, words):
    assert number(value) == words


def test_faint_light_is_told_without_powers_of_ten():
    assert irradiance_words(5.46e-4, 3e-5) == "under 0.0001"
    assert irradiance_words(5.46e-3, 3e-5) == "0.000546 ± 0.0000030"
    assert irradiance_words(0.0, 0.0) == "0 ± 0"


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (859.3, "14 min 20 s"),
        (86_400.0, "24 h 00 min 00 s"),
        (86_401.0, "1 d 01 h"),
        (3 * 86_400.0 + 7201.0, "3 d 03 h"),
        (LONGEST_TIME, "7 d 00 h"),
        (LONGEST_TIME + 1.0, "more than a week"),
        (math.inf, "more than a week"),
    ],
)
def test_a_time_of_days_has_no_seconds(seconds, words):
    assert told_time(seconds) == words


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (0.0, "0 s"),
        (599.0, "9 min 59 s"),
        (601.0, "11 min"),
        (42_361.0, "11 h 47 min"),
        (86_400.0, "24 h 00 min"),
        (100_000.0, "1 d 04 h"),
        (math.inf, "more than a week"),
    ],
)
def test_an_estimate_has_no_seconds(seconds, words):
    """It told "about 11 h 46 min 01 s" without a bound."""
    assert about_time(seconds) == words


def test_the_doubt_does_not_ask_for_a_meter_that_was_read():
    whole = synthetic.result()
    assert "only a calibrated 254 nm meter tells" in doubt_line(whole)
    assert doubt_line(synthetic.read(whole, 25.0)).endswith(
        "the meter readings agree, but were taken elsewhere in the box."
    )
    assert doubt_line(synthetic.read(whole, 2.0)).endswith("do not agree with the calculation.")


def test_of_an_only_lamp_no_further_run_is_advised():
    """'raysim dose --without' refuses to leave no lamp, and nothing is open: there is no light."""
    whole = synthetic.result()
    dark = replace(whole.cases[CAUTIOUS].worst, irradiance=0.0, standard_error=0.0, lower_bound=0.0)
    mast, rear = (LampFailure(name, dark, np.inf, 0.0, False) for name in ("mast", "rear"))
    alone = failure_line(replace(whole, lamp_failures=(mast,)))
    assert alone.startswith('Lamp "mast" is the only lamp that burns')
    assert "nothing in the box gets any light" in alone
    assert "--without" not in alone
    assert "--without" in failure_line(replace(whole, lamp_failures=(mast, rear)))
    table = failures_table(replace(whole, lamp_failures=(mast,)))
    assert table.rows[0][4] == "no light"
    assert 'Lamp "mast" is the only lamp that burns' in table.note
    assert "--without" not in table.note


def test_a_row_that_this_run_did_not_look_at_tells_no_time_as_if_it_were_known():
    """White paint: three rows of "no finite time", where another run finds 40 h."""
    whole = synthetic.result()
    spot = replace(whole.cases[CAUTIOUS].worst, irradiance=1.0, lower_bound=0.95)
    rough, dark = (replace(spot, lower_bound=bound) for bound in (0.5, 0.0))
    rows = tuple(
        LampFailure(name, worst, time, dose, False)
        for name, worst, time, dose in (
            ("a", spot, 600.0, 9.5e3),
            ("b", rough, 900.0, 5e3),
            ("c", dark, np.inf, 0.0),
        )
    )
    table = failures_table(replace(whole, lamp_failures=rows))
    assert [row[5] for row in table.rows] == ["950", "500", "not settled"]
    assert [row[4] for row in table.rows] == ["10 min 00 s", "at most 15 min 00 s", "not settled"]
    assert 'Without "b" or "c" another spot is the worst' in table.note
    note = failures_table(replace(whole, lamp_failures=rows[1:])).note
    assert "Without any one of them another spot" in note
