"""The drawings say all of the box: read back as a workshop reads them, they give the same scene.

SVG and DXF files are parsed by readers of their own, and places are put into the box by formulas
written here, not by those that drew them. `dose` of the rebuilt scene is equal to the last bit.
"""

import re
import xml.etree.ElementTree as ET
from dataclasses import dataclass, field
from pathlib import Path

import ezdxf
import numpy as np
import pytest
from small_scenes import box, small_scene, write_scene

from raysim.dose.simulate import load_scene, simulate
from raysim.output.files.dxf import write_dxf
from raysim.output.files.guide_scene import rounded_scene
from raysim.output.pages.svg import write_svg
from raysim.workshop.grid import GRIDS
from raysim.workshop.plan import plan_of

NOTE = re.compile(
    r"^([A-Z]+): (.*): (\S+(?: \S+/\S+)?) (?:mm|in) from the left edge, (\S+(?: \S+/\S+)?) (?:mm|in) "
    r"from the lower edge, (\S+(?: \S+/\S+)?) (?:mm|in) off the wall; (.*)$"
)
SVG = "{http://www.w3.org/2000/svg}"


@dataclass
class Read:
    """What was read from one drawing: lengths in steps, from the lower left corner of the panel."""

    outline: tuple[float, float]
    inside: tuple[float, float]
    circles: dict[tuple[float, float], float] = field(default_factory=dict)
    crosses: set[tuple[float, float]] = field(default_factory=set)
    gaps: list[list[tuple[float, float]]] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def box_of(points) -> tuple[float, float]:
    low, high = np.min(points, axis=0), np.max(points, axis=0)
    return float(high[0] - low[0]), float(high[1] - low[1])


def middles(lines) -> set[tuple[float, float]]:
    """Points where two lines of a cross meet."""
    each = [(round(0.5 * (a + c), 6), round(0.5 * (b + d), 6)) for (a, b), (c, d) in lines]
    return {at for at in each if each.count(at) > 1}


def from_svg(path: Path, grid) -> Read:
    root = ET.parse(path).getroot()
    lines: dict[str, list] = {}
    for one in root.iter(f"{SVG}path"):
        numbers = [float(x) for x in re.findall(r"-?[\d.]+", one.get("d"))]
        points = [(x, -y) for x, y in zip(numbers[::2], numbers[1::2], strict=True)]
        lines.setdefault(one.get("class"), []).append(points)
    across = float(root.get("viewBox").split()[2])
    assert root.get("width").endswith("mm")  # true to scale
    assert float(root.get("width")[:-2]) == pytest.approx(1000 * grid.step * across, rel=1e-4)
    found = Read(box_of(lines["outline"][0]), box_of(lines.get("inside", lines["outline"])[0]))
    for one in root.iter(f"{SVG}circle"):
        at = (float(one.get("cx")), -float(one.get("cy")))
        found.circles[at] = 2.0 * float(one.get("r"))
    found.gaps, found.crosses = lines.get("gap", []), middles(lines.get("mark", []))
    found.notes = [one.text for one in root.iter(f"{SVG}text") if one.get("class") == "note"]
    return found


def from_dxf(path: Path, grid) -> Read:
    document = ezdxf.readfile(path)
    assert document.units == {"mm": ezdxf.units.MM, "in": ezdxf.units.IN}[grid.unit]
    space, n = document.modelspace(), grid.per_unit
    lines: dict[str, list] = {}
    for one in space.query("LWPOLYLINE"):
        points = [(x * n, y * n) for x, y, *_ in one.get_points()]
        lines.setdefault(one.dxf.layer, []).append(points)
    found = Read(box_of(lines["outline"][0]), box_of(lines.get("inside", lines["outline"])[0]))
    for one in space.query("CIRCLE"):
        found.circles[one.dxf.center.x * n, one.dxf.center.y * n] = 2.0 * one.dxf.radius * n
    found.gaps, found.crosses = lines.get("gap", []), middles(lines.get("mark", []))
    found.notes = [one.dxf.text for one in space.query("TEXT") if one.dxf.layer == "notes"]
    return found


def in_box(wall: str, u: int, v: int, off: int, inside) -> tuple[int, int, int]:
    """Place in the box, steps, of what is u right and v up on a wall seen from inside."""
    w, d, h = inside
    return {
        "back": (u, d - off, v),
        "front": (w - u, off, v),
        "left": (off, u, v),
        "right": (w - off, d - u, v),
        "floor": (u, v, off),
        "ceiling": (u, d - v, h - off),
    }[wall]


def odd_scene() -> dict:
    """A box with lengths on no grid: upright and twin lamps, hooks, a rail, a seam of the door."""
    data = small_scene()
    data["chamber"] |= {"inside": [300.3, 250.2, 350.1], "sheet": 12.2}
    twin = {"tubes": 2, "spacing": 22.0, "diameter": 12.0}
    data["lamp"].append(
        {"name": "twin", "from": [40.3, 120.4, 320.2], "to": [230.3, 120.4, 320.2], "uvc": "3.4 W"}
        | twin
    )
    hook = {"mesh": "hook.ply", "surface": "stainless steel"}
    data["object"] += [
        {"name": "hook 1", "at": [130.1, 125, 150]} | hook,
        {"name": "hook 2", "at": [200.7, 60.2, 200.3]} | hook,
    ]
    data["object"][0]["at"] = [130.1, 125, 150]
    gap = {"name": "door", "wall": "front", "width": 1.2, "depth": 24.1, "distance": 300}
    points = [[12.3, 0, 12.3], [288.1, 0, 12.3], [288.1, 0, 338], [12.3, 0, 338], [12.3, 0, 12.3]]
    data["gap"] = [gap | {"points": points, "kind": "rabbet", "step": 8.3}]
    return data


@pytest.fixture(scope="module", params=GRIDS)
def made(request, tmp_path_factory):
    """The grid, the scene as the user wrote it, its plan, and a folder with its drawings."""
    grid, folder = GRIDS[request.param], tmp_path_factory.mktemp("plan")
    data = odd_scene()
    path = write_scene(folder, data, hook=box((3.0, 3.0, 3.0)))
    scene, _ = rounded_scene(load_scene(path), grid, folder, load_scene)
    plan = plan_of(scene, grid)
    for drawing in plan.drawings:
        write_svg(drawing, grid, folder / f"{drawing.name}.svg")
        write_dxf(drawing, grid, folder / f"{drawing.name}.dxf")
    return grid, data, plan, folder


def whole(value: float) -> int:
    assert value == round(value)
    return round(value)


def rebuilt(read: dict[str, Read], data: dict, grid) -> dict:
    """The scene with every length taken from the drawings; the rest is the user's."""
    across, up = map(whole, read["back"].inside)
    deep = whole(read["left"].inside[0])
    inside = (across, deep, up)
    found = {k: [dict(x) for x in v] if isinstance(v, list) else v for k, v in data.items()}
    thick = whole(read["back"].outline[0] - across) // 2
    found["chamber"] = data["chamber"] | {
        "inside": [*map(grid.written, inside)],
        "sheet": grid.written(thick),
    }
    margins = {"front": (thick, thick), "back": (thick, thick)}
    margins |= {"floor": (thick, 0), "ceiling": (thick, 0)}
    places = {}
    for wall, one in read.items():
        x0, y0 = margins.get(wall, (0, 0))
        for note in (note for note in one.notes if not note.startswith("Seam ")):
            _, what, left, lower, off, held = NOTE.match(note).groups()
            x, y = grid.read(left), grid.read(lower)
            drilled = "hole of" in held
            assert ((x, y) in one.circles) is drilled, "a circle, and it alone, is drilled"
            assert drilled or (x, y) in one.crosses, "the cross is where the words say"
            at = in_box(wall, x - x0, y - y0, grid.read(off), inside)
            places[what] = [*map(grid.written, at)]
        for table, line in zip(found["gap"], one.gaps, strict=False):
            corners = [in_box(wall, whole(x) - x0, whole(y) - y0, 0, inside) for x, y in line]
            table["points"] = [[*map(grid.written, corner)] for corner in corners]
    for table in found["lamp"]:
        for what, at in places.items():
            lamp = re.match(r'lamp (.*?),.* at "(from|to)"', what)
            if lamp and lamp[1] == table["name"]:
                table[lamp[2]] = at
    for table in found["object"]:
        for what, at in places.items():
            names = re.match(r"(.*?)(?: \(carries (.*)\))?$", what)
            if table["name"] in (names[1], *(names[2] or "").split(", ")):
                table["at"] = at
    return found


@pytest.mark.parametrize("reader", [from_svg, from_dxf])
def test_the_scene_read_back_from_the_drawings_is_the_rounded_scene(made, reader, tmp_path):
    grid, data, plan, folder = made
    kind = reader.__name__[-3:]
    read = {p.wall: reader(folder / f"{p.wall}.{kind}", grid) for p in plan.panels}
    again = rebuilt(read, data, grid)
    path = write_scene(tmp_path, again, hook=box((3.0, 3.0, 3.0)))
    scene, first = load_scene(path).written, plan.scene.written
    assert scene.chamber.inside == first.chamber.inside
    assert scene.chamber.sheet == first.chamber.sheet
    assert [(x.start, x.end) for x in scene.lamp] == [(x.start, x.end) for x in first.lamp]
    assert [o.at for o in scene.object] == [o.at for o in first.object]
    assert [g.points for g in scene.gap] == [g.points for g in first.gap]
    user = load_scene(write_scene(tmp_path, data, hook=box((3.0, 3.0, 3.0)))).written
    assert user.chamber.inside != first.chamber.inside  # there was something to be read


def test_the_dose_of_the_box_as_drawn_is_the_same_to_the_last_bit(made, tmp_path):
    grid, data, plan, folder = made
    read = {p.wall: from_dxf(folder / f"{p.wall}.dxf", grid) for p in plan.panels}
    path = write_scene(tmp_path, rebuilt(read, data, grid), hook=box((3.0, 3.0, 3.0)))
    one = simulate(plan.scene, photons=1, threads=2)
    other = simulate(load_scene(path), photons=1, threads=2)
    assert (one.lamp_irradiance == other.lamp_irradiance).all()
    assert one.lamp_irradiance.max() > 0.0
    assert one.timer == other.timer


def test_a_scene_that_was_not_rounded_gives_another_dose(made, tmp_path):
    """So that equal numbers say something."""
    _, data, plan, _ = made
    path = write_scene(tmp_path, data, hook=box((3.0, 3.0, 3.0)))
    one, other = (simulate(scene, photons=1) for scene in (plan.scene, load_scene(path)))
    assert (one.lamp_irradiance != other.lamp_irradiance).any()


def test_holes_have_their_diameter_on_the_drawing(made):
    grid, _, plan, folder = made
    panel = next(p for p in plan.panels if any(x.mark.held == "holder or hole" for x in p.places))
    read = from_svg(folder / f"{panel.wall}.svg", grid)
    note = next(n for n in read.notes if "hole of" in n)
    _, _, left, lower, _, held = NOTE.match(note).groups()
    printed = re.search(r"hole of (\S+) (mm|in)", held)[1]
    assert read.circles[grid.read(left), grid.read(lower)] == grid.read(printed)
