"""The operator's card."""

import base64
import re
from dataclasses import replace
from datetime import date
from html import unescape

import pytest
import synthetic
from browser import Browser, find_chromium
from PIL import Image

from raysim.assess.reuse import reuse
from raysim.base.units import minutes_seconds
from raysim.output.pages import card as card_page
from raysim.output.pages import card_png
from raysim.output.pages.card import STEPS, Card, card_of, card_origin, write_card
from raysim.output.pages.card_png import write_card_png
from raysim.output.pictures.pictures import LOAD, Picture
from raysim.output.words.cautions import CAUTION_LINE
from raysim.output.words.sentences import reservations
from raysim.scene.file.written import SceneAsWritten
from raysim.verdict.rules import with_verdict


def with_wear(**wear):
    data = {
        "title": "Box <1>",
        "chamber": {"inside": [300, 250, 350], "lining": "foil", "sheet": 12},
        "lamp": [{"name": "a", "from": [9, 9, 9], "to": [9, 9, 99], "diameter": 9, "uvc": "1 W"}],
        "wear": wear,
    }
    written = SceneAsWritten.model_validate(data, context={"metres_per_unit": 0.001})
    return replace(synthetic.result(), written=written)


@pytest.mark.parametrize("dose", ["120 J/cm2", "60 J/cm2"])
def test_card_shows_timer_cautions_and_a_box_for_each_cycle(tmp_path, dose):
    whole = with_wear(material_dose=dose, strap_dose=dose)
    write_card(whole, [], tmp_path / "card.html")
    text = (tmp_path / "card.html").read_text()
    assert minutes_seconds(whole.timer) in text
    assert CAUTION_LINE in text
    assert all(step in unescape(text) for step in STEPS)
    cycles = reuse(whole).cycles
    assert cycles > 0
    assert text.count('class="box"') == 2 * cycles  # two respirators
    assert "<script" not in text
    assert not re.search(r'(src|href)="(?!data:)', text)


def test_card_without_a_timer_says_not_to_use_the_box(tmp_path):
    write_card(synthetic.result(dark=True), [], tmp_path / "card.html")
    text = (tmp_path / "card.html").read_text()
    assert "DO NOT USE" in text
    assert 'class="box"' not in text


def test_no_box_where_not_even_one_cycle_is_allowed(tmp_path):
    whole = with_verdict(with_wear(material_dose="0.1 J/cm2"))
    assert card_of(whole).boxes == 0
    write_card(whole, [], tmp_path / "card.html")
    assert "not even one cycle is allowed" in (tmp_path / "card.html").read_text()


def test_card_is_also_a_page_of_a4(tmp_path):
    write_card_png(with_wear(), [], tmp_path / "card.png")
    with Image.open(tmp_path / "card.png") as image:
        assert image.height / image.width == pytest.approx(297 / 210, rel=0.01)
        assert len(image.convert("L").getcolors()) > 10  # something is on it


def many(monkeypatch, rows: int, boxes: int) -> Card:
    """Make every card one of so many respirators and tally boxes."""
    names = tuple((k, f"respirator {k}") for k in range(1, rows + 1))
    made = replace(card_of(with_wear()), rows=names, boxes=boxes)
    for module in (card_page, card_png):
        monkeypatch.setattr(module, "card_of", lambda _: made)
    return made


@pytest.mark.parametrize(("rows", "boxes"), [(8, 3), (9, 3), (16, 3), (16, 12), (1, 1)])
def test_the_columns_of_a_tally_hold_every_row_once(monkeypatch, rows, boxes):
    made = many(monkeypatch, rows, boxes)
    assert tuple(row for column in made.in_columns for row in column) == made.rows
    assert made.columns == (2 if rows > 8 and boxes < 6 else 1)


@pytest.mark.skipif(
    find_chromium() is None, reason="no Chromium was found: apt-get install chromium"
)
@pytest.mark.parametrize("boxes", [3, 12])
def test_a_card_of_sixteen_is_one_page_to_print(monkeypatch, tmp_path, boxes):
    """Those of a wardrobe ran over two pages."""
    many(monkeypatch, 16, boxes)
    Image.new("RGB", (800, 900), (255, 0, 0)).save(tmp_path / "load.png")
    write_card(with_wear(), [Picture(tmp_path / "load.png", "", "", LOAD)], tmp_path / "card.html")
    with Browser() as browser:
        browser.ask("Page.navigate", url=(tmp_path / "card.html").as_uri())
        browser.wait("document.images.length && document.images[0].complete")
        printed = base64.b64decode(browser.ask("Page.printToPDF", preferCSSPageSize=True)["data"])
    assert len(re.findall(rb"/Type /Page\b", printed)) == 1


@pytest.mark.parametrize(("rows", "boxes", "further"), [(16, 3, 0), (16, 12, 0), (70, 3, 1)])
def test_no_respirator_is_missing_on_the_printed_picture(
    monkeypatch, tmp_path, rows, boxes, further
):
    """Two of sixteen were left out; those without a place on the page follow on another."""
    many(monkeypatch, rows, boxes)
    drawn: list[tuple[str, float]] = []
    row_drawn = card_png._row

    def recorded(figure, place, words, count):
        assert count == boxes
        drawn.append((words, place[1]))
        row_drawn(figure, place, words, count)

    monkeypatch.setattr(card_png, "_row", recorded)
    write_card_png(with_wear(), [], tmp_path / "card.png")
    assert [words for words, _ in drawn] == [f"{k}  respirator {k}" for k in range(1, rows + 1)]
    assert min(low for _, low in drawn) > card_png.FOOT - 1e-9
    assert len(list((tmp_path / "pictures").glob("card_*.png"))) == further


def test_a_card_says_which_calculation_it_goes_back_to(tmp_path):
    """A card on the wall outlives the box that it was made for."""
    whole = with_wear()
    words = card_origin(whole, date(2031, 2, 3))
    assert words.startswith(f"Calculated on 2031-02-03 by raysim {whole.raysim_version}, scene ")
    assert whole.sha256[:12] in words
    write_card(with_verdict(replace(whole, interrupted=True)), [], tmp_path / "card.html")
    text = (tmp_path / "card.html").read_text()
    assert whole.sha256[:12] in text
    assert "The run was broken off" in text


def test_reservations_stand_above_all_on_report_and_card(tmp_path):
    """mJ for J made a card of '21 s' with no word of doubt on it."""
    whole = with_wear()
    assert reservations(replace(whole, target_dose=1e4)) == []
    low = with_verdict(replace(whole, target_dose=10.0, without=("rear left",)))
    (left_out,) = reservations(low)
    assert '"rear left" is taken as out' in left_out
    target = "The target, 1 mJ/cm2, is 1,000.0 times below the 1,000 mJ/cm2 in print"
    assert any(line.startswith(target) for line in synthetic.lines_of(low)[1:6])
    write_card(low, [], tmp_path / "card.html")
    text = (tmp_path / "card.html").read_text()
    for words in (target, left_out.split('"')[0]):
        assert text.index(words) < text.index(CAUTION_LINE)


def test_sheets_fit_a_phone(tmp_path):
    """Without this a phone shows a page of 980 px, too small to read."""
    write_card(with_wear(), [], tmp_path / "card.html")
    text = (tmp_path / "card.html").read_text()
    assert '<meta name="viewport" content="width=device-width, initial-scale=1">' in text
    assert "@media screen and (max-width: 34rem)" in text
