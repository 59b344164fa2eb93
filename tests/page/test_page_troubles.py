"""The page by keyboard alone, and with a full disk, broken meshes and numbers that are none."""

import json
import os

import pytest
from page_server import Page, has_no_browser, journal, served
from small_scenes import small_scene, write_scene
from warm import LITTLE

pytestmark = [
    pytest.mark.skipif(has_no_browser(), reason="no Chromium or no playwright was found"),
    pytest.mark.skipif(not os.path.exists("/dev/full"), reason="this system has no /dev/full"),
]
MOST_TABS = 150


def tab_to(page: Page, selector: str, key: str = "Tab") -> None:
    """Press Tab until what is asked for has the focus."""
    for _ in range(MOST_TABS):
        if page.value(f"document.activeElement.matches({json.dumps(selector)})"):
            return
        page.page.keyboard.press(key)
    raise AssertionError(f"no way by Tab to {selector}")


@pytest.fixture
def little(monkeypatch):
    """Has a page that is opened afterwards, and its jobs, trace little."""
    monkeypatch.setenv(LITTLE, "1")


def test_the_keyboard_alone_does_the_whole_job(little, page, scene):
    """A lamp is added and moved, a fault met and mended, the timer worked out: no mouse at all."""
    press, write = page.page.keyboard.press, page.page.keyboard.type
    page.until("canvas.dataset.pictures > 0")
    tab_to(page, "#line-lamps summary")
    press("Enter")
    tab_to(page, "#line-lamps select")
    write("T5 6")  # goes to the lamp that begins so
    assert page.value("document.activeElement.value") == "T5 6 W"
    tab_to(page, "#line-lamps .inside > button")
    press("Enter")
    page.until("document.querySelectorAll('#net .tube').length > 4")
    tab_to(page, "#line-lamps .things li:nth-child(3) button", "Shift+Tab")
    press("Enter")
    page.until("document.querySelector('#slip h3')?.textContent === 'Lamp lamp'")
    tab_to(page, "#net [data-hold^='from:lamp@']")
    before = page.value("document.querySelector('#slip [data-at=u]').value")
    press("ArrowRight")
    page.until(f"document.querySelector('#slip [data-at=u]').value !== '{before}'")
    assert journal(scene)[-1]["says"] == "move lamp"
    press("Enter")
    tab_to(page, "#slip [data-at=o]")
    press("Control+a")
    write("1")
    press("Tab")
    page.until("document.querySelector('#slip .fault.error') !== null")
    tab_to(page, "#slip .mend-button", "Shift+Tab")
    press("Enter")
    page.until("document.querySelector('#slip .fault.error') === null")
    page.until("document.querySelector('#line-check .tick').classList.contains('done')")
    tab_to(page, "#verdict button", "Shift+Tab")
    press("Enter")
    page.until("document.querySelector('#line-timer progress') !== null")
    page.until("document.querySelector('#verdict .links') !== null", 400)
    record = json.loads((scene.parent / "results/scene/result.json").read_text())["verdict"]
    state = page.page.locator("#verdict .state").inner_text()
    assert state.casefold().startswith(record["state"])
    assert 'name = "lamp"' in scene.read_text()


def test_on_a_full_disk_nothing_changes_and_it_is_said_in_one_line(page, scene):
    kept = scene.parent / ".raysim-page" / scene.name / "journal"
    aside = scene.with_name(f".{scene.name}.part")
    hold, press = page.hold("from:left@floor"), page.page.keyboard.press
    hold.focus()
    press("ArrowRight")
    page.until("document.querySelector('#slip [data-at=u]').value === '45'")
    real = kept.with_name("real")
    kept.rename(real)
    kept.symlink_to("/dev/full")  # writing there fails as on a disk that is full
    page.page.locator("#slip").evaluate("e => e.scrollIntoView()")
    hold.focus()
    press("ArrowRight")
    said = "document.getElementById('news').textContent"
    page.until(f"{said}.includes('No space left')")
    assert "the change was not made. Mend: make room" in page.value(said)
    assert "\n" not in page.page.locator("#news").inner_text()
    page.until("document.querySelector('#slip [data-at=u]').value === '45'")
    kept.unlink()
    real.rename(kept)
    page.page.get_by_role("button", name="Good").click()
    aside.symlink_to("/dev/full")
    before = scene.read_bytes()
    page.page.locator("#save").click()
    page.until(f"{said}.includes('the draft is kept')")
    assert "No space left" in page.value(said)
    assert scene.read_bytes() == before
    assert page.page.locator("#save").is_enabled()
    page.page.locator("#save").click()  # there is room again
    page.until("document.getElementById('save').disabled")
    assert "[45, 40, 60]" in scene.read_text()


def test_a_mesh_that_cannot_be_read_is_said_at_its_thing_and_the_draft_kept(browser, tmp_path):
    data = small_scene()
    data["object"].append({"name": "hook", "mesh": "bad.stl", "surface": "stainless steel"})
    data["object"][1]["at"] = [60, 200, 200]
    path = write_scene(tmp_path, data)
    (tmp_path / "bad.stl").write_bytes(b"solid x\nfacet normal nan what\n" + bytes(range(200)))
    with served(path) as server:
        page = Page(browser, server.address)
        page.until("document.querySelector('#line-check .says').textContent === '1 fault'")
        page.open_line("load").get_by_role("button", name="hook", exact=True).click()
        page.until("document.querySelector('#slip .fault.error') !== null")
        told = page.page.locator("#slip .fault").inner_text()
        assert "bad.stl" in told
        assert "Mend:" in told
        assert "Traceback" not in told
        page.hold("from:left@floor").focus()
        page.page.keyboard.press("ArrowRight")
        page.until("document.querySelector('#slip [data-at=u]').value === '45'")
        assert journal(path)[-1]["says"] == "move left"
        page.page.locator("#net [data-of='at:hook'].hit").first.focus()
        page.page.keyboard.press("Delete")
        page.until("document.querySelector('#line-check .tick').classList.contains('done')")
        page.until("canvas.dataset.pictures > 0")
        page.page.close()
        assert page.complaints == []


@pytest.mark.parametrize("typed", ["nan", "1e999", "-", "12 parsecs", "١٢"])
def test_a_number_that_is_none_is_said_where_it_was_typed(typed, page):
    page.hold("from:left@floor").focus()
    page.slip("hours").fill(typed)
    page.slip("hours").press("Tab")
    assert "is no number" in page.slip("hours").locator("xpath=..").inner_text()
    page.page.locator("#numbers summary").click()
    cell = page.page.get_by_label("left, one end, x, mm")
    cell.fill(typed)
    cell.press("Tab")
    assert "is no length" in cell.locator("xpath=..").inner_text()
    page.slip("uvc").fill(typed)
    page.slip("uvc").press("Tab")
    page.until("document.querySelector('#slip .fault.error') !== null")
    assert "Mend:" in page.page.locator("#slip .fault").first.inner_text()
    page.page.locator("#undo").click()
    page.until("document.querySelector('#slip .fault.error') === null")
