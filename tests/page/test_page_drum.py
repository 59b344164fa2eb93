"""A drum on the page: unrolled, and worked along its axis and round its wall."""

import math

import pytest
import trimesh
from page_server import Page, drag, has_no_browser, journal, served
from small_scenes import small_scene, write_scene

from raysim.dose.simulate import load_scene
from raysim.page.net_view import net_view
from raysim.workshop.fixings import walls_of

pytestmark = pytest.mark.skipif(has_no_browser(), reason="no Chromium or no playwright was found")
RADIUS, HIGH = 180.0, 350.0  # mm


def write_drum(folder, **more):
    """The small scene in an upright drum whose axis stands in the middle of its floor."""
    vessel = trimesh.creation.cylinder(radius=RADIUS, height=HIGH, sections=96)
    vessel.apply_translation([150, 125, HIGH / 2])
    data = small_scene() | more
    data["chamber"] = {"mesh": "vessel.ply", "lining": "aluminium foil, bright side"}
    data["meter"] = [{"name": "high", "at": [150, 20, 200], "facing": [0, 1, 0]}]
    data["gap"] = [
        {"name": "lid", "around": {"z": 340}, "width": 1, "depth": 20, "distance": 400},
    ]
    return write_scene(folder, data, vessel=vessel)


def place_of(scene, kind: str, number: int, key: str) -> list[float]:
    """A place of the saved scene, mm."""
    entry = getattr(load_scene(scene).written, kind)[number]
    return [1000.0 * x for x in getattr(entry, key)]


def off_axis(at) -> float:
    return math.hypot(at[0] - 150, at[1] - 125)


def test_the_net_of_a_drum_lies_like_a_can_cut_open(tmp_path):
    """Mantle 2 pi r wide, the ends where they touch its back line, all true to scale."""
    scene = load_scene(write_drum(tmp_path))
    net = net_view(scene.written, walls_of(scene.written, scene.triangles))
    mantle, top, bottom = (net["walls"][wall] for wall in ("mantle", "top", "bottom"))
    assert mantle["size"] == pytest.approx([2 * math.pi * RADIUS, HIGH], abs=0.6)
    assert bottom["at"][1] + bottom["size"][1] == mantle["at"][1]
    assert top["at"][1] == mantle["at"][1] + mantle["size"][1]
    for disc in (top, bottom):
        middle = disc["at"][0] + 0.5 * disc["size"][0]
        assert middle == pytest.approx(0.5 * mantle["size"][0], abs=0.6)
    assert [wall["name"] for wall in (mantle, top, bottom)] == [None] * 3  # the mesh has no names
    tubes = net["svg"].count('class="tube"')
    assert tubes == 2  # each on the mantle alone
    assert net["svg"].count('class="gap"') == 1
    holds = {hold["of"]: hold for hold in net["holds"] if hold["wall"] == "mantle"}
    u, v = holds["from:left"]["at"]
    angle = math.atan2(150 - 40, 125 - 40)  # to the right from the front line, looking out
    assert u == pytest.approx(RADIUS * angle, abs=1.0)
    assert v == pytest.approx(60 + mantle["at"][1], abs=0.6)


def test_in_a_drum_things_go_round_the_wall_and_along_it(browser, tmp_path):
    path = write_drum(tmp_path)
    with served(path) as server:
        page = Page(browser, server.address)
        page.until("document.querySelector('#net svg') !== null")
        drag(page, "from:left@mantle", 60, 0)
        page.until("document.getElementById('undo').disabled === false")
        assert journal(path)[-1]["says"] == "move left"
        page.hold("meter:high@mantle").focus()
        u = float(page.slip("u").input_value())
        page.page.keyboard.press("ArrowUp")
        page.until("document.querySelector('#slip [data-at=v]').value === '145'")  # from the top
        assert page.page.locator("#slip").inner_text().count("from front line") == 1
        assert u == pytest.approx(0, abs=0.01)
        page.slip("u").fill("100")
        page.slip("u").press("Tab")
        page.until("document.querySelector('#slip [data-at=u]').value === '100'")
        page.until("document.querySelector('#line-check .tick').classList.contains('done')")
        page.page.locator("#net [data-of='gap:lid'].hit").click(force=True)
        page.slip("around").fill("300")
        page.slip("around").press("Tab")
        page.until("document.getElementById('undo').title === 'move the gap'")
        page.page.locator("#save").click()
        page.until("document.getElementById('save').disabled")
        lamps = page.open_line("lamps")
        lamps.get_by_role("button", name="Add it").click()
        page.until("document.querySelectorAll('#net .tube').length === 3")
        page.page.close()
        assert page.complaints == []
    old, new = (40.0, 40.0), place_of(path, "lamp", 0, "start")
    assert off_axis(new) == pytest.approx(off_axis(old), abs=0.01)
    assert new[:2] != pytest.approx(old, abs=1.0)
    assert place_of(path, "lamp", 0, "end")[:2] == pytest.approx(new[:2], abs=1e-6)
    x, y, z = place_of(path, "meter", 0, "at")
    assert z == pytest.approx(205)
    assert off_axis((x, y)) == pytest.approx(105, abs=0.01)
    angle = 100 / RADIUS
    assert (x - 150, y - 125) == pytest.approx(
        (-105 * math.sin(angle), -105 * math.cos(angle)), abs=0.05
    )
    facing = load_scene(path).written.meter[0].facing  # it looks at the axis as before
    assert tuple(facing[:2]) == pytest.approx((math.sin(angle), math.cos(angle)), abs=1e-3)
    assert load_scene(path).written.gap[0].around.plane == (2, pytest.approx(0.3))


def test_the_walls_show_the_light_of_this_draft_and_stripes_where_it_is_not_known(page):
    cells = "[...document.querySelectorAll('#net .wall-light g rect')]"
    page.until("canvas.dataset.pictures > 1")
    assert page.value(f"{cells}.length") == 0
    page.page.locator("#walls").click()
    page.until(f"{cells}.some(one => one.getAttribute('fill').startsWith('rgb'))")
    fills = page.value(f"{cells}.map(one => one.getAttribute('fill'))")
    assert {fill for fill in fills if not fill.startswith("rgb")} <= {"url(#not-known)"}
    page.page.locator('#net [data-wall="back"]').click(position={"x": 60, "y": 60})
    page.until("document.querySelector('#slip').innerText.includes('falls')")
    assert "SKETCH" in page.page.locator("#slip").inner_text() or "not known" in (
        page.page.locator("#slip").inner_text()
    )
    page.page.evaluate(
        "new MutationObserver(() => { if (!document.querySelector('.wall-light g')) window.gone = 1; })"
        ".observe(document.getElementById('net'), { childList: true, subtree: true })"
    )
    page.hold("from:left@floor").focus()
    page.page.keyboard.press("ArrowRight")
    page.until("window.gone === 1")  # no light of an older draft
    page.until(f"{cells}.length > 0")
    page.page.locator("#walls").click()
    page.until(f"{cells}.length === 0")
