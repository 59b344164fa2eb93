"""Names with HTML, script, formulas and foreign letters: no page has an element more for them."""

import csv
import html
import json
from html.parser import HTMLParser
from pathlib import Path

import pytest
from answers import ROOM, behaves
from browser import Browser, find_chromium
from small_scenes import small_scene, write_scene

HOSTILE = (
    "<script>document.title='HIT'</script>",
    "\"><img src=x onerror=document.title='HIT'>",
    "' onmouseover='document.title=1",
    "</title></script><svg/onload=document.title='HIT'>",
    "{{ 7*7 }}{% raw %}",
    "&lt;b&gt;&#60;i&#62;",
    "$\\frac{$ _^%#",
    "CON",
    "../../etc/x",
    "a/b\\c:d*?",
    '=cmd|"/c calc"!A1',
    "\N{FACE WITH MEDICAL MASK}\u4e2d\u6587 \u0645\u0631\u062d\u0628\u0627 K\u00e4stchen",
    "javascript:alert(1)",
    "--><!--",
    "<style>*{display:none}</style>",
)
PLAIN = tuple(f"thing {chr(97 + k)}" for k in range(len(HOSTILE)))
RUNS = (
    (
        "dose",
        "scene.toml",
        "--photons",
        "1",
        "--precision",
        "0.5",
        "--no-pictures",
        "--threads",
        "1",
        "--out",
        "dose",
    ),
    ("meter", "scene.toml", "--no-time", "--sheet", "sheet.html"),
    ("guide", "scene.toml", "--photons", "1", "--precision", "0.5", "--out", "guide"),
    ("compare", "dose", "dose", "--out", "compared"),
)
PAGES = (
    "dose/report.html",
    "dose/card.html",
    "guide/guide.html",
    "guide/templates.html",
    "sheet.html",
    "compared/report.html",
)
STUDIES = (
    ("shadows", "scene.toml", "--photons", "1", "--patches", "1", "--share", "1", "--out", "dark"),
    ("linings", "scene.toml", "--lining", "foil", "--precision", "0.5", "--out", "lined"),
    ("lamps", "scene.toml", "--number", "1", "--most", "4", "--precision", "0.5", "--out", "lit"),
    ("hooks", "scene.toml", "--at", "150,120,150", "--precision", "0.5", "--out", "hung"),
)
# Both maps of a comparison are a dot, and few rays are traced.
BEFORE = f"""
import sys
sys.path.append({str(Path(__file__).parent)!r})
from killing import FOR_GOOD, quickly
FOR_GOOD.enter_context(quickly())
from running import batches_of
FOR_GOOD.enter_context(batches_of(1024))
"""
STUDY_PAGES = tuple(f"{words[-1]}/report.html" for words in STUDIES)
# What the script of the map has built from its data. How many names find room over the drawing
# hangs on their length; of those, only the kinds of elements are told.
BUILT = """(() => {
  const told = (e) => [e.localName, ...e.getAttributeNames().sort()].join(" ");
  const over = document.querySelector("svg[data-map=overlay]");
  const all = [...document.querySelectorAll("*")].filter((e) => !over.contains(e) || e === over);
  return {
    page: all.map(told),
    over: [...new Set([...over.querySelectorAll("*")].map(told))].sort(),
    choices: [...document.querySelectorAll("[data-map=object] option")].map((e) => e.text),
  };
})()"""
OVER = {"circle class cx cy r", "path class d", "rect class height width x y", "text class x y"}


def named(names: tuple[str, ...]) -> dict:
    """A scene in which everything that can be called something is called by these names."""
    data = small_scene()
    data["title"] = names[0] + names[3][:30]
    for lamp, name in zip(data["lamp"], names[1:3], strict=True):
        lamp["name"] = name
    source = {"reflectance": 0.7, "reflectance_low": 0.6, "source": names[1]}
    data["surface"] = [{"name": names[14]} | source]
    data["chamber"]["lining"] = names[14]
    own = {"name": names[4], "reflectance": 0.05, "reflectance_low": 0.04, "source": names[0]}
    data["object"] = [
        {
            "name": name,
            "mesh": "plate.ply",
            "surface": own,
            "judged": True,
            "edge": 40,
            "scale": 0.5,
            "at": [60 + 50 * (k % 4), 60 + 35 * (k // 4), 150],
        }
        for k, name in enumerate(names)
    ]
    data["meter"] = [
        {
            "name": names[0],
            "at": [20, 20, 20],
            "facing": [0, 0, 1],
            "reading": "2 mW/cm2",
            "read_on": "2026-03-01",
        }
    ]
    gap = {"wall": "front", "from": [10, 0, 10], "to": [10, 0, 90], "width": 1, "depth": 24}
    gap |= {"kind": "rabbet", "step": 8}
    data["gap"] = [gap | {"name": names[2], "distance": 300}]
    return data


class _Skeleton(HTMLParser):
    """Elements of a page with the names of their attributes, in order, and all its text."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: list[tuple] = []
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list) -> None:
        self.elements.append((tag, *(name for name, _ in attrs)))

    def handle_comment(self, data: str) -> None:
        self.elements.append(("comment",))

    def handle_data(self, data: str) -> None:
        self.text += data


def skeleton(page: Path) -> _Skeleton:
    """A page taken apart."""
    found = _Skeleton()
    found.feed(page.read_text(encoding="utf-8"))
    found.close()
    return found


def written_by(runs: tuple, kennel, tmp_path_factory) -> dict[str, Path]:
    """Folders with pages of the scene with hostile names, and of the same with plain ones."""
    folders = {}
    place = tmp_path_factory.mktemp("loaded")
    write_scene(place, named(PLAIN))
    kennel.prepare(*RUNS[0], folder=place)
    for kind, names in (("hostile", HOSTILE), ("plain", PLAIN)):
        folder = folders[kind] = tmp_path_factory.mktemp(kind)
        write_scene(folder, named(names))
        for words in runs:
            answer = kennel.run(*words, folder=folder, before=BEFORE, **ROOM)
            behaves(answer)
            assert answer.status == 0, answer.said
            assert "UserWarning" not in answer.err
    return folders


@pytest.fixture(scope="module")
def written(kennel, tmp_path_factory) -> dict[str, Path]:
    """Folders with the pages of a dose run and of a survey."""
    return written_by(RUNS, kennel, tmp_path_factory)


@pytest.fixture(scope="module")
def studied(kennel, tmp_path_factory) -> dict[str, Path]:
    """Folders with the pages of all studies."""
    return written_by(STUDIES, kennel, tmp_path_factory)


@pytest.mark.parametrize("page", PAGES)
def test_a_page_has_the_same_elements_whatever_things_are_called(written, page):
    hostile, plain = (skeleton(written[kind] / page) for kind in ("hostile", "plain"))
    assert len(plain.elements) > 20
    assert hostile.elements == plain.elements


@pytest.mark.slow
@pytest.mark.parametrize("page", STUDY_PAGES)
def test_a_page_of_a_study_has_the_same_elements_too(studied, page):
    hostile, plain = (skeleton(studied[kind] / page) for kind in ("hostile", "plain"))
    assert len(plain.elements) > 20
    assert hostile.elements == plain.elements
    assert HOSTILE[0] in hostile.text


@pytest.mark.skipif(
    find_chromium() is None, reason="no Chromium was found: apt-get install chromium"
)
def test_the_map_builds_the_same_elements_whatever_things_are_called(written):
    built = {}
    with Browser() as browser:
        for kind, folder in written.items():
            browser.open(folder / "dose" / "report.html")
            assert not browser.value("document.getElementById('map').hidden")
            for key in ("n", "w", "Home"):
                press = f"new KeyboardEvent('keydown', {{ key: '{key}' }})"
                browser.value(f"document.querySelector('#map canvas').dispatchEvent({press})")
                browser.redrawn()
                built[kind, key] = browser.value(BUILT)
            assert browser.value("document.title") != "HIT"
            assert browser.requests == [(folder / "dose" / "report.html").as_uri()]
            assert browser.complaints == []
            browser.requests.clear()
    for key in ("n", "w", "Home"):
        hostile, plain = built["hostile", key], built["plain", key]
        assert hostile["page"] == plain["page"]
        assert set(hostile["over"]) <= {
            "circle class cx cy r",
            "path class d",
            "text class x y",
        } | {"rect class height width x y"}
        assert hostile["choices"][1:] == list(HOSTILE)


def test_names_are_shown_as_they_are(written):
    report = skeleton(written["hostile"] / "dose" / "report.html").text
    for name in HOSTILE[:14]:
        assert name in report, name


def test_only_files_of_our_own_names_are_written(written):
    hostile, plain = (
        sorted(path.relative_to(written[kind]).as_posix() for path in written[kind].rglob("*"))
        for kind in ("hostile", "plain")
    )
    assert hostile == plain


def test_data_files_hold_the_names_and_no_formula(written):
    folder = written["hostile"] / "dose"
    record = json.loads((folder / "result.json").read_text(encoding="utf-8"))
    told = {entry["object"] for entry in record["cases"]["cautious"]["per_object"]}
    assert told == set(HOSTILE)
    with (folder / "faces.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len({row["object"] for row in rows}) == len(HOSTILE)
    assert not any(row["object"][:1] in "=+-@" for row in rows)


@pytest.mark.skipif(
    find_chromium() is None, reason="no Chromium was found: apt-get install chromium"
)
def test_a_browser_runs_nothing_of_it(written):
    with Browser() as browser:
        for page in PAGES:
            address = (written["hostile"] / page).as_uri()
            browser.ask("Page.navigate", url=address)
            loaded = "document.readyState === 'complete'"
            browser.wait(f"location.href === {json.dumps(address)} && {loaded}")
            found = _Skeleton()
            found.feed(browser.value("document.documentElement.outerHTML"))
            assert len(found.elements) > 20
            assert ("svg", "onload") not in found.elements
            assert not any(name.startswith("on") for entry in found.elements for name in entry[1:])
            assert browser.value("document.title") not in ("", "HIT", "1")


def test_a_page_that_lets_names_through_is_seen(written, tmp_path):
    page = written["hostile"] / "dose" / "card.html"
    leaky = tmp_path / "leaky.html"
    leaky.write_text(html.unescape(page.read_text(encoding="utf-8")), encoding="utf-8")
    assert skeleton(leaky).elements != skeleton(page).elements
