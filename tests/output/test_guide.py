"""The guide as a page: verdict on every sheet, places, bill, templates at true size."""

import re
from dataclasses import replace
from html import unescape

import numpy as np
import pytest
import trimesh
from small_scenes import box, small_scene, write_scene
from test_sheets import with_wear

from raysim.assess.tolerances import tolerances
from raysim.dose.result import Budget, Contribution
from raysim.dose.simulate import load_scene, simulate
from raysim.output.files import guide
from raysim.output.files.guide_scene import aside, rounded_scene
from raysim.output.pages.guide import PAPERS
from raysim.output.words import guide_tables as tables
from raysim.output.words import guide_use as use
from raysim.output.words import same_box
from raysim.output.words.cautions import CAUTION_LINE
from raysim.output.words.guide import steps as building
from raysim.verdict.rules import with_verdict
from raysim.workshop.bill import ENTRY_OF_METER
from raysim.workshop.drawing import Layer, Words
from raysim.workshop.fixings import Held
from raysim.workshop.grid import GRIDS
from raysim.workshop.labels import labels
from raysim.workshop.panel_drawing import hole_diameter
from raysim.workshop.plan import plan_of
from raysim.workshop.template import template_drawing
from raysim.workshop.tiles import HEAD, MARGIN, OVERLAP, tiles


@pytest.fixture(scope="module")
def traced(tmp_path_factory):
    """A small box with a hook, on the grid of mm: its folder, its plan, its result."""
    folder = tmp_path_factory.mktemp("guide")
    data = small_scene()
    data["title"] = "Box <1>"
    data["chamber"]["sheet"] = 12
    hook = {"name": "hook", "mesh": "hook.ply", "surface": "stainless steel", "at": [130, 125, 340]}
    data["object"].append(hook)
    path = write_scene(folder, data, hook=box((4.0, 4.0, 4.0)))
    scene, moved = rounded_scene(load_scene(path), GRIDS["mm"], folder, load_scene)
    return folder, plan_of(scene, GRIDS["mm"], moved), with_verdict(simulate(scene, photons=1))


def pages(traced, out, **changed):
    folder, plan, result = traced
    if not aside(out).exists():
        rounded_scene(load_scene(folder / "scene.toml"), GRIDS["mm"], out, load_scene)
    guide.write(plan, replace(result, **changed), out, pictures=False)
    return [
        unescape((out / name).read_text(encoding="utf-8"))
        for name in ("guide.html", "templates.html")
    ]


def test_a_guide_is_written_with_drawings_scene_and_prices(traced, tmp_path):
    page, templates = pages(traced, tmp_path)
    names = {path.name for path in tmp_path.iterdir()}
    assert names == {
        "guide.html", "templates.html", "as_built.toml", "prices_blank.toml", "result.json", "drawings",
    }  # fmt: skip
    walls = ("front", "back", "left", "right", "floor", "ceiling")
    drawn = {path.name for path in (tmp_path / "drawings").iterdir()}
    assert {f"{wall}.{kind}" for wall in walls for kind in ("svg", "dxf")} <= drawn
    assert CAUTION_LINE in page
    assert "324 x 374" in page  # front: 300 + 2 x 12 by 350 + 2 x 12
    row = '<td>lamp left, at "from"</td><td class="n">52</td><td class="n">40</td>'
    assert row in page  # 40 + 12 from the left edge of the floor, 40 from its lower edge
    words = 'lamp left, at "from": 52 mm from the left edge, 40 mm from the lower edge'
    assert words in unescape((tmp_path / "drawings" / "floor.svg").read_text(encoding="utf-8"))
    assert "Box &lt;1&gt;" in (tmp_path / "guide.html").read_text(encoding="utf-8")
    for text in (page, templates):
        assert "<script" not in text
        assert not re.search(r'(src|href)="(?!data:|#)', text)


def test_the_scene_beside_the_guide_is_the_one_that_was_traced(traced, tmp_path):
    folder, plan, result = traced
    (folder / "out").mkdir()
    pages(traced, folder / "out")
    again = load_scene(folder / "out" / "as_built.toml")
    assert (again.triangles.corners == plan.scene.triangles.corners).all()
    assert again.written.lamp == plan.scene.written.lamp
    assert plan.scene.sha256 == result.sha256


def test_a_stranger_finds_what_hangs_where_and_which_way_it_faces(traced, tmp_path):
    """All of it stands in tables and on two views; what a guide cannot say, it says that it does not."""
    _, plan, result = traced
    page, _ = pages(traced, tmp_path)
    for view in plan.views:
        assert f'aria-label="{view.title}"' in page
    # T5 8 W: 288 mm over all, 29 mm beyond each end of an arc of 230 mm; 60 mm off both walls.
    assert tables.lamps(plan).rows == tuple(
        (
            letters,
            name,
            "T5 8 W",
            "2.4",
            f"{at},\u00a060",
            f"{at},\u00a0290",
            "31 (floor); 31 (ceiling)",
        )
        for letters, name, at in (
            ("A, B", "left", "40,\u00a040"),
            ("C, D", "right", "260,\u00a0210"),
        )
    )
    rows = {row[1]: row for row in tables.things(plan).rows}
    assert rows["hook"][2:4] == ("4 x 4 x 4", "130,\u00a0125,\u00a0340")
    assert all(name.split(" (")[0] in page for name in rows)
    assert "Section of the door: no seam is drawn" in page
    assert any("What carries" in line for line in use.to_find_out(plan)) is any(
        mark.held is Held.FREE for mark in plan.marks
    )


def test_sizes_of_panels_follow_from_a_thickness_that_is_not_known(traced):
    _, plan, _ = traced
    known = {row[0]: row[1] for row in tables.cut_list(plan).rows}
    open_ended = replace(plan, panels=tuple(replace(p, sheet=None) for p in plan.panels))
    told = {row[0]: row[1] for row in tables.cut_list(open_ended).rows}
    for wall, size in told.items():
        across, up = (
            sum(24.0 if x == "2t" else float(x) for x in side.split(" + "))
            for side in size.split(" x ")
        )
        assert known[wall] == f"{across:g} x {up:g}"  # t = 12 mm


def test_every_edge_of_a_box_is_surveyed_once(traced):
    """Twelve edges, each between two walls that meet; the leaf has four sides more."""
    rows = use.seam_rows(traced[1])
    edges = {frozenset(row.replace("front frame", "front").split(" and ")) for row in rows[:12]}
    opposite = ({"front", "back"}, {"left", "right"}, {"floor", "ceiling"})
    walls = [panel.wall for panel in traced[1].panels]
    pairs = {frozenset((a, b)) for a in walls for b in walls if a < b}
    assert edges == {pair for pair in pairs if set(pair) not in opposite}
    assert [row.startswith("door, ") for row in rows[12:16]] == [True] * 4


def test_a_panel_of_no_known_thickness_is_measured_from_the_inside_faces(tmp_path):
    """Where t is not known its numbers must not be laid off from the edge that was cut."""
    data = small_scene()
    path = write_scene(tmp_path, data)
    plan = plan_of(load_scene(path), GRIDS["mm"])
    floor = next(d for d in plan.drawings if d.name == "floor")
    assert "40 mm from the left inside face, 40 mm from the lower inside face" in floor.notes[0]
    assert any(shape.layer is Layer.CUT for shape in floor.shapes)
    words = {
        w.text for w in template_drawing(plan.panels[4], GRIDS["mm"]).shapes if isinstance(w, Words)
    }
    assert {"inside face: t in from the edge of the panel", "edge of the panel"} <= words
    left = next(d for d in plan.drawings if d.name == "left")
    assert not any(shape.layer is Layer.CUT for shape in left.shapes)  # cut as large as the inside


def test_the_cable_of_the_meter_has_its_hole_its_row_and_its_line(traced):
    _, plan, _ = traced
    (entry,) = (mark for mark in plan.marks if mark.held is Held.ENTRY)
    panel = next(p for p in plan.panels if p.wall == entry.wall)
    place = next(p for p in panel.places if p.mark is entry)
    assert hole_diameter(place, GRIDS["mm"]) == 32  # 16 mm
    assert f"hole {place.tag}: cable of the meter's head" in use.seam_rows(plan)
    bought = {line.name: line.quantity for line in plan.bill.lines}
    assert bought[ENTRY_OF_METER] == 1
    assert bought["metal block under a holder"] == 4  # 31 mm under each end, see the lamps
    for lamp in plan.scene.written.lamp:  # clear of every tube by more than its own size
        for x in np.linspace(lamp.start, lamp.end, 50):
            assert np.linalg.norm(x - np.array(entry.at)) > 0.03


def test_the_fingerprint_is_that_of_what_is_printed(traced, tmp_path):
    """Alike for a scene that prints the same; another for a lamp 0.5 mm off, or for other units."""
    _, plan, _ = traced

    def other(unit="mm", **lamp):
        data = small_scene()
        data["chamber"]["sheet"] = 12
        data["lamp"][0] |= lamp
        scene = load_scene(write_scene(tmp_path, data))
        return same_box.fingerprint(plan_of(scene, GRIDS[unit]))

    first = other()
    assert re.fullmatch(r"(?:[A-Z0-9]{4} ){2}[A-Z0-9]{4}", first)
    assert other() == first
    assert other(to=[40, 40, 290.1]) == first  # printed alike
    marks = {first, other(to=[40, 40, 290.5]), other(unit="inch"), same_box.fingerprint(plan)}
    assert len(marks) == 4


def test_same_box_asks_for_every_place_and_size_once(traced):
    _, plan, result = traced
    rows = {row[0]: row for row in same_box.same_box(plan, result).rows}
    assert [rows[f"inside, {one}"][1] for one in ("width", "depth", "height")] == [
        "300 mm", "250 mm", "350 mm",
    ]  # fmt: skip
    assert rows["both diagonals, floor"][1] == "390.5 mm"  # 390.51
    assert rows['A: lamp left, at "from"'][1:3] == ("40, 40, 60; lamp's end 31 mm off", "± 2 mm")
    told = " ".join(rows)
    for mark in plan.marks:
        assert not mark.is_of_scene or f": {mark.what}" in told
    assert all(row[3:] == ("", "", "") for row in rows.values())


def test_a_seam_is_measured_on_its_drawing_and_not_in_words_alone(tmp_path):
    data = small_scene()
    points = [[12, 0, 14], [286, 0, 14], [286, 0, 335], [12, 0, 335], [12, 0, 14]]
    gap = {"name": "door", "wall": "front", "width": 1, "depth": 24, "kind": "rabbet", "step": 8}
    data["gap"] = [gap | {"points": points, "distance": 300}]
    plan = plan_of(load_scene(write_scene(tmp_path, data)), GRIDS["mm"])
    front = next(d for d in plan.drawings if d.name == "front")
    numbers = {w.text for w in front.shapes if isinstance(w, Words) and w.layer is Layer.MEASURE}
    assert {"14", "288", "335", "300", "350"} <= numbers  # 300 - 12 from the left, seen from inside
    told = {row[0]: row[1] for row in tables.cut_list(plan).rows}
    assert told["leaf, outer layer"] == "289 x 336"  # 274 - 1 + 16 by 321 - 1 + 16
    assert told["front frame, outer layer"] == "300 + 2t x 350 + 2t, opening 291 x 338"
    (line,) = (x for x in plan.bill.lines if x.name.startswith("front and leaf of the door"))
    t = 0.018
    assert (
        line.quantity == np.ceil(11.5 * (2 * (0.3 + 2 * t) * (0.35 + 2 * t) + 0.289 * 0.336)) / 10
    )


def test_lamps_are_asked_for_by_the_watts_of_one_table(traced):
    _, plan, result = traced
    (bought,) = (step for step in building(plan, result) if step.title == "Buy")
    (watts,) = {row[3] for row in tables.lamps(plan).rows}
    told = " ".join(bought.lines)
    assert f"at least what the table Lamps says ({watts} W of UVC)" in told
    assert "times as much" not in told


def test_panels_are_lined_before_they_are_joined_and_no_glove_turns_with_a_drill(traced):
    _, plan, result = traced
    order = [step.title for step in building(plan, result)]
    assert order.index("Drill") < order.index("Line the walls") < order.index("Join the shell")
    cautions = {step.title: step.caution for step in building(plan, result)}
    assert "NO gloves at a turning drill" in cautions["Drill"]


def test_words_beside_points_stay_clear_of_each_other_and_on_the_paper():
    points = {(10, 10): "A, B", (14, 10): "C +220", (50, 12): "D", (97, 90): "E +166, F +220"}
    found = [x for x in labels(points, 4.0, (), ((0, 0), (100, 100))) if isinstance(x, Words)]
    boxes = []
    for w in found:
        wide = 0.62 * 4.0 * len(w.text)
        left = w.at[0] - {"start": 0.0, "middle": 0.5, "end": 1.0}[w.anchor] * wide
        boxes.append((left, w.at[1], left + wide, w.at[1] + 3.0))
    assert {w.text for w in found} == set(points.values())
    for k, (a, b, c, d) in enumerate(boxes):
        assert min(a, b) >= 0
        assert max(c, d) <= 100
        assert all(c <= e or g <= a or d <= f or h <= b for e, f, g, h in boxes[:k])


def test_no_time_can_be_read_out_of_a_guide(traced, tmp_path):
    """Shares of light in per cent alone: a time with its share gave the timer away."""
    row = Contribution("place", 9.0, 0.003, "s", 0.0, "left")
    found = Budget(traced[2].cases["expected"].worst, 1.0, (row,))
    page, _ = pages(traced, tmp_path, budget=found)
    steps = re.sub(r"(?s)<svg.*?</svg>|<style.*?</style>", "", page)
    assert not re.search(r"\d+ min\b|\d+ s\b", steps)
    assert "No exposure time here" in page


def test_holes_are_looked_at_again_once_they_are_filled(traced, tmp_path):
    page, _ = pages(traced, tmp_path)
    order = ["Seams first: white light", "Lamp holders, ballasts", "Hooks and rails", "White light again", "Fit the tubes"]  # fmt: skip
    places = [page.index(f"<h3>{words}") for words in order]
    assert places == sorted(places)
    assert "never bridged" in page[page.index("Check by meter inside") :]
    assert "0.2 uW/cm" in page[page.index("Survey sheet") :]  # 6 mJ/cm2 over 8 h = 0.208


def test_a_box_that_must_not_be_used_is_marked_on_every_printed_page(traced, tmp_path):
    dark = with_verdict(replace(with_wear(material_dose="0.1 J/cm2"), verdict=None))
    page, templates = pages(traced, tmp_path, verdict=dark.verdict)
    reason = "not even one cycle is allowed"
    (head,) = re.findall(r"<thead><tr><th><div.*?</thead>", page, re.DOTALL)  # on each page
    assert "NOT TO BE BUILT" in head
    assert reason in head
    sheets = templates.split('<section class="tile">')[1:]
    assert sheets
    for sheet in sheets:
        assert "NOT TO BE BUILT" in sheet
        assert reason in sheet
    ready = pages(traced, tmp_path)
    assert not any("NOT TO BE BUILT" in text for text in ready)


def test_cautions_stand_where_the_hand_is(traced, tmp_path):
    page, _ = pages(traced, tmp_path)
    order = [
        "Ozone-free lamps only", "No UVC tube is fitted before every seam is dark",
        "Only a licensed electrician opens the wiring", "Fit the tubes", "A lit lamp injures eyes",
        "No meter: do not use the box", "Lamps hold mercury",
    ]  # fmt: skip
    places = [page.index(words) for words in order]
    assert places == sorted(places)
    assert page.index("Seams first") < page.index("Fit the tubes") < page.index("First light")


def budget(*rows):
    result = with_wear()
    given = tuple(Contribution(name, slope, 0.003, "s", 0.0, name) for name, slope in rows)
    other = (Contribution("counting", 1.0, 0.01, "s"),)
    spot = result.cases["expected"].worst
    return replace(result, budget=Budget(spot, 1.0, given + other))


def test_what_five_millimetres_do_to_the_timer_comes_from_the_budget():
    result = budget(("front lamp", 2.0), ("respirator 1", -8.0))
    first, second = tolerances(result)
    assert (first.name, second.name) == ("respirator 1", "front lamp")
    assert first.share == pytest.approx(0.04)  # 8 per m, 5 mm
    assert first.more_time == pytest.approx(
        result.requirement.time(0.96 * result.bound) - result.needed
    )
    assert first.more_time > second.more_time > 0.0
    assert tolerances(replace(result, budget=None)) == ()


def test_the_slip_that_matters_stands_beside_its_drawing(traced, tmp_path):
    _, _, result = traced
    row = Contribution("place", 9.0, 0.003, "s", 0.0, "left")
    found = Budget(result.cases["expected"].worst, 1.0, (row,))
    page, _ = pages(traced, tmp_path, budget=found)
    told = "A: 5 mm off takes up to 4.5% of the light at the worst spot"
    floor = page[page.index("<h3>floor, seen from inside") : page.index("<h3>ceiling, seen")]
    assert told in floor
    assert told not in page[: page.index("<h3>floor")]


def test_a_vessel_is_unrolled_and_says_what_it_lacks(traced, tmp_path):
    vessel = trimesh.creation.cylinder(radius=200, height=500, sections=48)
    vessel.apply_translation([200, 200, 250])
    data = small_scene()
    data["chamber"] = {"mesh": "vessel.ply", "lining": "aluminium foil, bright side"}
    data["lamp"][1] |= {"from": [330, 200, 60], "to": [330, 200, 290]}
    path = write_scene(tmp_path, data, vessel=vessel)
    scene, _ = rounded_scene(load_scene(path), GRIDS["mm"], tmp_path, load_scene)
    page, templates = pages((tmp_path, plan_of(scene, GRIDS["mm"]), traced[2]), tmp_path)
    assert use.LACKS in page
    assert use.LACKS in dict(use.rows(plan_of(scene, GRIDS["mm"]), traced[2])).values()
    for title in ("mantle", "bottom", "top"):
        assert f"<h3>{title}, seen from inside" in page
    assert "1256.5 x 500" in page  # 2 pi 200 mm of lining
    assert "Hinges on the left" not in page
    assert "bottom, sheet A1" in templates
    steps = {step.title: step for step in building(plan_of(scene, GRIDS["mm"]), traced[2], 0)}
    assert "no template to print" in steps["Drill"].lines[0]


def test_a_vessel_of_another_shape_has_its_places_by_three_corners(traced, tmp_path):
    corners = [[0, 0, 0], [400, 0, 0], [200, 0, 450], [0, 500, 0], [400, 500, 0], [200, 500, 450]]
    data = small_scene()
    data["chamber"] = {"mesh": "vessel.ply", "lining": "aluminium foil, bright side"}
    data["lamp"][0] |= {"from": [120, 60, 60], "to": [120, 440, 60]}
    data["lamp"][1] |= {"from": [290, 60, 60], "to": [290, 440, 60]}
    data["object"][0]["at"] = [180, 250, 170]
    path = write_scene(tmp_path, data, vessel=trimesh.Trimesh(corners).convex_hull)
    scene, _ = rounded_scene(load_scene(path), GRIDS["mm"], tmp_path, load_scene)
    plan = plan_of(scene, GRIDS["mm"])
    page, templates = pages((tmp_path, plan, traced[2]), tmp_path)
    for place in plan.corner_places:
        for name, steps in zip(place.corners, place.distances, strict=True):
            assert f"{GRIDS['mm'].text(steps)} from {name}" in page
    assert '<section class="tile">' not in templates


PLACES = [(52.0, 1200.0), (600.0, 40.0), (1100.0, 1900.0)]


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("step", [grid.step for grid in GRIDS.values()])
def test_every_place_is_on_a_tile_and_tiles_lead_to_both_edges(paper, step):
    across, up = (0.001 * length for length in PAPERS[paper])
    cut = tiles((1200.0, 2000.0), PLACES, (across, up), step)
    names = {(t.column, t.row) for t in cut}
    for x, y in PLACES:
        holding = [
            t
            for t in cut
            if t.low[0] <= x <= t.low[0] + t.size[0] and t.low[1] <= y <= t.low[1] + t.size[1]
        ]
        assert holding
        assert any(
            {(k, t.row) for k in range(t.column)} | {(t.column, k) for k in range(t.row)} <= names
            for t in holding
        )
    for tile in cut:
        assert tile.size[0] * step == pytest.approx(across - 2 * MARGIN)
        assert tile.size[1] * step == pytest.approx(up - 2 * MARGIN - HEAD)
        for other in cut:
            if (other.column, other.row) == (tile.column + 1, tile.row):
                shared = set(tile.crosses) & set(other.crosses)
                assert len(shared) == 2
                lap = tile.low[0] + tile.size[0] - other.low[0]
                assert lap * step == pytest.approx(OVERLAP)


def test_templates_are_at_true_size(traced, tmp_path):
    """Width in mm over width in steps is the step; the line of 100 mm is 100 of 110 mm."""
    _, templates = pages(traced, tmp_path)
    shown = re.findall(
        r'data-tile="\w+" width="([\d.]+)mm" height="([\d.]+)mm" viewBox="(\S+) (\S+) (\S+) (\S+)"',
        templates,
    )
    assert shown
    for width, height, _, _, across, up in shown:
        assert float(width) / float(across) == pytest.approx(0.5, rel=1e-5)
        assert float(height) / float(up) == pytest.approx(0.5, rel=1e-5)
    (scale, *_) = re.findall(
        r'<svg class="scale" width="110mm" .*?viewBox="0 0 110 11">.*?M(\S+) 2 V7 M(\S+) 2 V7',
        templates,
    )
    assert float(scale[1]) - float(scale[0]) == 100.0
