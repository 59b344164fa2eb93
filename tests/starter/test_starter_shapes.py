"""The shapes to choose from: sound triangles, the right sizes, straps or none, below their hook."""

import re
from pathlib import Path

import numpy as np
import pytest
import trimesh
from triangle_distances import clearance, crossings

from raysim.starter.hooks import hook
from raysim.starter.shapes import SHAPES, SMALL
from raysim.starter.straps import HOOK_CLEARANCE_MM

PAGE = Path(__file__).parents[2] / "scenes" / "README.md"


def extent_mm(name):
    """Lowest and highest corner (2, 3) of a shape, seen from its hook point."""
    bounds = np.array([mesh.bounds for mesh in SHAPES[name].make().values()])
    return np.array([bounds[:, 0].min(axis=0), bounds[:, 1].max(axis=0)])


def sheets(parts):
    """Shell with its clip as one mesh, and the straps if there are any."""
    triangles = np.concatenate([parts["shell"].triangles, parts["nose clip"].triangles])
    vertices, index = np.unique(triangles.reshape(-1, 3), axis=0, return_inverse=True)
    whole = trimesh.Trimesh(vertices, index.reshape(-1, 3), process=False)
    return [whole, *([parts["straps"]] if "straps" in parts else [])]


@pytest.mark.parametrize("name", SHAPES)
def test_triangles_are_sound(name):
    parts = SHAPES[name].make()
    assert ("straps" in parts) == ("without straps" not in name)
    for mesh in sheets(parts):
        assert mesh.is_winding_consistent
        assert mesh.area_faces.min() > 0.05
        assert crossings(mesh) == 0
        assert np.abs(mesh.bounds[:, 0].sum()) < 1e-9  # left and right alike
    if "straps" in parts:
        assert clearance(*sheets(parts)) > 0.6


@pytest.mark.parametrize("name", SHAPES)
def test_it_hangs_below_its_hook_and_clear_of_it(name):
    wire, gap = hook(), HOOK_CLEARANCE_MM
    for mesh in sheets(SHAPES[name].make()):
        assert clearance(mesh, wire) > gap - 0.02
    highest = 3.5 if "without straps" not in name else -3.5
    assert extent_mm(name)[1, 2] == pytest.approx(highest, abs=1e-6)


@pytest.mark.parametrize("name", [name for name in SHAPES if name.startswith("small")])
def test_the_small_size_is_smaller_all_over(name):
    small, large = (SHAPES[n].make()["shell"] for n in (name, name.removeprefix("small ")))
    assert small.extents == pytest.approx(SMALL * large.extents)
    assert small.area == pytest.approx(SMALL**2 * large.area)


def test_the_page_tells_the_height_that_each_needs():
    page = PAGE.read_text("utf-8")
    rows = dict(re.findall(r"^\| ([a-z ]+) \| `\w+\.obj` \| (\d+ x \d+) mm \|", page, re.MULTILINE))
    below = dict(re.findall(r"^\| ([a-z ]+) \| `\w+\.obj` \|.*\| (\d+) mm \|$", page, re.MULTILINE))
    assert set(rows) == set(below) == set(SHAPES)
    for name in SHAPES:
        low, high = extent_mm(name)
        width, depth, _ = np.ceil(high - low)
        assert rows[name] == f"{width:.0f} x {depth:.0f}"
        assert int(below[name]) == np.ceil(-low[2])
