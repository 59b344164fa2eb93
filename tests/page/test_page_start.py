"""The start page: two doors, the boxes of before with their verdicts, and what can go wrong there."""

import json
import os
import stat
from pathlib import Path

import pytest
from page_server import Page, has_no_browser, served
from small_scenes import write_scene

from raysim.base.errors import RaysimError
from raysim.page import boxes
from raysim.page.document import Document
from raysim.page.start import Start, wish_with
from raysim.studies.design.wish import read_wish

THERE = "document.querySelector('.doors') !== null"
FOOT = "document.querySelector('.foot') !== null"


@pytest.fixture
def state(tmp_path, monkeypatch):
    """A state folder of its own; the list in it."""
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    return boxes.list_path()


def test_the_list_is_private_and_the_last_box_comes_first(tmp_path, state):
    for name in ("one", "two", "one"):
        (tmp_path / name).mkdir(exist_ok=True)
        boxes.remember(write_scene(tmp_path / name))
    assert [path.parent.name for path in boxes.known_boxes()] == ["one", "two"]
    assert stat.S_IMODE(os.stat(state).st_mode) == 0o600
    boxes.forget()
    assert boxes.known_boxes() == {}
    boxes.forget()


@pytest.mark.parametrize(
    "content",
    [b"", b"[", b"\xff\xfe", b"[]", b'{"boxes": 3}', b'{"boxes": [{"path": "/x"}]}', b"[" * 9000]
    + [b'{"boxes": [{"path": "/x", "opened": "now"}]}', b" " * 200_000]
    + [b'{"boxes": [{"path": "/x", "opened": NaN}, {"path": "y", "opened": 1}]}'],
)  # fmt: skip
def test_a_damaged_list_is_an_empty_one(content, tmp_path, state):
    state.parent.mkdir(parents=True)
    state.write_bytes(content)
    assert boxes.known_boxes() == {}
    scene = write_scene(tmp_path)
    boxes.remember(scene)
    assert list(boxes.known_boxes()) == [scene.resolve()]


def test_where_no_list_can_be_kept_the_box_is_opened_all_the_same(tmp_path, state):
    state.parent.parent.write_text("no folder")
    boxes.remember(write_scene(tmp_path))
    assert boxes.known_boxes() == {}


def test_a_box_in_the_list_has_the_verdict_of_its_record_and_no_time_once_it_is_stale(tmp_path):
    from test_verdict import write

    document = Document(write_scene(tmp_path))
    write(document)
    shown = boxes.box_record(document.path, 1.0)
    assert (shown["verdict"]["state"], shown["verdict"]["time"]) == ("ready", "10 min 00 s")
    document.path.write_text(document.text + "# changed\n")
    shown = boxes.box_record(document.path, 1.0)
    assert (shown["verdict"]["state"], shown["verdict"]["time"]) == ("stale", None)
    document.path.unlink()
    shown = boxes.box_record(document.path, 1.0)
    assert (shown["there"], shown["verdict"]) == (False, None)


def entered(tmp_path) -> Start:
    return Start(tmp_path, lambda scene: None)


@pytest.mark.parametrize("name", ["", " ", "..", "a/b", "/tmp", ".hid", "x" * 61, "a\nb", "c:\\d"])
def test_new_boxes_are_begun_in_this_folder_alone(name, tmp_path):
    for what in ("box", "demo"):
        with pytest.raises(RaysimError, match="Mend: "):
            entered(tmp_path).chosen({"do": what, "name": name})
    assert list(tmp_path.iterdir()) == []


def test_what_is_not_in_the_list_is_not_opened(tmp_path, state):
    (tmp_path / "here").mkdir()
    with pytest.raises(RaysimError, match="not in the list"):
        entered(tmp_path / "here").chosen({"do": "open", "path": str(write_scene(tmp_path))})


def test_a_wish_is_written_with_its_answers_and_its_comments(tmp_path):
    answers = {"number": "8", "budget": "300 EUR", "longest": "45 min", "cycles": "5"}
    text = wish_with(answers | {"width": "700", "depth": "500", "height": "900"})
    (tmp_path / "wish.toml").write_text(text)
    wish = read_wish(tmp_path / "wish.toml")
    assert (wish.load.number, wish.limits.budget, wish.limits.cycles) == (8, (300.0, "EUR"), 5)
    assert wish.limits.outside == pytest.approx((0.7, 0.5, 0.9))
    assert "All prices here are invented" in text
    for key, bad in (("number", "many"), ("width", "wide"), ("budget", "much"), ("cycles", "-1")):
        with pytest.raises(RaysimError) as refused:
            wish_with(answers | {"width": "700", "depth": "500", "height": "900"} | {key: bad})
        assert len(str(refused.value).splitlines()) == 1
        assert "/tmp" not in str(refused.value)


@pytest.mark.skipif(has_no_browser(), reason="no Chromium or no playwright was found")
def test_by_both_doors_and_back_and_into_a_box_of_before(browser, tmp_path):
    with served(tmp_path) as server:
        page = Page(browser, server.address, THERE)
        assert "UVC" in page.page.locator("#cautions").inner_text()
        assert page.page.locator(".before").count() == 0
        page.page.get_by_label("Name of the new folder").first.fill("../out")
        page.page.get_by_role("button", name="Begin with a box").click()
        page.until("document.querySelector('[data-said=box]').textContent.includes('Mend:')")
        page.page.get_by_label("Name of the new folder").first.fill("locker")
        page.page.get_by_role("button", name="Begin with a box").click()
        page.until(FOOT)
        assert (tmp_path / "locker" / "locker.toml").is_file()
        page.until("document.querySelector('#net svg') !== null")
        page.page.locator("#back").click()
        page.until(THERE)
        (row,) = page.page.locator(".boxes li").all_inner_texts()
        assert "Not worked out yet" in row
        assert "locker.toml in " in row
        page.page.get_by_label("Respirators at a time").fill("no")
        page.page.get_by_role("button", name="Write down the wish").click()
        page.until("document.querySelector('[data-said=wish]').textContent.includes('number')")
        page.page.get_by_label("Respirators at a time").fill("4")
        page.page.get_by_role("button", name="Write down the wish").click()
        page.until(FOOT)
        assert read_wish(tmp_path / "my_wish" / "wish.toml").load.number == 4
        jobs = page.open_line("timer")
        assert jobs.get_by_role("button", name="Design whole boxes from the wish").count() == 1
        page.page.locator("#back").click()
        page.until(THERE)
        assert page.page.locator(".boxes li").count() == 2
        page.page.locator(".boxes li", has_text="locker").get_by_role("button").click()
        page.until(FOOT)
        page.page.locator("#back").click()
        page.until(THERE)
        page.page.get_by_role("button", name="Clear this list").click()
        page.until("document.querySelector('.before h2').textContent === 'In this folder'")
        kept = Path(tmp_path / ".state" / "raysim" / "boxes.json")
        assert not kept.exists() or json.loads(kept.read_text()) == {"boxes": []}
        page.page.set_viewport_size({"width": 390, "height": 844})
        assert page.value("document.documentElement.scrollWidth") <= 390
        page.page.close()
        assert page.complaints == []
