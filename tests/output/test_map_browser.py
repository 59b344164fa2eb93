"""Tests of the map in a headless Chromium: it draws, turns, tells, and reaches for nothing."""

import base64
import io
import json
import re
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest
import synthetic
from browser import Browser, find_chromium
from PIL import Image

from raysim.base.cases import CAUTIOUS
from raysim.dose.result import Result
from raysim.output.pages.report import write_report
from raysim.output.pictures.pictures import OVERVIEW, Picture
from raysim.output.words.numbers import number
from raysim.scene.triangles import SIDES

pytestmark = pytest.mark.skipif(
    find_chromium() is None,
    reason="no Chromium was found: apt-get install chromium, or name one in RAYSIM_CHROMIUM",
)
CLOSING = "</script><script>window.hit = 1</script>"
IMAGE = "<img src=x onerror='window.hit = 1'>"


def page_of(result: Result, folder: Path) -> Path:
    """Report of a result, with one picture that is all red."""
    red = folder / "red.png"
    Image.new("RGB", (60, 40), (255, 0, 0)).save(red)
    picture = Picture(red, "A picture", "All red.", OVERVIEW)
    write_report(result, [picture], folder / "report.html", day=date(2031, 4, 5))
    return folder / "report.html"


@pytest.fixture(scope="module")
def result() -> Result:
    return synthetic.result()


@pytest.fixture(scope="module")
def page(result, tmp_path_factory) -> Path:
    return page_of(result, tmp_path_factory.mktemp("map"))


@pytest.fixture(scope="module")
def window():
    with Browser() as browser:
        yield browser


@pytest.fixture
def browser(window, page):
    """The page as it is when just opened; afterwards nothing may have been complained of."""
    window.requests.clear()
    window.complaints.clear()
    window.open(page)
    yield window
    assert window.complaints == []
    assert window.requests == [page.absolute().as_uri()]


def drawn(browser: Browser, words: bool = False) -> np.ndarray:
    """What stands on the map, (height, width, 3) int, with or without the words over it."""
    shown = "" if words else "hidden"
    browser.value(f"document.querySelector('.map-stage svg').style.visibility = '{shown}'")
    at = browser.stage()
    browser.redrawn()
    image = Image.open(io.BytesIO(browser.screenshot())).convert("RGB")
    box = [round(v) for v in (at["x"], at["y"], at["x"] + at["width"], at["y"] + at["height"])]
    return np.asarray(image.crop(box), int)[3:-3, 3:-3]  # without the frame


def unlike(a: np.ndarray, b: np.ndarray) -> float:
    """Share of the pixels that differ by more than a shade."""
    return float((np.abs(a - b).max(axis=2) > 12).mean())


def told(browser: Browser, x: float, y: float) -> str:
    """What the page says of the spot at a place of the map, CSS px."""
    at = browser.stage()
    browser.mouse("mouseMoved", at["x"] + x, at["y"] + y)
    browser.redrawn()
    return str(browser.value("document.querySelector('[data-map=readout]').textContent"))


def press(browser: Browser, name: str) -> None:
    browser.value(f"document.querySelector('[data-map={name}]').click()")
    browser.redrawn()


def ring(browser: Browser) -> tuple[float, float, bool]:
    """Place of the ring of the worst spot, CSS px, and whether it is broken."""
    script = (
        "(() => { const c = [...document.querySelectorAll('.map-stage circle')].pop();"
        " return [Number(c.getAttribute('cx')), Number(c.getAttribute('cy')),"
        " c.getAttribute('class').includes('broken')]; })()"
    )
    x, y, broken = browser.value(script)
    return x, y, broken


def test_draws_the_loaded_box(browser):
    image = drawn(browser)
    assert ((image != 255).any(axis=2)).mean() > 0.1
    colourful = image.max(axis=2) - image.min(axis=2) > 60
    assert colourful.mean() > 0.01
    assert browser.value("document.getElementById('map-missing').hidden")


def test_turning_changes_the_picture_and_turning_back_restores_it(browser):
    before, at = drawn(browser), browser.stage()
    x, y = at["x"] + 0.4 * at["width"], at["y"] + 0.5 * at["height"]
    browser.drag((x, y), (x + 90, y + 20))
    turned = drawn(browser)
    browser.drag((x + 90, y + 20), (x, y))
    assert unlike(before, turned) > 0.05
    assert unlike(before, drawn(browser)) < 0.002


def test_the_wheel_scrolls_the_page_until_the_map_is_chosen(browser):
    at = browser.stage()
    x, y = at["x"] + 50, at["y"] + 50
    scrolled = browser.value("scrollY")
    browser.mouse("mouseWheel", x, y, deltaX=0, deltaY=60)
    browser.wait(f"scrollY > {scrolled}")
    before = drawn(browser)
    browser.value("document.querySelector('#map canvas').focus()")
    scrolled = browser.value("scrollY")
    browser.mouse("mouseWheel", x, y, deltaX=0, deltaY=-120)
    browser.redrawn()
    assert browser.value("scrollY") == scrolled
    assert unlike(before, drawn(browser)) > 0.02


def test_an_object_is_chosen_by_its_name(browser, result):
    options = (
        "[...document.querySelectorAll('[data-map=object] option')].map(o => [o.text, o.value])"
    )
    values = dict(browser.value(options))
    assert list(values) == ["the whole box", "respirator 1", "respirator 2"]
    whole = drawn(browser)
    names = []
    for name in ("respirator 1", "respirator 2"):
        browser.choose("object", values[name])
        assert unlike(whole, drawn(browser)) > 0.2
        press(browser, "worst")
        names.append(told(browser, *ring(browser)[:2]).split(",")[0])
    assert names == ["respirator 1", "respirator 2"]
    browser.choose("part", "straps")
    at = browser.stage()
    said = [
        told(browser, x, y)
        for x in np.linspace(0.3, 0.7, 7) * at["width"]
        for y in (0.3 * at["height"], 0.6 * at["height"])
    ]
    assert not any("shell" in one for one in said)


def test_the_worst_spot_is_marked_where_it_is(browser, result):
    press(browser, "worst")
    x, y, broken = ring(browser)
    assert not broken
    spot = result.cases[CAUTIOUS].worst
    said = told(browser, x, y)
    assert said.startswith(f"{spot.object}, {spot.part}, {spot.side}, face {spot.face}: ")
    assert f": {number(spot.irradiance / 10.0)} mW/cm² ± 1.0 %;" in said
    dose = spot.irradiance * result.warm_up.effective_seconds(result.timer) / 10.0
    assert f"{number(dose)} mJ/cm² at the timer" in said
    words = browser.value(
        "[...document.querySelectorAll('.map-stage text')].map(t => t.textContent)"
    )
    assert "worst spot" in words
    assert f"{spot.side}, {number(spot.irradiance / 10.0)} mW/cm²" in words


def test_a_spot_behind_something_has_a_broken_ring(browser):
    press(browser, "worst")
    assert not ring(browser)[2]
    browser.choose(
        "sides", "outside" if "inside" in told(browser, *ring(browser)[:2]) else "inside"
    )
    assert ring(browser)[2]


def test_colours_are_those_of_the_values_read_out(browser, result):
    """What the graphics draws and what the page says come from unlike code: they must agree."""
    from matplotlib import colormaps

    from raysim.output.pictures.scale import dose_scale

    scale = dose_scale(result, CAUTIOUS)
    press(browser, "start")
    browser.choose(
        "object", browser.value("document.querySelector('[data-map=object]').options[1].value")
    )
    image, at = drawn(browser), browser.stage()
    good, seen = 0, set()
    places = [(x, y) for x in np.linspace(0.36, 0.64, 9) for y in np.linspace(0.3, 0.85, 8)]
    for x, y in np.array(places) * [at["width"], at["height"]]:
        said = re.search(r", (outside|inside), face (\d+):", told(browser, x, y))
        if said is None:
            continue
        face, side = int(said.group(2)), SIDES.index(said.group(1))
        seen.add((face, side))
        place = scale.position(scale.values[face, side])
        wanted = 255.0 * np.array(colormaps["viridis"](float(place))[:3])
        got = image[round(y) - 4, round(x) - 4]  # the frame is one pixel, three were cut
        shade = got.sum() / wanted.sum()
        good += bool(0.82 <= shade <= 1.02 and np.abs(got - shade * wanted).max() < 9)
    assert len(seen) > 25
    assert good >= 0.85 * len(seen)  # the rest lie under a contour or at an edge


def test_one_side_alone_can_be_shown(browser):
    body = browser.value("document.querySelector('[data-map=object]').options[1].value")
    browser.choose("object", body)
    at = browser.stage()
    for side, other in (("outside", "inside"), ("inside", "outside")):
        browser.choose("sides", side)
        said = [
            told(browser, x, 0.6 * at["height"]) for x in np.linspace(0.4, 0.6, 11) * at["width"]
        ]
        assert any(f", {side}, face" in one for one in said)
        assert not any(f", {other}, face" in one for one in said)
    shown = drawn(browser)
    browser.choose("sides", "through")
    assert unlike(shown, drawn(browser)) > 0.02
    said = [told(browser, x, 0.6 * at["height"]) for x in np.linspace(0.4, 0.6, 11) * at["width"]]
    assert not any(", outside, face" in one for one in said)


def test_cutting_away_opens_what_lies_behind(browser):
    before = drawn(browser)
    browser.value(
        "(() => { const e = document.querySelector('[data-map=cut]'); e.value = 55;"
        " e.dispatchEvent(new Event('input')); })()"
    )
    assert unlike(before, drawn(browser)) > 0.05
    press(browser, "start")
    assert unlike(before, drawn(browser)) < 0.002


def test_the_colours_grow_lighter_with_the_dose(browser):
    bar = bar_of(browser)
    light = bar @ [0.2126, 0.7152, 0.0722]
    means = [part.mean() for part in np.array_split(light, 16)]
    assert np.all(np.diff(means) > 5.0)


def test_patterns_need_no_colour(browser):
    browser.choose(
        "object", browser.value("document.querySelector('[data-map=object]').options[1].value")
    )
    coloured = drawn(browser)
    browser.choose("way", "patterns")
    image = drawn(browser)
    assert np.abs(image.max(axis=2) - image.min(axis=2)).max() <= 2
    assert unlike(coloured, image) > 0.1
    bands = json.loads(browser.value("document.getElementById('map-data').textContent"))["scale"]
    limits = [value for value, _ in bands["bands"]]
    ends = np.array([bands["low"], *limits, bands["high"]])
    spaced = np.log(ends) if bands["logarithmic"] else ends
    places = (spaced - spaced[0]) / (spaced[-1] - spaced[0])
    bar = bar_of(browser, rows=True).mean(axis=(0, 2))
    means = [
        bar[int(a * len(bar)) : int(b * len(bar))].mean()
        for a, b in zip(places, places[1:], strict=False)
        if (b - a) * len(bar) > 24
    ]
    assert len(means) >= 3
    assert np.all(np.diff(means) > 4.0)


def bar_of(browser: Browser, rows: bool = False) -> np.ndarray:
    """Colours of the bar of the legend, (width, 3), or all its rows."""
    url = browser.value("document.querySelector('.map-legend canvas').toDataURL()")
    image = np.asarray(Image.open(io.BytesIO(base64.b64decode(url.split(",")[1]))).convert("RGB"))
    return image.astype(float) if rows else image[11].astype(float)


def test_the_legend_names_quantity_unit_and_marks(browser, result):
    text = browser.value("document.querySelector('.map-legend').textContent")
    assert "dose at the timer, mJ/cm²" in text
    assert "cautious case" in text
    assert "target 1,000" in text
    assert "target × 1.2 1,200" in text


def test_keys_do_what_the_mouse_does(browser):
    browser.value("document.querySelector('#map canvas').focus()")
    frames = [drawn(browser)]
    for key, modifiers in (("ArrowLeft", 0), ("ArrowUp", 0), ("ArrowRight", 8), ("+", 0)):
        browser.key(key, modifiers)
        browser.redrawn()
        frames.append(drawn(browser))
        assert unlike(frames[-2], frames[-1]) > 0.02, key
    browser.key("Home")
    browser.redrawn()
    assert unlike(frames[0], drawn(browser)) < 0.002
    browser.key("n")
    browser.redrawn()
    chosen = "document.querySelector('[data-map=object]').selectedOptions[0].text"
    assert browser.value(chosen) == "respirator 1"
    browser.key("p")
    assert browser.value(chosen) == "the whole box"
    browser.key("w")
    browser.redrawn()
    readout = "document.querySelector('[data-map=readout]')"
    assert browser.value(f"{readout}.getAttribute('aria-live')") == "polite"
    assert browser.value("document.querySelector('.map-cross') !== null")
    browser.key("Tab")
    assert browser.value("document.activeElement.tagName") != "CANVAS"


def test_a_phone_shows_it_without_scrolling_sideways(window, page):
    with phone(window, page) as browser:
        assert browser.value("document.documentElement.scrollWidth <= innerWidth")
        # A picture is pushed along within its own frame: shrunk to the phone, nobody could read it.
        frame = "document.querySelector('.figures figure')"
        assert browser.value(f"{frame}.querySelector('img').clientWidth") > 600
        assert browser.value(f"{frame}.clientWidth < innerWidth")
        before, at = drawn(browser), browser.stage()
        assert at["width"] > 300
        assert at["height"] < 0.7 * 740  # room left to scroll past it
        x, y = at["x"] + 0.5 * at["width"], at["y"] + 0.5 * at["height"]
        browser.touch("touchStart", (x, y))
        browser.touch("touchMove", (x + 60, y + 10))
        browser.touch("touchEnd")
        turned = drawn(browser)
        assert unlike(before, turned) > 0.05
        browser.touch("touchStart", (x - 30, y), (x + 30, y))
        browser.touch("touchMove", (x - 60, y), (x + 60, y))
        browser.touch("touchEnd")
        nearer = drawn(browser)
        assert (nearer != 255).any(axis=2).mean() > 1.3 * (turned != 255).any(axis=2).mean()


class phone:  # noqa: N801
    """The page in the window of a phone with fingers on it."""

    def __init__(self, window: Browser, page: Path) -> None:
        self.window, self.page = window, page

    def __enter__(self) -> Browser:
        size = {"width": 360, "height": 740, "deviceScaleFactor": 1, "mobile": True}
        self.window.ask("Emulation.setDeviceMetricsOverride", **size)
        self.window.ask("Emulation.setTouchEmulationEnabled", enabled=True)
        self.window.open(self.page)
        return self.window

    def __exit__(self, *_: object) -> None:
        self.window.ask("Emulation.setTouchEmulationEnabled", enabled=False)
        self.window.ask("Emulation.clearDeviceMetricsOverride")


def test_on_paper_stand_the_pictures(browser):
    browser.ask("Emulation.setEmulatedMedia", media="print")
    shown = "getComputedStyle(document.querySelector('{}')).display"
    try:
        assert browser.value(shown.format("#map")) == "none"
        assert browser.value(shown.format("figure img")) == "block"
        assert browser.value(shown.format(".map-paper")) == "block"
    finally:
        browser.ask("Emulation.setEmulatedMedia", media="")
    printed = browser.ask("Page.printToPDF", printBackground=True, preferCSSPageSize=True)
    pdf = base64.b64decode(printed["data"])
    sizes = re.findall(rb"/MediaBox\s*\[\s*0 0 ([0-9.]+) ([0-9.]+)\s*\]", pdf)
    assert len(sizes) >= 2
    for width, height in sizes:
        assert (float(width), float(height)) == pytest.approx((595.3, 841.9), abs=1.5)
    assert b"/Subtype /Image" in pdf


def test_without_webgl_the_pictures_stay(page):
    with Browser("--disable-3d-apis") as browser:
        browser.open(page)
        assert browser.value("document.getElementById('map').hidden")
        assert not browser.value("document.getElementById('map-missing').hidden")
        assert browser.value("document.querySelector('figure img').complete")
        assert not [
            c for c in browser.complaints if "cannot be drawn" not in c and "WebGL" not in c
        ]


def test_names_stay_names(window, tmp_path):
    names = (CLOSING, IMAGE)
    tricky = synthetic.result(names=names, title=CLOSING)
    lamps = tuple(replace(lamp, name=IMAGE) for lamp in tricky.triangles.lamps)
    tricky = replace(tricky, triangles=replace(tricky.triangles, lamps=lamps))
    window.requests.clear()
    window.complaints.clear()
    window.open(page_of(tricky, tmp_path))
    options = "[...document.querySelectorAll('[data-map=object] option')].map(o => o.text)"
    assert window.value(options)[1:] == list(names)
    press(window, "worst")
    assert told(window, *ring(window)[:2]).startswith(tricky.cases[CAUTIOUS].worst.object)
    assert window.value("window.hit === undefined")
    assert len(window.requests) == 1
    assert window.complaints == []


def test_the_policy_lets_no_other_script_run(window, page):
    window.open(page)
    window.value(
        "(() => { const s = document.createElement('script'); s.textContent = 'window.hit = 2';"
        " document.body.append(s); })()"
    )
    assert window.value("window.hit === undefined")
