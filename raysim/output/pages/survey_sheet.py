"""The survey sheet: where to hold the head of the meter, with space to write."""

from collections.abc import Sequence
from html import escape

from raysim.base.units import to_mm
from raysim.dose.readings import Comparison
from raysim.output.pages.sheets import page
from raysim.output.words.cautions import CAUTION_LINE
from raysim.output.words.readings import predicted_words
from raysim.output.words.survey import UNCERTAINTY_WORDS, facing_words, point_words

STYLE = """
body { font: 11pt/1.4 "Helvetica Neue", Arial, "Liberation Sans", sans-serif; margin: 2rem; }
table { border-collapse: collapse; width: 100%; }
th, td { border: 1px solid #888; padding: .4rem .5rem; text-align: left; vertical-align: top; }
td.write { height: 2.6rem; min-width: 5rem; }
.caution { border: 2px solid #8f1d1d; padding: .5rem .8rem; margin: 1rem 0; }
@media screen and (max-width: 34rem) { body { margin: 1rem; }
  table { display: block; overflow-x: auto; } }
@page { size: A4 landscape; margin: 14mm; }
@media print { body { margin: 0; font-size: 10pt; } tr { break-inside: avoid; } }
"""
# Steps: burn-in and a calibrated cosine head, makers' catalogues and CIE practice (from memory);
# drift below 1 % a minute and three repeats, common practice.
STEPS = (
    "Cover skin and eyes. Put the head in place with the lamps off, shut the box, read outside.",
    "Lamps burnt in for 100 h; switched on until the reading drifts by less than 1 % a minute.",
    "The box as it is used: loaded, shut. Note air temperature and mains voltage.",
    "Read each point three times, taking the head out and putting it back between.",
    "Write what you read, also where it looks wrong; fold the last column back while you read.",
)


def sheet_page(title: str, rows: Sequence[Comparison]) -> str:
    """The sheet as one self-contained HTML page (A4, landscape; mm and mW/cm2)."""
    lines = []
    for row in rows:
        point = row.meter.point
        x, y, z = (f"{value:.0f}" for value in to_mm(point.at))
        words = (
            point_words(point.name, point.response.name),
            f"{x} from the left, {y} from the door, {z} from the floor",
            facing_words(point.facing),
        )
        cells = "".join(f"<td>{escape(word)}</td>" for word in words)
        blank = '<td class="write"></td>' * 4
        lines.append(f"<tr>{cells}{blank}<td>{predicted_words(row)}</td></tr>")
    head = (
        "point",
        "middle of the head, mm (inside)",
        "facing",
        "reading 1, mW/cm²",
        "reading 2",
        "reading 3",
        "time, initials",
        "calculated ± U (k = 2)",
    )
    heads = "".join(f"<th>{word}</th>" for word in head)
    steps = "".join(f"<li>{step}</li>" for step in STEPS)
    body = (
        f"<h1>Meter survey: {escape(title)}</h1>\n<ol>{steps}</ol>\n"
        f"<table><tr>{heads}</tr>\n" + "\n".join(lines) + "</table>\n"
        f"<p><small>{UNCERTAINTY_WORDS}</small></p>\n"
        "<p>Meter, serial number, calibrated until: ______________________________ &nbsp; "
        "Lamp hours: ____________ &nbsp; Air: ______ °C &nbsp; Mains: ______ V</p>\n"
        f'<p class="caution"><b>Caution.</b> {CAUTION_LINE}</p>'
    )
    return page(f"Meter survey: {title}", body, STYLE)
