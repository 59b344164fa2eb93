"""Tests of the pictures: places, sides, colours, marks, files."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import synthetic
from matplotlib.colors import LogNorm
from PIL import Image

from raysim.base.cases import BRIGHT, CAUTIOUS
from raysim.base.units import to_mJ_cm2, to_mW_cm2
from raysim.dose.result import Result
from raysim.output.pictures.box import LETTER_HALF, LINE_HALF, Box, placed_labels
from raysim.output.pictures.charts import area_receiving, spread_begin, spread_end, write_charts
from raysim.output.pictures.figure import light_bar, new_figure
from raysim.output.pictures.load import DISC, SIZE, TOWARDS, apart, lower_ends
from raysim.output.pictures.object import object_panels
from raysim.output.pictures.page import HEIGHT, WIDTH, Label, Panel, write_page
from raysim.output.pictures.patch import write_patch_picture
from raysim.output.pictures.pictures import LOAD, OBJECT, OVERVIEW, WORST_OBJECT, write_pictures
from raysim.output.pictures.render import HATCH_INK, HATCH_PAPER, Canvas, Sheet
from raysim.output.pictures.scale import dose_scale, scale_of_doses
from raysim.output.pictures.shades import tube_triangles, wall_edges
from raysim.output.pictures.views import (
    View,
    directions_about,
    is_hidden,
    parallel_view,
    perspective_view,
    view_frame,
)
from raysim.scene.triangles import INSIDE, OUTSIDE
from raysim.studies.shadows.patches import patch_of

RED, BLUE = np.array([200, 30, 30], np.uint8), np.array([30, 30, 200], np.uint8)
SQUARE = np.array([[[0, 0, 0], [1, 0, 0], [1, 0, 1]], [[0, 0, 0], [1, 0, 1], [0, 0, 1]]], float)


@pytest.fixture(scope="module")
def canvas():
    with Canvas() as shared:
        yield shared


@pytest.fixture(scope="module")
def result() -> Result:
    return synthetic.result()


def pixels(path: Path) -> np.ndarray:
    return np.asarray(Image.open(path).convert("RGB")).astype(int)


def near(image: np.ndarray, colour: np.ndarray) -> np.ndarray:
    """Which pixels have a colour, up to the rounding of the file."""
    return np.abs(image - colour).max(axis=2) <= 4


@pytest.fixture
def blank(monkeypatch) -> None:
    """Leave the pages blank, for what is told of them and what they are called."""

    def unwritten(path: Path, *_) -> None:
        path.touch(exist_ok=False)

    monkeypatch.setattr(
        Canvas, "drawn", lambda self, view, *_: np.full((*view.size[::-1], 3), 255, np.uint8)
    )
    monkeypatch.setattr("raysim.output.pictures.pictures.write_page", unwritten)


@pytest.mark.parametrize("make", [parallel_view, perspective_view])
def test_a_point_lies_in_the_picture_where_the_view_says(canvas, make):
    room = np.array([[0, 0, 0], [0.3, 0.4, 0.5]], float)
    towards = np.array([-0.6, -0.64, 0.48])
    view: View = make(np.array(np.meshgrid(*room.T)).reshape(3, -1).T, towards, (400, 300))
    for spot in ([0.05, 0.1, 0.45], [0.28, 0.33, 0.07]):
        across, up, _ = 0.02 * view_frame(view.towards)
        dot = spot + np.array([[across, up, -across - up], [up, across, -across - up]])
        colours = np.tile(RED, (2, 1))
        image = canvas.drawn(view, [Sheet(dot, colours, OUTSIDE)]).astype(int)
        rows, columns = np.nonzero(near(image, RED))
        expected = view.pixels(dot[0].mean(axis=0))[0]
        assert len(rows) > 50
        assert np.hypot(columns.mean() + 0.5 - expected[0], rows.mean() + 0.5 - expected[1]) < 1.0


def test_every_point_lies_within_the_picture(result):
    points = result.triangles.corners.reshape(-1, 3)
    for towards in directions_about(np.array([0.0, -1.0, 0.0]), 40):
        for view in (
            parallel_view(points, towards, (475, 830)),
            perspective_view(points, towards, (950, 830)),
        ):
            seen = view.pixels(points)
            assert seen.min() > 0.0
            assert (seen < view.size).all()


@pytest.mark.parametrize(("y", "colour"), [(-1.0, RED), (1.0, BLUE)])
def test_each_side_of_a_sheet_has_its_own_colour(canvas, y, colour):
    view = parallel_view(SQUARE.reshape(-1, 3), np.array([0.0, y, 0.0]), (100, 100))
    sheets = [
        Sheet(SQUARE, np.tile(RED, (2, 1)), OUTSIDE),
        Sheet(SQUARE, np.tile(BLUE, (2, 1)), INSIDE),
    ]
    image = canvas.drawn(view, sheets).astype(int)
    other = BLUE if colour is RED else RED
    assert near(image, colour).mean() > 0.7
    assert not near(image, other).any()


def test_hatched_faces_show_ink_and_paper(canvas):
    view = parallel_view(SQUARE.reshape(-1, 3), np.array([0.0, -1.0, 0.0]), (100, 100))
    paper = np.tile(HATCH_PAPER, (2, 1)).astype(np.uint8)
    image = canvas.drawn(view, [Sheet(SQUARE, paper, OUTSIDE)]).astype(int)
    assert 0.2 < near(image, HATCH_INK).mean() < 0.5
    assert 0.2 < near(image, HATCH_PAPER).mean() < 0.6


def test_a_triangle_hides_only_what_lies_behind_it():
    towards = np.array([0.0, -1.0, 0.0])
    assert is_hidden(np.array([0.5, 1.0, 0.4]), towards, SQUARE, 5.0)
    assert not is_hidden(np.array([0.5, 1.0, 0.4]), towards, SQUARE, 0.9)
    assert not is_hidden(np.array([0.5, -1.0, 0.4]), towards, SQUARE, 5.0)
    assert not is_hidden(np.array([1.5, 1.0, 0.4]), towards, SQUARE, 5.0)


def test_tubes_are_closed_cylinders(result):
    tube = result.triangles.tubes[0]
    corners = tube_triangles((tube,))
    volume = np.einsum("ij,ij->i", corners[:, 0], np.cross(corners[:, 1], corners[:, 2])).sum() / 6
    sides = 24
    area = 0.5 * sides * tube.radius**2 * np.sin(2.0 * np.pi / sides)
    assert volume == pytest.approx(area * np.linalg.norm(tube.end - tube.start), rel=1e-9)


def test_a_box_has_twelve_edges(result):
    edges = wall_edges(result.triangles)
    length = np.linalg.norm(edges[:, 1] - edges[:, 0], axis=1)
    assert len(edges) == 12
    assert length.sum() == pytest.approx(4.0 * sum(synthetic.INSIDE_BOX))


def test_scale_shows_the_dose_at_the_timer(result):
    scale = dose_scale(result, CAUTIOUS)
    case = result.cases[CAUTIOUS]
    seconds = result.warm_up.effective_seconds(result.timer)
    expected = case.irradiance * seconds / 10.0  # 1 mJ/cm2 = 10 J/m2
    np.testing.assert_allclose(scale.values, expected, rtol=1e-12)
    assert scale.unit == "mJ/cm²"
    assert scale.marks == ((1000.0, "target"), (1200.0, "target × 1.2"))
    assert scale.low == 1000.0
    assert scale.high == pytest.approx(expected[result.triangles.judged].max())
    assert not scale.wanting.any()
    assert scale.position(np.array([scale.low, scale.high])) == pytest.approx([0.0, 1.0])


def test_wide_range_is_logarithmic(result):
    irradiance = result.cases[CAUTIOUS].irradiance.copy()
    narrow = dose_scale(result, CAUTIOUS)
    best = result.cases[CAUTIOUS].best
    irradiance[best.face] *= 100.0
    bright = synthetic.with_case(result, CAUTIOUS, irradiance)
    brighter = replace(bright.cases[CAUTIOUS], best=replace(best, irradiance=100 * best.irradiance))
    # What only noise puts above the best-lit spot does not stretch the scale.
    assert dose_scale(bright, CAUTIOUS).high == narrow.high
    wide = dose_scale(replace(bright, cases={**bright.cases, CAUTIOUS: brighter}), CAUTIOUS)
    assert not narrow.logarithmic
    assert wide.logarithmic
    middle = np.sqrt(wide.low * wide.high)
    assert float(wide.position(np.array(middle))) == pytest.approx(0.5)


def test_faces_below_the_target_are_set_apart(result):
    irradiance = result.cases[CAUTIOUS].irradiance.copy()
    face = result.cases[CAUTIOUS].best.face
    irradiance[face] *= 0.01
    scale = dose_scale(synthetic.with_case(result, CAUTIOUS, irradiance), CAUTIOUS)
    assert scale.wanting[face].all()
    assert scale.wanting.sum() == 2
    assert scale.low == 1000.0


def test_without_a_timer_colours_show_irradiance():
    dark = synthetic.result(dark=True)
    scale = dose_scale(dark, CAUTIOUS)
    np.testing.assert_allclose(scale.values, dark.cases[CAUTIOUS].irradiance / 10.0)
    assert scale.unit == "mW/cm²"
    assert scale.marks == ()
    none = dark.triangles.judged & (dark.cases[CAUTIOUS].irradiance == 0.0)
    assert none.any()
    np.testing.assert_array_equal(scale.wanting, none)


def test_area_receiving_at_least():
    values, share = area_receiving(np.array([3.0, 1.0, 2.0]), np.array([1.0, 2.0, 1.0]))
    np.testing.assert_array_equal(values, [1.0, 2.0, 3.0])
    np.testing.assert_array_equal(share, [1.0, 0.5, 0.25])


def test_the_worst_spot_is_marked_where_it_lies(canvas, result, tmp_path):
    scale = dose_scale(result, CAUTIOUS)
    worst = result.cases[CAUTIOUS].worst
    body = [b.name for b in result.triangles.bodies].index(worst.object)
    panels = object_panels(
        result.triangles, scale, body, spot=worst, words="worst spot", canvas=canvas
    )
    marked = [panel for panel in panels if panel.mark is not None]
    assert len(marked) == 1
    assert not marked[0].mark.hidden
    assert marked[0].title.startswith(worst.side)
    write_page(tmp_path / "with.png", "a", "b", panels, scale)
    bare = [replace(panel, mark=None) for panel in panels]
    write_page(tmp_path / "without.png", "a", "b", bare, scale)
    new, old = pixels(tmp_path / "with.png"), pixels(tmp_path / "without.png")
    rows, columns = np.nonzero((new != old).any(axis=2))
    assert len(rows) > 500
    black = near(new, np.array([0, 0, 0])) & ~near(old, np.array([0, 0, 0]))
    assert black.sum() > 200
    left = (0 if panels[0].mark is not None else 475) + marked[0].mark.at[0]
    top = 70 + marked[0].mark.at[1]
    radius = np.hypot(columns - left, rows - top)
    assert (radius < 19).sum() > 100
    assert (radius < 9).sum() == 0  # the spot itself stays in sight


@pytest.mark.parametrize("dark", [False, True])
def test_the_title_of_the_colour_bar_keeps_clear_of_edge_and_views(canvas, tmp_path, dark):
    # Without a finite time the colours are irradiances, whose name is the longer one.
    shown = synthetic.result(dark=dark)
    scale, worst = dose_scale(shown, CAUTIOUS), shown.cases[CAUTIOUS].worst
    panels = object_panels(shown.triangles, scale, 7, spot=worst, words="worst spot", canvas=canvas)
    write_page(tmp_path / "page.png", "a", "b", panels, scale)
    ink = (pixels(tmp_path / "page.png") < 200).all(axis=2)[60:148]
    assert ink[:, 960:1190].sum() > 500
    assert not ink[:, 1195:].any()
    assert not ink[:, 950:960].any()


def test_picture_files(drawn):
    assert [picture.kind for picture in drawn].count(OVERVIEW) == 2
    assert sorted(p.kind for p in drawn[2:]) == sorted([LOAD, OBJECT, WORST_OBJECT])
    for picture in drawn:
        if picture.kind == LOAD:
            assert pixels(picture.file).shape == (*SIZE[::-1], 3)
            continue
        image = pixels(picture.file)
        assert image.shape == (HEIGHT, WIDTH, 3)
        assert image.std() > 15.0
        assert picture.file.stat().st_size < 250_000
        colourful = np.ptp(image[70:, :950], axis=2) > 60
        assert colourful.mean() > 0.01
        assert "mJ/cm²" in picture.caption or picture.kind == OBJECT
    ringed = [p for p in drawn if p.kind == OVERVIEW and "worst spot" in p.caption]
    assert len(ringed) == 1


def test_pictures_without_a_timer_say_so(tmp_path):
    dark = synthetic.result(dark=True)
    pictures = write_pictures(dark, tmp_path)
    wide = [picture for picture in pictures if picture.kind not in (OBJECT, LOAD)]
    assert all("no timer setting" in picture.caption for picture in wide)
    assert all("mJ" not in picture.caption for picture in wide)
    worst = next(picture for picture in pictures if picture.kind == WORST_OBJECT)
    view = pixels(worst.file)[70:, :950]
    assert near(view, HATCH_INK).sum() > 100
    charts = write_charts(dark, tmp_path)
    assert [chart.file.name for chart in charts] == ["chart_spread.png"]


@pytest.mark.usefixtures("blank")
def test_many_objects_show_the_worst_lit_and_say_so(result, tmp_path, monkeypatch):
    monkeypatch.setattr("raysim.output.pictures.pictures.MOST_OBJECTS", 1)
    pictures = write_pictures(result, tmp_path)
    assert [picture.kind for picture in pictures] == [OVERVIEW, OVERVIEW, LOAD, WORST_OBJECT]
    assert "Of 2 judged objects the 1 worst-lit" in pictures[0].caption


def test_charts(result, tmp_path):
    charts = write_charts(result, tmp_path)
    assert [chart.file.name for chart in charts] == ["chart_spread.png", "chart_time.png"]
    for chart in charts:
        assert pixels(chart.file).std() > 10.0


def test_noise_past_the_best_lit_spot_does_not_stretch_the_chart(result):
    """The bright case of a real box had a tail of single faces at three times its best spot."""
    bright = result.cases[BRIGHT]
    noisy = bright.irradiance.copy()
    noisy[bright.best.face] = 50.0 * bright.best.irradiance
    tail = replace(result, cases=result.cases | {BRIGHT: replace(bright, irradiance=noisy)})
    assert spread_end(tail) == spread_end(result)
    # Nor does a face that got next to nothing: without a timer the axis is one of irradiance.
    cautious = result.cases[CAUTIOUS]
    worst = 1e-6 * cautious.worst.irradiance
    faint = cautious.irradiance.copy()
    faint[cautious.best.face] = 1e-12 * cautious.best.irradiance
    faint[cautious.worst.face] = worst
    dim = replace(cautious, irradiance=faint, exposure_time=np.inf)
    dimmed = replace(result, cases=result.cases | {CAUTIOUS: dim})
    assert dose_scale(dimmed, CAUTIOUS).logarithmic
    assert spread_begin(dimmed) == pytest.approx(0.5 * to_mW_cm2(worst))
    seconds = result.warm_up.effective_seconds(result.timer)
    assert spread_end(result) >= to_mJ_cm2(bright.best.irradiance * seconds)


def test_odd_names_are_drawn_as_they_are_written(canvas, result, tmp_path):
    scale = dose_scale(result, CAUTIOUS)
    blank = np.full((830, 950, 3), 255, np.uint8)
    label = Label((300.0, 300.0), r"$\frac{1$ ^{ <b> é")
    panel = Panel(blank, title=r"$x^{", labels=(label,))
    write_page(tmp_path / "odd.png", "100 $ & $", "_{", [panel], scale)
    assert (pixels(tmp_path / "odd.png")[360:380, 200:400] < 128).any()


@pytest.mark.usefixtures("blank")
def test_files_of_objects_with_equal_plain_names_differ(tmp_path):
    pictures = write_pictures(synthetic.result(names=("../a b", "a/b")), tmp_path)
    files = [picture.file for picture in pictures]
    assert len(set(files)) == len(files)
    assert {file.parent for file in files} == {tmp_path}


def test_each_number_of_the_load_stands_at_its_own_respirator(result):
    view = perspective_view(result.triangles.corners.reshape(-1, 3), TOWARDS, SIZE)
    ends = lower_ends(result.triangles, view)
    assert len(ends) == 2
    for name, end in zip(("respirator 1", "respirator 2"), ends, strict=True):
        body = [one.name for one in result.triangles.bodies].index(name)
        shown = view.pixels(
            result.triangles.corners[result.triangles.face_body == body].reshape(-1, 3)
        )
        assert (end >= shown.min(axis=0) - 1e-9).all()
        assert (end <= shown.max(axis=0) + 1e-9).all()


def test_numbers_that_would_lie_on_each_other_are_moved_apart():
    crowd = np.array([[400.0, 300.0], [400.0, 300.0], [410.0, 305.0], [60.0, 800.0]])
    moved = apart(crowd)
    away = np.linalg.norm(moved[:, None] - moved[None], axis=2)[np.triu_indices(4, 1)]
    assert away.min() >= 2.0 * DISC
    assert moved[3] == pytest.approx(crowd[3], abs=0.1)


@pytest.mark.parametrize("beyond", [5.0, 40.0])
def test_no_name_stands_on_another_thing_without_a_line_to_its_own(beyond):
    """In a drum the name of a respirator lay over the one that hung below and behind it."""
    upper, lower = Box(100, 100, 180, 200), Box(105, 200 + beyond, 175, 300 + beyond)
    wanted = [
        (Label(upper.middle, "respirator 1"), upper, [lower]),
        (Label(lower.middle, "respirator 2"), lower, [upper]),
    ]
    first, second = placed_labels(wanted, None)
    half = LETTER_HALF * len(first.words)
    for label, other in ((first, lower), (second, upper)):
        x, y = label.at
        covers = Box(x - half, y - LINE_HALF, x + half, y + LINE_HALF)
        assert covers.shared(other) == 0.0 or label.line_to is not None
    assert first.at != second.at
    assert first.line_to is second.line_to is None  # there is room beside them


def test_a_name_in_a_crowd_has_a_line_to_its_own_thing():
    crowd = [Box(20.0 * k, 100, 20.0 * k + 60, 200) for k in range(12)]
    wanted = [
        (Label(box.middle, f"respirator {k}"), box, crowd[:k] + crowd[k + 1 :])
        for k, box in enumerate(crowd)
    ]
    placed = placed_labels(wanted, None)
    far = [label for label in placed if label.line_to is not None]
    assert far
    for label in far:
        own = crowd[int(label.words.split()[1])]
        assert label.line_to == own.middle


@pytest.mark.parametrize("high", [9e3, 1.2e6])
def test_the_widest_number_beside_a_bar_or_a_chart_is_not_clipped(canvas, result, tmp_path, high):
    """1,000,000 lost its last digits at the edge of the page, and its first on the chart."""
    seconds = high / float(to_mJ_cm2(result.cases[CAUTIOUS].best.irradiance))
    scale = scale_of_doses(
        seconds * to_mJ_cm2(result.cases[CAUTIOUS].irradiance),
        result.triangles.judged, high, 0.2 * high, 1.2,
    )  # fmt: skip
    blank = np.full((830, 950, 3), 255, np.uint8)
    write_page(tmp_path / "page.png", "a", "b", [Panel(blank)], scale)
    assert not (pixels(tmp_path / "page.png")[:, 1195:] < 200).any()
    grown = replace(result, target_dose=10.0 * 0.4 * high)
    chart = write_charts(grown, tmp_path)[-1]
    assert chart.file.name == "chart_time.png"
    assert not (pixels(chart.file)[:, :4] < 200).any()


def test_a_bar_of_light_has_numbers_without_powers_of_ten():
    """It had "2 x 10^0" beside it."""
    for ends in ((0.27, 1.3), (0.9, 3.4), (0.002, 1.9)):
        bar = light_bar(new_figure(400, 800), (0.8, 0.1, 0.05, 0.8), LogNorm(*ends))
        words = [label.get_text() for label in bar.get_yticklabels()]
        assert len(words) > 1
        assert all(ends[0] <= float(word) <= ends[1] for word in words)
        assert not bar.get_yticks(minor=True).size


def test_a_patch_is_drawn_beside_its_scale_and_not_under_it(result, tmp_path):
    """The object ran out of the picture at the right."""
    wide = result.triangles.corners * [5.0, 5.0, 1.0]
    triangles = replace(result.triangles, corners=wide)
    faces = np.flatnonzero(triangles.judged[:, 0])[:1]
    light = np.geomspace(0.5, 2.0, triangles.judged.size).reshape(-1, 2)
    patch = patch_of(triangles, faces, 0)
    write_patch_picture(triangles, light, patch, "patch", tmp_path / "patch.png")
    image = pixels(tmp_path / "patch.png")[130:]  # below the title of the scale
    edge = round(0.88 * image.shape[1])
    assert (image[:, edge - 6 : edge] > 250).all()
    assert (image[:, : edge - 6] < 250).any()
