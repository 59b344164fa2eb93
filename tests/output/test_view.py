"""Tests of the view: finding a result and its scene again, slices of light, pictures."""

import json
import os
import shutil
import struct
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import synthetic
from PIL import Image

from raysim.base.cases import CAUTIOUS
from raysim.base.errors import RaysimError
from raysim.base.units import to_mm
from raysim.cli.view import parsed_planes
from raysim.output.files.results import write_results
from raysim.output.pictures.scale import dose_scale, round_ticks
from raysim.output.pictures.shades import tube_triangles, wall_edges
from raysim.output.viewer import light as view_light
from raysim.output.viewer.apart import open_apart
from raysim.output.viewer.camera import FREE
from raysim.output.viewer.draw import SIZE, Window
from raysim.output.viewer.light import Plane, light_slices, trails_reaching
from raysim.output.viewer.make import View
from raysim.output.viewer.source import find_scene, read_view
from raysim.transport.kernel_scene import kernel_scene
from raysim.transport.trails import photon_trails

SCREEN = (1600, 1200)


@pytest.fixture(scope="module")
def result():
    return replace(synthetic.result(), scene_file="box.toml")


@pytest.fixture(scope="module")
def folder(result, tmp_path_factory) -> Path:
    """A folder of results as `raysim dose` leaves it, pictures left out."""
    place = tmp_path_factory.mktemp("view") / "results" / "box"
    write_results(result, place, pictures=False)
    return place


@pytest.fixture
def copy(folder, tmp_path) -> Path:
    """The same, to be spoiled."""
    shutil.copytree(folder, tmp_path / "box")
    return tmp_path / "box"


@pytest.fixture(scope="module")
def view(result, folder) -> View:
    """View with 40 paths of each lamp and two slices."""
    triangles = result.triangles
    arrays = kernel_scene(triangles)
    ends = triangles.corners.min(axis=(0, 1)), triangles.corners.max(axis=(0, 1))
    planes = [Plane(1, 0.12), Plane(2, 0.16)]
    return View(
        read_view(folder),
        to_mm(tube_triangles(triangles.tubes)),
        to_mm(wall_edges(triangles)),
        tuple(lamp.name for lamp in triangles.lamps),
        tuple(tuple(photon_trails(arrays, lamp, 40, seed=1)) for lamp in (0, 1)),
        tuple(light_slices(arrays, planes, ends, 0.68, seed=1, case=0, count=1500)),
    )


@pytest.mark.parametrize("name", ["", "result.json", "dose_map.vtp"])
def test_a_result_is_found_by_its_folder_or_its_files(result, folder, name):
    view = read_view(folder / name)
    scale = dose_scale(result, CAUTIOUS)
    assert view.corners == pytest.approx(to_mm(result.triangles.corners), abs=1e-3)
    assert np.array_equal(view.judged, result.triangles.judged)
    assert view.scale.values == pytest.approx(scale.values, rel=1e-6)
    assert (view.scale.low, view.scale.high) == pytest.approx((scale.low, scale.high), rel=1e-6)
    assert view.scale.marks == scale.marks
    assert np.array_equal(view.scale.wanting, scale.wanting)
    assert [n for n, wall in zip(view.names, view.is_wall, strict=True) if wall] == [
        body.name for body in result.triangles.bodies if body.kind == "wall"
    ]


def test_a_result_without_a_timer_shows_irradiance(tmp_path):
    write_results(synthetic.result(dark=True), tmp_path / "dark", pictures=False)
    assert read_view(tmp_path / "dark").scale.unit == "mW/cm²"


def cut_short(path: Path) -> None:
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])


def odd(folder: Path, *way: str, value: object) -> None:
    """Have one entry of result.json be odd."""
    record = inner = json.loads((folder / "result.json").read_text("utf-8"))
    for key in way[:-1]:
        inner = inner[key]
    inner[way[-1]] = value
    (folder / "result.json").write_text(json.dumps(record), encoding="utf-8")


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda f: (f / "result.json").unlink(), "holds no result.json"),
        (lambda f: (f / "dose_map.vtp").unlink(), "holds no dose_map.vtp"),
        (lambda f: cut_short(f / "result.json"), "result.json: cannot be read"),
        (lambda f: (f / "result.json").write_text("[]"), "not a result"),
        (lambda f: (f / "result.json").write_text('{"cases": {}}'), "do not belong together"),
        (lambda f: cut_short(f / "dose_map.vtp"), "damaged"),
        (lambda f: odd(f, "scene", value={}), "'title'"),
        (lambda f: odd(f, "scene", "file", value=7), "scene is not as raysim dose writes it"),
        (lambda f: odd(f, "seed", value=10**400), "seed is not as"),
        (lambda f: odd(f, "interrupted", value="x"), "interrupted is not as"),
        (lambda f: odd(f, "verdict", "timer_s", value=float("inf")), "timer_s is not as"),
        (lambda f: odd(f, "target", "dose_mJ_cm2", value=[1]), "target is not as"),
        (
            lambda f: odd(f, "cases", CAUTIOUS, "worst", "centroid_mm", value=[1, None, 2]),
            "damaged",
        ),
        (lambda f: (f / "dose_map.vtp").write_text("hello"), "damaged"),
    ],
)
def test_a_spoiled_result_is_one_clear_line(copy, spoil, words):
    spoil(copy)
    with pytest.raises(RaysimError, match=words) as said:
        read_view(copy)
    assert "Mend: " in str(said.value)
    assert len(str(said.value).splitlines()) == 1


def test_other_places_are_refused(tmp_path):
    (tmp_path / "a.txt").write_text("a")
    with pytest.raises(RaysimError, match="no such file"):
        read_view(tmp_path / "b")
    with pytest.raises(RaysimError, match="not a result"):
        read_view(tmp_path / "a.txt")


def test_a_scene_that_is_not_found_asks_for_its_place(folder):
    with pytest.raises(RaysimError, match=r"box\.toml: .*was not found. Mend: .*--scene"):
        find_scene(read_view(folder), None)


@pytest.mark.parametrize(
    ("words", "planes"),
    [
        ((), None),
        (("none",), []),
        (("x=300",), [Plane(0, 0.3)]),
        (("Y = 20.5", "z=100mm"), [Plane(1, 0.0205), Plane(2, 0.1)]),
    ],
)
def test_planes_are_read(words, planes):
    assert parsed_planes(words) == planes


@pytest.mark.parametrize("words", ["x", "x=", "w=3", "x=nan", "300", "x=3in", "=3", "x=inf"])
def test_other_planes_are_refused(words):
    with pytest.raises(RaysimError, match="write x=300"):
        parsed_planes((words,))


def test_slices_lose_no_light(result, monkeypatch):
    """Slabs side by side hold all path length of the box, each weighted by its power."""
    triangles = result.triangles
    ends = triangles.corners.min(axis=(0, 1)), triangles.corners.max(axis=(0, 1))
    arrays, slabs = kernel_scene(triangles), 7
    for axis in range(3):
        size = ends[1][axis] - ends[0][axis]
        monkeypatch.setattr(view_light, "THICKNESS", size / slabs)
        planes = [Plane(axis, ends[0][axis] + (k + 0.5) * size / slabs) for k in range(slabs)]
        found = light_slices(arrays, planes, ends, 0.5, seed=3, case=1, count=400)
        counted = 0.0
        for one in found:
            areas = np.outer(*(np.diff(edges) / 1000.0 for edges in one.edges))
            counted += 10.0 * (one.light * areas).sum() * size / slabs
        wanted = 0.0
        for lamp, rating in enumerate(triangles.lamps):
            for trail in photon_trails(arrays, lamp, 200, seed=3, case=1):
                lengths = np.linalg.norm(np.diff(trail.points, axis=0), axis=1)
                wanted += 0.5 * rating.uvc_W / 200 * (lengths @ trail.power)
        assert counted == pytest.approx(wanted, rel=1e-9)


def test_paths_that_reach_an_object_end_on_it(result):
    triangles, count = result.triangles, 30
    arrays = kernel_scene(triangles)
    body = [one.name for one in triangles.bodies].index("respirator 2")
    wanted = triangles.face_body == body
    for lamp, trails in enumerate(trails_reaching(arrays, wanted, count, 1, 0)):
        assert len(trails) == count
        firsts = []
        for trail in photon_trails(arrays, lamp, 2000, seed=1):
            hits = [k for k, face in enumerate(trail.faces) if face >= 0 and wanted[face]]
            if hits:
                firsts.append((trail.points[: hits[0] + 2], trail.power[: hits[0] + 1]))
        for trail, (points, power) in zip(trails, firsts, strict=False):
            assert np.array_equal(trail.points, points)
            assert np.array_equal(trail.power, power)


def test_an_object_that_no_path_reaches_has_none(result):
    none = np.zeros(len(result.triangles.areas), bool)
    assert trails_reaching(kernel_scene(result.triangles), none, 3, 1, 0) == [[], []]


def pixels(path: Path) -> np.ndarray:
    return np.asarray(Image.open(path).convert("RGB"), int)


def shot(view: View) -> np.ndarray:
    """Picture of a view, drawn in this process."""
    window = Window(view, off_screen=True)
    try:
        return np.asarray(window.plotter.screenshot(return_img=True), int)[..., :3]
    finally:
        window.plotter.close()


def brown(image: np.ndarray) -> int:
    """Pixels in the colours of paths, legends left out."""
    red, green, blue = np.moveaxis(image[150:850, :1200], 2, 0)
    return int(((red - blue > 70) & (red > green + 25)).sum())


def unlike(one: np.ndarray, another: np.ndarray) -> float:
    """Share of the pixels that differ by more than a shade."""
    return float((np.abs(one - another).max(axis=2) > 12).mean())


def test_a_picture_shows_map_slices_and_paths(view, tmp_path):
    open_apart(view, tmp_path / "all.png")
    every, other = pixels(tmp_path / "all.png"), shot(replace(view, lamp=1))
    bare = shot(replace(view, trails=((), ())))
    only = shot(replace(view, slices=(), trails=((), ())))
    assert brown(every) > 2000
    assert brown(bare) < 0.3 * brown(every)
    assert min(unlike(every, bare), unlike(bare, only), unlike(every, other)) > 0.01
    red, green, blue = np.moveaxis(only[150:850, :1200], 2, 0)
    assert ((green > red + 40) & (green > blue + 10)).sum() > 1000  # the map itself


def test_the_view_turns_to_what_is_named(view):
    box, worst, other = (
        shot(replace(view, look_at=name)) for name in ("box", "worst", "RESPIRATOR 2")
    )
    assert min(unlike(box, worst), unlike(box, other), unlike(worst, other)) > 0.1


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux can be without a screen")
def test_without_a_screen_a_picture_is_offered(view, monkeypatch):
    for name in ("DISPLAY", "WAYLAND_DISPLAY"):
        monkeypatch.delenv(name, raising=False)
    with pytest.raises(RaysimError, match="no screen.*--picture"):
        open_apart(view, None)


def framebuffer(path: Path) -> np.ndarray:
    """What stands on a virtual screen, from its XWD file (X11/XWDFile.h), (height, width, 3)."""
    data = path.read_bytes()
    head = struct.unpack(">25I", data[:100])
    size, width, height, line, colours = head[0], head[4], head[5], head[12], head[19]
    start = size + 12 * colours
    rows = np.frombuffer(data, np.uint8, height * line, start).reshape(height, line)
    return rows[:, : 4 * width].reshape(height, width, 4)[..., 2::-1].astype(int)


class virtual_screen:  # noqa: N801
    """An X server without a screen of glass; gives its address and its framebuffer's file."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def __enter__(self) -> tuple[str, Path]:
        read, write = os.pipe()
        words = ["Xvfb", "-displayfd", str(write), "-screen", "0", f"{SCREEN[0]}x{SCREEN[1]}x24"]
        # Between the first client's end and the next one's start it would be deaf while it resets.
        words += ["-fbdir", str(self.folder), "-nolisten", "tcp", "-noreset"]
        self._server = subprocess.Popen(words, pass_fds=[write], stderr=subprocess.DEVNULL)
        os.close(write)
        with os.fdopen(read) as told:
            number = told.readline().strip()
        assert number, "the virtual screen did not start"
        return f":{number}", self.folder / "Xvfb_screen0"

    def __exit__(self, *_: object) -> None:
        self._server.terminate()
        self._server.wait(20)


@pytest.mark.skipif(
    shutil.which("Xvfb") is None, reason="no virtual display was found: apt-get install xvfb"
)
def test_a_window_opens_shows_the_map_and_heeds_its_keys(view, tmp_path):
    """Under a virtual display: what stands on the screen, before and after keys are pressed."""
    script = tmp_path / "window.py"
    script.write_text(KEYS_SCRIPT, encoding="utf-8")
    import pickle

    with (tmp_path / "view.pickle").open("wb") as file:
        pickle.dump(view, file)
    with virtual_screen(tmp_path) as (display, screen):
        done = subprocess.Popen(
            [sys.executable, str(script), str(tmp_path)],
            env=os.environ | {"DISPLAY": display, "PYTHONPATH": str(Path(synthetic.__file__).parents[2])},
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
        shown = {}
        try:
            for name in ("start", "p", "s", "w", "l"):
                until = time.monotonic() + 60.0
                while not (tmp_path / name).exists():
                    assert time.monotonic() < until, name
                    assert done.poll() is None, done.communicate()[1]
                    time.sleep(0.05)
                shown[name] = framebuffer(screen)
                (tmp_path / f"{name}.seen").touch()
            _, errors = done.communicate(timeout=60)
        finally:
            done.kill()
            done.wait()
    assert done.returncode == 0, errors
    Image.fromarray(shown["start"].astype(np.uint8)).save(tmp_path / "screen.png")
    assert len(np.unique(shown["start"].reshape(-1, 3), axis=0)) > 200
    # W is wires and P a picked box to the plotting library itself, which must not hear of them.
    assert (tmp_path / "surfaces").read_text() == "{2}"
    steps = list(shown.values())
    for before, after in zip(steps, steps[1:], strict=False):
        assert (np.abs(before - after).max(axis=2) > 12).mean() > 0.003


KEYS_SCRIPT = """
import pickle, sys, time
from pathlib import Path

import raysim.output.viewer.apart as apart
from raysim.output.viewer.camera import FREE
from raysim.output.viewer.draw import SIZE, Window

folder = Path(sys.argv[1])
view = pickle.load((folder / "view.pickle").open("rb"))
show = Window.show_window


def watched(self):
    def step(name):
        self.plotter.render()
        (folder / name).touch()
        until = time.monotonic() + 60
        while not (folder / f"{name}.seen").exists() and time.monotonic() < until:
            time.sleep(0.02)

    def pressed():
        step("start")
        for key in "pswl":
            self.plotter.iren.interactor.SetKeySym(key)
            self.plotter.iren.interactor.SetKeyCode(key)
            self.plotter.iren.interactor.InvokeEvent("KeyPressEvent")
            self.plotter.iren.interactor.InvokeEvent("CharEvent")
            step(key)
        looks = [a.GetProperty() for a in self.plotter.renderer.actors.values()]
        shown = {one.GetRepresentation() for one in looks if hasattr(one, "GetRepresentation")}
        (folder / "surfaces").write_text(str(shown))

    show(self, before_waiting=pressed)


Window.show_window = watched
sys.argv = ["view_apart", str(folder / "view.pickle")]
apart.main()
"""


@pytest.mark.parametrize(
    ("low", "high"),
    [(1e-4, 1.2), (0.02, 3.0), (3.0, 900.0), (0.2, 4000.0), (3.46, 9.34), (5.0, 5.1), (1e3, 2e6)],
)
@pytest.mark.parametrize("logarithmic", [True, False])
def test_numbers_beside_a_bar_are_round_and_none_reads_as_zero(low, high, logarithmic):
    """They were 3410, 5820 and 8230."""
    ticks = round_ticks(low, high, logarithmic)
    assert 2 <= len(ticks) <= 20
    assert (ticks >= low * (1.0 - 1e-9)).all()
    assert (ticks <= high * (1.0 + 1e-9)).all()
    shown = [float(f"{value:.7g}") for value in ticks]
    assert shown == pytest.approx(list(ticks), rel=1e-6, abs=0.0)
    assert len(set(shown)) == len(ticks)
    steps = np.diff(ticks)
    mantissas = [
        float(f"{value:.6e}".split("e")[0])
        for value in (steps if steps.std() < 1e-9 * steps.mean() else ticks)
    ]
    assert set(mantissas) <= {1.0, 2.0, 5.0}


@pytest.mark.parametrize("look_at", ["box", "respirator 2"])
@pytest.mark.parametrize("towards_side", [SIZE, (700, 900)])
def test_the_box_keeps_clear_of_bars_and_words(view, look_at, towards_side, monkeypatch):
    """The bar of the paths lay over the foot of a wardrobe."""
    monkeypatch.setattr("raysim.output.viewer.draw.SIZE", towards_side)
    window = Window(replace(view, look_at=look_at), off_screen=True)
    try:
        corners = view.result.corners
        if look_at != "box":
            corners = corners[view.result.body == view.result.names.index(look_at)]
        camera, renderer = window.plotter.camera, window.plotter.renderer
        matrix = camera.GetCompositeProjectionTransformMatrix(renderer.GetTiledAspectRatio(), -1, 1)
        whole = np.array([[matrix.GetElement(i, j) for j in range(4)] for i in range(4)])
        seen = np.c_[corners.reshape(-1, 3), np.ones(3 * len(corners))] @ whole.T
        x, y = (0.5 + 0.5 * seen[:, :2] / seen[:, 3:]).T
    finally:
        window.plotter.close()
    left, right, bottom, top = FREE
    assert left <= x.min() < x.max() <= right
    assert bottom <= y.min() < y.max() <= top
    assert max((x.max() - x.min()) / (right - left), (y.max() - y.min()) / (top - bottom)) > 0.7
