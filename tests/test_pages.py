"""Pages for people: what they link to and name is there, and no page is longer than it may be."""

import re
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
FOLDERS = ("raysim", "scenes", "meshes", "benchmarks", "tests")
# A page that nobody can read in one go is not read.
LONGEST = {"README.md": 180, "DEVELOPERS.md": 150, "CHANGELOG.md": 80}
LINK = re.compile(r"\]\(([^)\s]+)\)")
NAMED = re.compile(r"`((?:[\w.-]+/)+[\w.-]+\.(?:py|md|toml|j2|json|jsonl|html|js)|[\w/]+/)`")


@cache
def pages() -> tuple[Path, ...]:
    """Every page of the project."""
    found = [page for folder in FOLDERS for page in (ROOT / folder).rglob("*.md")]
    return tuple(sorted([*ROOT.glob("*.md"), *found]))


def name(page: Path) -> str:
    """Page as it is called from the root."""
    return page.relative_to(ROOT).as_posix()


def headings(page: Path) -> set[str]:
    """Anchors of the headings of a page, as they are made of their words."""
    lines = re.findall(r"^#+ (.+)$", page.read_text("utf-8"), re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", line.lower()).replace(" ", "-") for line in lines}


def test_there_are_pages():
    assert {"README.md", "DEVELOPERS.md", "CHANGELOG.md", "scenes/README.md"} <= set(
        map(name, pages())
    )
    assert sum(page.is_relative_to(ROOT / "raysim") for page in pages()) >= 9


@pytest.mark.parametrize("page", pages(), ids=name)
def test_links_lead_somewhere(page):
    for link in LINK.findall(page.read_text("utf-8")):
        if re.match(r"[a-z]+:", link):
            continue
        path, _, anchor = link.partition("#")
        there = page.parent / path if path else page
        assert there.exists(), link
        if anchor:
            assert anchor in headings(there), link


@pytest.mark.parametrize("page", pages(), ids=name)
def test_files_and_folders_that_are_named_exist(page):
    roots = (ROOT, ROOT / "raysim", ROOT / "tests", page.parent)
    lost = [
        path
        for path in NAMED.findall(page.read_text("utf-8"))
        if not path.startswith(("results/", "layouts/", "my_box/"))
        and "NAME" not in path
        and not any((root / path).exists() for root in roots)
    ]
    assert lost == []


@pytest.mark.parametrize("page", LONGEST)
def test_pages_can_be_read_in_one_go(page):
    assert len((ROOT / page).read_text("utf-8").splitlines()) <= LONGEST[page]
