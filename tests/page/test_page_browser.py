"""Tests of the page in a real browser: the whole job by hand, and what goes wrong on the way."""

import json
import shutil
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from page_server import Page, drag, has_no_browser, journal, served
from small_scenes import small_scene, write_scene

from raysim.logbook.book import new_logbook, open_logbook
from raysim.logbook.cycles import Setting, close_cycle, start_cycle
from raysim.logbook.lamps import enter_lamp
from raysim.logbook.respirators import Respirator, add_respirator

pytestmark = pytest.mark.skipif(has_no_browser(), reason="no Chromium or no playwright was found")
ROOT = Path(__file__).parents[2]


def checked(page: Page) -> None:
    """Wait until the check has answered: the card is drawn anew then."""
    page.until("document.querySelector('#line-check .tick').classList.contains('done')")


def mend(page: Page) -> None:
    """Press the button of a mend, at once: the slip is drawn anew whenever an answer comes."""
    page.page.locator("#slip .mend-button").dispatch_event("click")


def test_a_lamp_is_dragged_and_the_light_follows_and_undo_takes_it_back(page, scene):
    page.until("canvas.dataset.pictures > 0")
    before = scene.read_text()
    drag(page, "from:left@floor", 40, -30)
    page.until("canvas.dataset.number > 1")
    step = journal(scene)[-1]
    assert step["says"] == "move left"
    moved = page.value("document.querySelector('#slip [data-at=u]').value")
    assert float(moved) % 5 == 0 or float(moved) in (150, 125)  # a whole step, or a middle
    assert float(moved) > 40
    assert page.page.locator("#sketch").inner_text().startswith("SKETCH")
    assert "sets no timer" in page.page.locator("#sketch").inner_text()
    assert scene.read_text() == before
    page.page.locator("#undo").click()
    page.until("document.querySelector('#slip [data-at=u]').value === '40'")
    page.until("document.getElementById('save').disabled")


def test_touch_drags_as_the_mouse_does(browser, scene):
    with served(scene) as server:
        page = Page(browser, server.address, has_touch=True)
        box = page.hold("from:left@floor").bounding_box()
        assert min(box["width"], box["height"]) >= 43  # CSS px, of a finger
        at = {"x": box["x"] + box["width"] / 2, "y": box["y"] + box["height"] / 2}
        tool = page.page.context.new_cdp_session(page.page)
        tool.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": [at]})
        for k in range(1, 5):
            there = {"x": at["x"] + 8 * k, "y": at["y"] - 6 * k}
            tool.send("Input.dispatchTouchEvent", {"type": "touchMove", "touchPoints": [there]})
        tool.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
        page.until("document.getElementById('undo').disabled === false")
        assert journal(scene)[-1]["says"] == "move left"
        page.page.close()
        assert page.complaints == []


def test_the_keyboard_alone_does_all(page, scene):
    hold = page.hold("from:left@floor")
    hold.focus()
    page.page.keyboard.press("ArrowRight")
    page.until("document.querySelector('#slip [data-at=u]').value === '45'")
    assert page.value("document.activeElement.dataset.hold") == "from:left@floor"
    page.page.keyboard.press("Shift+ArrowUp")
    page.until("document.querySelector('#slip [data-at=v]').value === '41'")
    page.page.keyboard.press("Enter")
    page.page.keyboard.type("")
    assert page.value("document.activeElement.closest('#slip') !== null")
    hold.focus()
    page.page.keyboard.press("c")
    page.until("document.querySelectorAll('#net .tube').length > 4")
    page.page.keyboard.press("Control+z")
    page.page.keyboard.press("Control+z")
    page.page.keyboard.press("Control+z")
    page.until("document.getElementById('undo').disabled")
    page.page.keyboard.press("Control+y")
    page.until("document.querySelector('#slip [data-at=u]').value === '45'")
    page.page.keyboard.press("Control+s")
    page.until("document.getElementById('save').disabled")
    assert '"from" = [45, 40, 60]' in scene.read_text()
    unnamed = page.value(
        "[...document.querySelectorAll('button, [role=button], input, select, canvas')].filter("
        "e => !(e.getAttribute('aria-label') || e.textContent.trim()"
        " || (e.labels && e.labels.length))).length"
    )
    assert unnamed == 0


def test_steps_of_a_scene_in_inches_are_those_of_a_rule_in_inches(browser, tmp_path):
    data = small_scene() | {"units": "in"}
    data["chamber"]["inside"] = [12, 10, 14]
    for lamp, x in zip(data["lamp"], (2, 10), strict=True):
        lamp |= {"from": [x, 5, 3], "to": [x, 5, 11], "diameter": "16 mm"}
    data["object"][0] |= {"at": [6, 5, 6], "scale": 0.03937, "edge": 1}
    with served(write_scene(tmp_path, data)) as server:
        page = Page(browser, server.address)
        page.hold("from:left@left").focus()
        page.page.keyboard.press("ArrowUp")
        page.until("document.querySelector('#slip [data-at=v]').value === '3 1/4'")
        page.page.keyboard.press("Shift+ArrowUp")
        page.until("document.querySelector('#slip [data-at=v]').value === '3 5/16'")
        page.page.close()
        assert page.complaints == []


def test_what_hangs_in_a_row_is_moved_once_it_is_written_out(browser, tmp_path):
    row = {"name": "low", "count": 2, "from": [90, 100, 200], "spacing": 100, "mesh": "plate.ply"}
    with served(write_scene(tmp_path, small_scene() | {"row": [row | {"parts": {}}]})) as server:
        page = Page(browser, server.address)
        assert "row “low”" in page.page.locator("#slip").inner_text()
        page.page.get_by_role("button", name="Write rows out").click()
        there = """document.querySelector('#net [data-hold*="low 2"]')"""
        page.until(f"{there} !== null")
        assert "row “low”" not in page.page.locator("#slip").inner_text()
        page.page.locator("#undo").click()
        page.until(f"{there} === null")
        page.page.close()
        assert page.complaints == []


def test_typed_millimetres_and_inches_and_what_is_none(page):
    page.hold("from:left@floor").focus()
    page.slip("u").fill("12,5")
    page.slip("u").press("Tab")
    said = page.slip("u").locator("xpath=..").locator(".said")
    assert said.inner_text() == "“12,5” is no length: write the point as “.”"
    assert page.slip("u").get_attribute("aria-invalid") == "true"
    assert page.page.locator("#undo").is_disabled()
    page.slip("u").fill("2 1/2 in")
    page.slip("u").press("Tab")
    page.until("document.querySelector('#slip [data-at=u]').value === '63.5'")


def test_a_fault_stands_at_its_thing_and_its_mend_is_a_button(page):
    page.until("canvas.dataset.pictures > 0")
    page.hold("from:left@floor").focus()
    page.slip("u").fill("3")
    page.slip("u").press("Tab")
    page.until("document.querySelector('#slip .fault.error') !== null")
    assert "cuts through a wall" in page.page.locator("#slip .fault").inner_text()
    assert page.page.locator("#net .fault-tag.error").count() == 1
    page.until("document.querySelector('#line-check .says').textContent === '1 fault'")
    assert "No light is traced" in page.page.locator("#sketch").inner_text()
    mend(page)
    page.until("document.querySelector('#slip .fault') === null")
    page.until("document.querySelector('#line-check .tick').classList.contains('done')")
    assert page.slip("u").input_value() == "10"


def test_mains_watts_typed_as_uvc_are_asked_about_at_once(page):
    lamps = page.open_line("lamps")
    lamps.locator("select").select_option("T5 6 W")
    lamps.get_by_role("button", name="Add it").click()
    page.until("document.querySelector('#line-lamps .says').textContent.startsWith('3 tubes')")
    page.open_line("lamps").get_by_role("button", name="lamp", exact=True).click()
    page.slip("uvc").fill("6 W")
    page.slip("uvc").press("Tab")
    page.until("document.querySelector('#slip .fault.error') !== null")
    assert "electrical watts" in page.page.locator("#slip .fault.error").inner_text()
    mend(page)
    page.until("document.querySelector('#slip [data-at=uvc]').value === '1.5 W'")


def test_a_wall_is_lined_and_the_list_says_what_is_black_at_254_nm(page, scene):
    page.page.locator('#net [data-wall="back"]').click(position={"x": 8, "y": 60})
    choice = page.page.locator("#slip select")
    told = choice.locator("option", has_text="white paint").inner_text()
    assert "looks bright, is black at 254 nm" in told
    choice.select_option("aluminium sheet, polished")
    page.until("document.getElementById('undo').disabled === false")
    assert "aluminium sheet, polished" in journal(scene)[-1]["put"]


def test_what_is_touched_in_one_lights_up_in_the_other(page):
    page.until("canvas.dataset.drawn > 0")
    page.hold("from:left@floor").focus()
    page.until("document.querySelector('#overlay .lit') !== null")
    stage = page.page.locator("#canvas").bounding_box()
    page.page.mouse.click(stage["x"] + stage["width"] / 2, stage["y"] + stage["height"] / 2)
    page.until("document.querySelector('#slip h3').textContent !== 'Lamp left'")
    assert page.page.locator("#net .chosen").count() >= 1


def test_a_second_window_looks_on_until_it_takes_over(page, browser):
    second = Page(browser, page.server.address)
    assert "open in another window" in second.page.locator("#news").inner_text()
    assert second.page.locator("#save").is_disabled()
    second.hold("from:left@floor").focus()
    second.page.keyboard.press("ArrowRight")
    second.until("document.getElementById('news').textContent.includes('may change it')")
    assert page.page.locator("#undo").is_disabled()
    second.page.get_by_role("button", name="Take over here").click()
    second.until("document.getElementById('news').hidden")
    second.hold("from:left@floor").focus()
    second.page.keyboard.press("ArrowRight")
    page.until("document.getElementById('name').textContent.includes('draft')")
    assert "open in another window" in page.page.locator("#news").inner_text()
    second.page.close()
    assert second.complaints == []


def test_nothing_is_lost_when_the_server_dies(browser, scene):
    with served(scene, python=sys.executable) as server:  # all of it as a user has it
        page = Page(browser, server.address)
        page.hold("from:left@floor").focus()
        page.page.keyboard.press("ArrowRight")
        page.until("document.querySelector('#slip [data-at=u]').value === '45'")
        server.kill()
        page.until(
            "document.getElementById('news').textContent.includes('start “raysim open” again')"
        )
        page.page.close()
    with served(scene) as server:
        page = Page(browser, server.address)
        assert "draft of last time" in page.page.locator("#news").inner_text()
        page.hold("from:left@floor").focus()
        assert page.slip("u").input_value() == "45"
        page.page.locator("#undo").click()
        page.until("document.querySelector('#slip [data-at=u]').value === '40'")
        page.page.close()
        assert page.complaints == []


def test_a_scene_changed_by_another_program_is_said_and_the_draft_kept(page, scene):
    page.hold("from:left@floor").focus()
    page.page.keyboard.press("ArrowRight")
    page.until("document.querySelector('#slip [data-at=u]').value === '45'")
    scene.write_text(scene.read_text() + "# theirs\n")
    page.page.locator("#save").click()
    page.until("!document.getElementById('news').hidden")
    assert "changed" in page.page.locator("#news").inner_text()
    assert scene.read_text().endswith("# theirs\n")
    page.page.get_by_role("button", name="Write the draft over it").click()
    page.until("document.getElementById('save').disabled")
    assert "[45, 40, 60]" in scene.read_text()


def test_the_table_of_numbers_agrees_and_moves_things(page):
    page.page.locator("#numbers summary").click()
    cell = page.page.get_by_label("left, one end, x, mm")
    assert cell.input_value() == "40"
    cell.fill("55")
    cell.press("Tab")
    page.hold("from:left@floor").focus()
    page.until("document.querySelector('#slip [data-at=u]').value === '55'")


def test_no_picture_is_shown_of_an_older_draft(page):
    page.until("canvas.dataset.pictures > 1")
    for _ in range(8):
        page.hold("from:left@floor").focus()
        page.page.keyboard.press("ArrowRight")
        seen = page.value("[canvas.dataset.number, document.getElementById('name').textContent]")
        assert seen
    page.until("document.querySelector('#slip [data-at=u]').value === '80'")
    page.until("canvas.dataset.number === '9'")


def test_a_free_mesh_opens_with_its_picture_and_its_numbers(browser, tmp_path):
    import trimesh

    trimesh.creation.icosphere(subdivisions=2, radius=250.0).export(tmp_path / "ball.ply")
    data = small_scene()
    data["chamber"] = {"mesh": "ball.ply", "lining": "white paint"}
    path = write_scene(tmp_path, data)
    with served(path) as server:
        page = Page(browser, server.address)
        page.until("canvas.dataset.drawn > 0")
        assert page.page.locator("#net svg").count() == 0
        page.page.get_by_label("left, one end, x, mm").fill("45")
        page.page.get_by_label("left, one end, x, mm").press("Tab")
        page.until("document.getElementById('undo').disabled === false")
        page.page.close()
        assert page.complaints == []


def test_names_are_text_whatever_they_say(browser, tmp_path):
    bad = "<img src=x onerror='window.hit=1'>\"]:&amp;"
    data = small_scene()
    data["title"] = data["lamp"][0]["name"] = data["object"][0]["name"] = bad
    data["meter"] = [{"name": bad, "at": [150, 100, 100], "facing": [0, -1, 0]}]
    with served(write_scene(tmp_path, data)) as server:
        page = Page(browser, server.address)
        page.until("canvas.dataset.pictures > 0")
        for name in (f"from:{bad}@floor", f"at:{bad}@back", f"meter:{bad}@back"):
            page.page.evaluate(
                "name => [...document.querySelectorAll('#net [data-hold]')]"
                ".find(one => one.dataset.hold === name).focus()",
                name,
            )
            assert bad in page.page.locator("#slip h3").inner_text()
        page.page.keyboard.press("ArrowRight")
        page.until("document.getElementById('undo').disabled === false")
        for line in ("lamps", "load", "readings", "check"):
            page.open_line(line)
        page.page.locator("#numbers summary").click()
        assert page.value("window.hit") is None
        assert page.page.locator("img").count() == 0
        page.page.close()
        assert page.complaints == []


def test_on_a_phone_card_and_verdict_need_no_scrolling_aside(browser, scene):
    with served(scene) as server:
        page = Page(browser, server.address)
        page.page.set_viewport_size({"width": 390, "height": 844})
        assert page.value("document.documentElement.scrollWidth") <= 390
        small = page.value(
            "[...document.querySelectorAll('button, select, summary')].filter(e => e.offsetParent"
            " && e.getBoundingClientRect().height < 35).map(e => e.textContent)"
        )
        assert small == []
        page.page.locator("#dim").click()
        assert page.value("document.documentElement.classList.contains('dim')")
        page.page.close()
        assert page.complaints == []


def test_the_logbook_begins_refuses_and_takes_entries(page, scene):
    checked(page)
    page.until("document.querySelector('#line-log .says').textContent === 'no logbook yet'")
    page.open_line("log").get_by_role("button", name="Begin a logbook").click()
    page.until("document.querySelector('#line-log .says').textContent === '0 cycles'")
    log = page.open_line("log")
    log.get_by_label("Your initials").fill("CD")
    log.get_by_label("Your initials").press("Tab")
    log.get_by_text("Enter a respirator").click()
    log.get_by_label("Code on it").fill("--help")
    log.get_by_label("Initials of its wearer").fill("AB")
    log.get_by_label("Initials of its wearer").press("Tab")
    log.get_by_role("button", name="Enter it").click()
    page.until("document.querySelector('#line-log [aria-pressed]') !== null")
    page.page.locator("#line-log [aria-pressed]").click()
    page.open_line("log").get_by_role("button", name="Start the cycle").click()
    page.until(
        "document.getElementById('log-said').textContent.includes('Mend:')"
        " || document.getElementById('log-said').textContent.includes('give --lamps-burn')"
    )
    assert page.line("log") == "0 cycles"
    assert (scene.parent / "raysim-logbook.db").is_file()


def test_a_form_half_filled_stays_when_the_server_tells_something(page):
    checked(page)
    page.open_line("log").get_by_role("button", name="Begin a logbook").click()
    page.until("document.querySelector('#line-log .says').textContent === '0 cycles'")
    log = page.open_line("log")
    log.get_by_text("Enter a respirator").click()
    log.get_by_label("Code on it").fill("R7")
    log.get_by_label("Code on it").press("Tab")
    page.value("document.querySelector('#line-log summary + div details').was = true")
    page.open_line("box").get_by_label("Title").fill("another title")
    page.open_line("box").get_by_label("Title").press("Tab")
    page.until("document.querySelector('#line-log summary + div details').was !== true")
    assert log.get_by_label("Code on it").is_visible()
    assert log.get_by_label("Code on it").input_value() == "R7"


def test_lamp_hours_grow_with_the_cycles_and_a_lamp_past_its_life_is_marked(browser, tmp_path):
    scene = write_scene(tmp_path)
    book, box = tmp_path / "raysim-logbook.db", small_scene()["title"]
    days = [datetime.now(UTC) - timedelta(days=k) for k in (3, 2)]
    new_logbook(book)
    with open_logbook(book) as opened:
        add_respirator(opened, Respirator("R1", "AB"), "CD")
        for name, hours in (("left", 100.0), ("right", 7999.0)):
            enter_lamp(opened, box, name, "fitted", hours=hours, operator="CD", at=days[0])
        number, _ = start_cycle(opened, ["R1"], Setting(box, 7200.0), "CD", at=days[1])
        close_cycle(opened, number, "ended", "CD")
    with served(scene) as server:
        page = Page(browser, server.address)
        checked(page)
        log = page.open_line("log")
        page.until("document.getElementById('lamp-hours') !== null")
        left, right = page.page.locator("#lamp-hours li").all_inner_texts()
        assert left == "left: 102.0 h of 8000 h"
        assert right == "right: 8001.0 h of 8000 h: past its life, put in a new one"
        log.get_by_label("Your initials").fill("CD")
        log.get_by_label("Your initials").press("Tab")
        log.get_by_text("Enter a lamp").click()
        log.get_by_label("Lamp", exact=True).select_option("right")
        log.get_by_label("Its hours so far").fill("-3")
        log.get_by_label("Its hours so far").press("Tab")
        log.get_by_role("button", name="Enter the lamp").click()
        page.until("document.getElementById('log-said').textContent !== ''")
        assert "-3" in page.page.locator("#log-said").inner_text()
        log.get_by_label("Its hours so far").fill("0")
        log.get_by_label("Its hours so far").press("Tab")
        log.get_by_role("button", name="Enter the lamp").click()
        page.until("document.getElementById('lamp-hours').textContent.includes('right: 0.0 h')")
        page.page.close()
        assert page.complaints == []


def test_the_timer_is_worked_out_stopped_gone_on_with_and_its_card_opened(browser, tmp_path):
    for name in ("cup.obj", "hook.stl"):
        shutil.copy(ROOT / "meshes" / name, tmp_path)
    path = write_scene(tmp_path)
    with served(path) as server:
        page = Page(browser, server.address)
        page.until("document.querySelector('#line-check .tick').classList.contains('done')")
        assert page.page.locator("#verdict .time").count() == 0
        page.page.get_by_role("button", name="Save and work out the timer").click()
        page.until("document.querySelector('#line-timer progress')?.value > 0")
        page.page.get_by_role("button", name="Stop").click()
        go_on = page.page.get_by_role("button", name="Go on with the timer")
        go_on.wait_for(timeout=60_000)
        assert "was stopped" in page.page.locator("#line-timer .inside").inner_text()
        go_on.click()
        page.until("document.querySelector('#line-timer progress') !== null")
        page.until("document.querySelector('#line-timer progress') === null", 400)
        page.until("document.querySelector('#verdict .links') !== null")
        record = json.loads((tmp_path / "results/scene/result.json").read_text())["verdict"]
        state = page.page.locator("#verdict .state").inner_text()
        assert state.casefold().startswith(record["state"])
        shown = page.page.locator("#verdict .time").count() == 1
        assert shown == (record["timer_s"] is not None)
        with page.page.expect_popup() as popup:
            page.page.get_by_role("link", name="Card to print").click()
        assert "UVC" in popup.value.locator("body").inner_text()
        popup.value.close()
        page.hold("from:left@floor").focus()
        page.page.keyboard.press("ArrowRight")
        page.until("document.querySelector('#verdict').classList.contains('stale')")
        assert page.page.locator("#verdict .time").count() == 0
        page.page.close()
        assert page.complaints == []


def test_what_a_study_found_is_taken_and_a_meter_point_is_sketched(browser, tmp_path):
    meter = {"name": "middle", "at": [150, 100, 100], "facing": [0, -1, 0]}
    path = write_scene(tmp_path, small_scene() | {"meter": [meter]})
    folder = tmp_path / "results" / "scene_lamps"
    folder.mkdir(parents=True)
    best = path.read_text().replace("plate.ply", "../../plate.ply").replace("[40, ", "[70, ")
    (folder / "best.toml").write_text(best)
    (folder / "report.html").write_text("<p>report</p>")
    about = {"title": "Small box", "sha256": "ab" * 32, "file": "scene.toml"}
    (folder / "result.json").write_text(json.dumps({"scene": about}))
    with served(path) as server:
        page = Page(browser, server.address)
        told = page.open_line("readings")
        page.until("document.querySelector('#line-readings').textContent.includes('SKETCH')")
        assert "judge no reading by it" in told.inner_text()
        jobs = page.open_line("timer")
        assert jobs.get_by_role("button", name="Where the lamps should go").is_enabled()
        assert jobs.get_by_role("button", name="Design whole boxes").count() == 0
        jobs.get_by_role("button", name="Take best of scene_lamps").click()
        page.until("document.getElementById('undo').title === 'best of scene_lamps'")
        page.hold("from:left@floor").focus()
        assert page.slip("u").input_value() == "70"
        assert path.read_text() != best  # the file is as it was until it is saved
        page.page.locator("#undo").click()
        page.until("document.querySelector('#slip [data-at=u]').value === '40'")
        page.page.close()
        assert page.complaints == []
