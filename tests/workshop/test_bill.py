"""What has to be bought, with prices: what is missing is counted, and two currencies are refused."""

import math

import pytest
from test_fixings import marks, scene

from raysim.base.errors import RaysimError
from raysim.workshop.bill import Bill, Line, lamp_name, lines
from raysim.workshop.grid import MM
from raysim.workshop.nesting import Stock
from raysim.workshop.prices import blank_prices, priced

LINES = (Line("hinge", 2, "pieces"), Line("lining: foil", 1.3, "m2"), Line("latch", 1, "pieces"))


def bought(sheet=None, stock=()):
    written = scene(sheet)
    return {x.name: x for x in lines(written, marks(written), {"foil": 1.21}, stock, MM)}


def prices(tmp_path, text):
    path = tmp_path / "prices.toml"
    path.write_text(text, encoding="utf-8")
    return priced(LINES, path)


def test_a_bill_counts_what_the_scene_has():
    found = bought()
    assert found["lining: foil"].quantity == 1.4  # m2, 15 % more than 1.21, to the next tenth
    assert found["lamp indicator outside"].quantity == 2
    assert found["hook, as drawn in its mesh"].quantity == 1
    assert found["door switch that cuts the lamps"].quantity == 2
    assert not any(name.startswith("sheet") for name in found)


def test_angle_is_bought_for_all_twelve_edges_and_white_tubes_for_the_test_of_the_switches():
    found = bought()
    # 4 x (0.46 + 0.38 + 0.61) m and 15 % more, to the next tenth: the front frame has four edges.
    assert found["metal angle along all twelve edges"].quantity == 6.7
    white = [x for name, x in found.items() if name.startswith("white tube of the size and cap")]
    assert sum(line.quantity for line in white) == 2


def test_sheet_is_bought_for_the_thickest_panel_where_none_is_given():
    """Five panels, and a front of its own, of 18 mm: worked out here piece by piece."""
    w, d, h, t = 0.46, 0.38, 0.61, 0.018
    panels = [(w + 2 * t) * d] * 2 + [d * h] * 2 + [(w + 2 * t) * (h + 2 * t)] * 2
    (line,) = (x for name, x in bought().items() if name.startswith("panels: sheet"))
    assert "18 mm at most" in line.name
    assert line.quantity == math.ceil(10 * 1.15 * math.fsum(panels)) / 10


def test_sheets_are_counted_where_the_thickness_is_known():
    sheet = Stock((4880, 2440), (), ())
    assert bought(12, (sheet, sheet))["sheet, 2440 x 1220 x 12 mm"].quantity == 2


def test_a_lamp_is_called_by_its_size_in_the_catalogue():
    known, other = scene().lamp
    assert lamp_name(known.model_copy(update={"diameter": 0.026, "end": (0.42, 0.19, 0.56)})) == (
        "T8 15 W"
    )
    assert lamp_name(other) == "16 mm with an arc of 440 mm"
    holders = bought()
    assert holders["lamp holder for 16 mm with an arc of 440 mm"].quantity == 2


def test_what_has_no_price_is_counted_and_not_taken_for_nothing(tmp_path):
    bill = prices(tmp_path, 'currency = "EUR"\n[price]\nhinge = 3\n"lining: foil" = "2.50 EUR"\n')
    assert bill.currency == "EUR"
    assert [line.price for line in bill.lines] == [3.0, 2.5, None]
    assert bill.cost == pytest.approx(2 * 3 + 1.3 * 2.5)
    assert bill.unpriced == 1
    assert bill.lines[2].cost is None
    assert priced(LINES, None) == Bill(LINES)
    assert Bill(LINES).unpriced == 3


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('[price]\nhinge = "3 EUR"\nlatch = "4 USD"\n', "prices in EUR and USD cannot be added"),
        ('currency = "EUR"\n[price]\nhinge = 1\nlatch = "4 USD"\n', "prices in EUR and USD"),
        ("[price]\nhinge = 3\n", "the number has no currency"),
        ('currency = "EUR"\n[price]\nhinge = nan\n', "nan is no price"),
        ('currency = "EUR"\n[price]\nhinge = -1\n', "-1 is no price"),
        ('currency = "EUR"\n[price]\nhinge = true\n', "is no price"),
        ('[price]\nhinge = "3,50 EUR"\n', '"3,50 EUR" is no price'),
        ('currency = "EUR"\n[price]\nhing = 1\n', 'did you mean "hinge"?'),
        ("prices = 3\n", "prices: is not what stands there"),
        ("[price\n", "not TOML"),
    ],
)
def test_prices_that_cannot_be_used_are_one_line_with_the_mend(tmp_path, text, told):
    with pytest.raises(RaysimError) as caught:
        prices(tmp_path, text)
    said = str(caught.value)
    assert told in said
    assert "\n" not in said
    assert ". Mend: " in said
    assert said.startswith(str(tmp_path / "prices.toml"))


def test_no_file_of_prices_is_one_line_too(tmp_path):
    with pytest.raises(RaysimError, match="no file of prices is there"):
        priced(LINES, tmp_path / "none.toml")


def test_blank_prices_can_be_filled_in(tmp_path):
    text = blank_prices(Bill(LINES))
    assert all(line.price is None for line in prices(tmp_path, text).lines)
    filled = prices(tmp_path, text.replace('#"', '"'))
    assert filled.unpriced == 0
    assert math.isclose(filled.cost, 0.0)
    known = prices(tmp_path, 'currency = "CHF"\n[price]\nhinge = 3\n')
    assert prices(tmp_path, blank_prices(known)) == known
