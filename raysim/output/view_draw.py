"""A window, or a picture of it: the dose map, slices of light and the paths of a lamp's photons.

Drawing happens in a process of its own (`open_apart`), because broken graphics libraries can end
a process without a word.
"""

import pickle
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from raysim.errors import RaysimError
from raysim.output.cautions import CAUTION_LINE
from raysim.output.pictures_scale import COLOUR_MAP
from raysim.output.view_light import LightSlice
from raysim.output.view_source import ViewedResult
from raysim.scene.triangles import INSIDE, OUTSIDE
from raysim.trails import FAINTEST, Trail
from raysim.units import to_mm

SIZE = (1500, 1050)  # px
NO_SCREEN = 5  # exit status of the drawing process where no window can be opened
WHOLE, WORST = "box", "worst"
KEYS = "L next lamp | P paths | S slices | W worst spot | B whole box | Q close"
BAR: dict[str, Any] = {
    "title_font_size": 17, "label_font_size": 15, "color": "black", "n_labels": 5, "fmt": "%.3g",
}  # fmt: skip
ROOM_FOR_BARS = 0.30


@dataclass(frozen=True)
class View:
    """All that is drawn; lengths of `tubes`, (n, 3, 3), and `edges`, (m, 2, 3), in mm.

    `lamp` is the row of `lamps` whose trails are shown first; `look_at` is "box", "worst" or the
    name of an object.
    """

    result: ViewedResult
    tubes: np.ndarray
    edges: np.ndarray
    lamps: tuple[str, ...]
    trails: tuple[tuple[Trail, ...], ...]
    slices: tuple[LightSlice, ...]
    lamp: int = 0
    look_at: str = WHOLE


class Window:
    """The plotter with everything in it, and what its keys do."""

    def __init__(self, view: View, off_screen: bool) -> None:
        import pyvista
        from vtkmodules.vtkCommonCore import vtkLogger

        vtkLogger.SetStderrVerbosity(vtkLogger.VERBOSITY_OFF)
        plotter: Any = pyvista.Plotter
        self.view, self.lamp = view, view.lamp
        self.plotter = plotter(off_screen=off_screen, window_size=list(SIZE), lighting="none")
        self.plotter.set_background("white")
        self.plotter.add_light(pyvista.Light(light_type="headlight"))
        self._paths: list[Any] = []
        self._slices: list[Any] = []
        self._add_surfaces()
        self._add_slices()
        self._add_worst()
        self.show_lamp(self.lamp)
        self._add_words()
        self.look_at(view.look_at)

    def _add_surfaces(self) -> None:
        """Judged cloth in the colours of its sides, the rest quiet, near walls left out."""
        result = self.view.result
        judged = result.judged.any(axis=1)
        walls = result.is_wall[result.body]
        self._plain(result.corners[walls], "#ececec", culling="back")
        self._plain(result.corners[~walls & ~judged], "#8e8e8e")
        self._plain(self.view.tubes, "#bccbf7")
        for side in (OUTSIDE, INSIDE):
            chosen = result.judged[:, side]
            self._cloth(chosen & ~result.scale.wanting[:, side], side)
            self._plain(
                result.corners[chosen & result.scale.wanting[:, side]],
                "#ffe8d6",
                culling=_culling(side),
                show_edges=True,
                edge_color="#961420",
            )
        if len(self.view.edges):
            import pyvista

            lines = pyvista.line_segments_from_points(self.view.edges.reshape(-1, 3))
            self.plotter.add_mesh(lines, color="#8a9199", line_width=1.5, lighting=False)

    def _plain(self, corners: np.ndarray, colour: str, **more: Any) -> None:
        if len(corners):
            self.plotter.add_mesh(
                _mesh(corners), color=colour, ambient=0.75, diffuse=0.25, specular=0.0, **more
            )

    def _cloth(self, chosen: np.ndarray, side: int) -> None:
        result, scale = self.view.result, self.view.result.scale
        if not chosen.any():
            return
        mesh = _mesh(result.corners[chosen])
        mesh.cell_data["value"] = np.clip(scale.values[chosen, side], scale.low, scale.high)
        self.plotter.add_mesh(
            mesh,
            scalars="value",
            cmap=COLOUR_MAP,
            clim=(scale.low, scale.high),
            log_scale=scale.logarithmic,
            culling=_culling(side),
            ambient=0.8,
            diffuse=0.2,
            specular=0.0,
            annotations=dict(scale.marks) if side == OUTSIDE else None,
            show_scalar_bar=side == OUTSIDE,
            scalar_bar_args=BAR
            | {
                "title": f"{scale.label}\n",
                "vertical": True,
                "position_x": 0.86,
                "position_y": 0.16,
                "height": 0.66,
                "width": 0.05,
            },
        )

    def _add_slices(self) -> None:
        """The light of each slice, dark where little comes through; on one scale for all."""
        lit = [one.light[one.light > 0.0] for one in self.view.slices]
        values = np.concatenate([np.zeros(0), *lit])
        if not len(values):
            return
        low, high = np.percentile(values, [2, 98])
        for number, one in enumerate(self.view.slices):
            mesh = _slice_mesh(one, float(low))
            actor = self.plotter.add_mesh(
                mesh,
                scalars="light",
                cmap="gray",
                clim=(float(low), max(float(high), 1.01 * float(low))),
                log_scale=True,
                lighting=False,
                opacity=0.6,
                show_scalar_bar=number == 0,
                scalar_bar_args=BAR
                | {
                    "title": "light in the slice (fluence rate), mW/cm²",
                    "vertical": False,
                    "position_x": 0.53,
                    "position_y": 0.055,
                    "height": 0.06,
                    "width": 0.3,
                },
            )
            self._slices.append(actor)

    def _add_worst(self) -> None:
        """Pointer and label at the worst spot, seen through everything."""
        import pyvista

        worst = self.view.result.case["worst"]
        at = np.array(worst["centroid_mm"])
        words = f"worst spot: {worst['object']}, {worst['side']}, {worst['irradiance_mW_cm2']:.3g} mW/cm²"
        corners = self.view.result.corners[worst["face"]]
        normal = np.cross(corners[1] - corners[0], corners[2] - corners[0])
        normal *= (1.0 if worst["side"] == "outside" else -1.0) / np.linalg.norm(normal)
        arrow = pyvista.Arrow(
            start=tuple(at + 62.0 * normal),
            direction=tuple(-normal),
            scale=60.0,
            tip_radius=0.09,
            shaft_radius=0.03,
        )
        self.plotter.add_mesh(arrow, color="#c2185b", ambient=0.6, diffuse=0.4)
        self.plotter.add_point_labels(
            at[None], [words], font_size=17, text_color="black", shape_color="white",
            shape_opacity=0.9, point_color="#c2185b", point_size=12, always_visible=True,
            render_points_as_spheres=True,
        )  # fmt: skip

    def show_lamp(self, lamp: int) -> None:
        """Draw the trails of one lamp in place of those drawn before."""
        for actor in self._paths:
            self.plotter.remove_actor(actor, render=False)
        self._paths = []
        self.lamp = lamp
        trails = self.view.trails[lamp] if self.view.trails else ()
        lines, power = _segments(trails)
        if not len(lines):
            return
        import pyvista

        mesh = pyvista.line_segments_from_points(lines.reshape(-1, 3))
        mesh.cell_data["power"] = np.maximum(100.0 * power, 100.0 * FAINTEST)
        actor = self.plotter.add_mesh(
            mesh,
            scalars="power",
            cmap="YlOrBr",
            clim=(100.0 * FAINTEST, 100.0),
            log_scale=True,
            line_width=1.6,
            lighting=False,
            scalar_bar_args=BAR
            | {
                "title": "power left on a path, %",
                "vertical": False,
                "position_x": 0.14,
                "position_y": 0.055,
                "height": 0.06,
                "width": 0.3,
            },
        )
        words = f"{len(trails)} photon paths of lamp {self.view.lamps[lamp]}"
        label = self.plotter.add_text(
            words, position=(14, SIZE[1] - 92), font_size=11, color="black"
        )
        self._paths = [actor, label]

    def _add_words(self) -> None:
        result = self.view.result
        title = str(result.record["scene"]["title"])
        timer = result.record["timer_s"]
        under = f"{result.record['case']} case"
        under += "; no finite timer setting" if timer is None else f"; timer {timer / 60.0:.1f} min"
        if self.view.slices:
            under += "; slices at " + " and ".join(one.plane.words for one in self.view.slices)
        for words, height, size in ((title, 38, 14), (under, 66, 11)):
            self.plotter.add_text(
                words, position=(14, SIZE[1] - height), font_size=size, color="black"
            )
        self.plotter.add_text(CAUTION_LINE, position=(14, 8), font_size=8, color="#8f1d1d")

    def look_at(self, what: str) -> None:
        """Turn the camera to the whole box, to the worst spot or to an object, by its name."""
        result = self.view.result
        worst = result.case["worst"]
        name = worst["object"] if what == WORST else what
        chosen = result.corners.reshape(-1, 3)
        towards = np.array([-0.55, -1.0, 0.42])
        if what != WHOLE:
            chosen = result.corners[result.body == result.names.index(name)].reshape(-1, 3)
        if what == WORST:
            corners = result.corners[worst["face"]]
            normal = np.cross(corners[1] - corners[0], corners[2] - corners[0])
            normal *= (1.0 if worst["side"] == "outside" else -1.0) / np.linalg.norm(normal)
            towards = normal + np.array([0.25, -0.35, 0.3])
        low, high = chosen.min(axis=0), chosen.max(axis=0)
        towards = towards / np.linalg.norm(towards)
        reach = 0.5 * float(np.linalg.norm(high - low)) * (1.0 + ROOM_FOR_BARS)
        focus, camera = 0.5 * (low + high), self.plotter.camera
        camera.focal_point, camera.up = tuple(focus), (0.0, 0.0, 1.0)
        camera.view_angle = 26.0
        camera.position = tuple(focus + towards * reach / np.sin(np.radians(13.0)))
        self.plotter.camera_set = True
        self.plotter.reset_camera_clipping_range()

    def add_keys(self) -> None:
        """Keys of the window."""
        self.plotter.add_text(KEYS, position="upper_right", font_size=9, color="#444b54")
        actions = {
            "l": lambda: self.show_lamp((self.lamp + 1) % max(len(self.view.lamps), 1)),
            "p": lambda: _toggle(self._paths),
            "s": lambda: _toggle(self._slices),
            "w": lambda: self.look_at(WORST),
            "b": lambda: self.look_at(WHOLE),
        }
        for key, action in actions.items():
            self.plotter.add_key_event(key, lambda action=action: (action(), self.plotter.render()))


def _culling(side: int) -> str:
    return "back" if side == OUTSIDE else "front"


def _toggle(actors: list[Any]) -> None:
    for actor in actors:
        actor.SetVisibility(not actor.GetVisibility())


def _mesh(corners: np.ndarray) -> Any:
    import pyvista

    faces: Any = np.arange(3 * len(corners)).reshape(-1, 3)
    return pyvista.PolyData.from_regular_faces(corners.reshape(-1, 3), faces)


def _slice_mesh(one: LightSlice, lowest: float) -> Any:
    """The squares of a slice as a flat grid in the box."""
    import pyvista

    axes = [np.array([to_mm(one.plane.at)])] * 3
    others = [axis for axis in range(3) if axis != one.plane.axis]
    for axis, edges in zip(others, one.edges, strict=True):
        axes[axis] = edges
    mesh: Any = pyvista.RectilinearGrid(*axes)
    mesh.cell_data["light"] = np.maximum(one.light, lowest).ravel(order="F")
    return mesh


def _segments(trails: tuple[Trail, ...]) -> tuple[np.ndarray, np.ndarray]:
    """Segments (n, 2, 3), mm, of some trails, and the power on each (n,), 0 to 1."""
    if not trails:
        return np.zeros((0, 2, 3)), np.zeros(0)
    lines = [np.stack([one.points[:-1], one.points[1:]], axis=1) for one in trails]
    return to_mm(np.concatenate(lines)), np.concatenate([one.power for one in trails])


def open_apart(view: View, picture: Path | None) -> None:
    """Open the window and wait until it is closed, or write the picture (PNG) instead.

    Raises
    ------
    RaysimError
        Where there is no screen, or the graphics libraries are missing or broken.
    """
    with tempfile.TemporaryDirectory() as private:
        handed_over = Path(private) / "view.pickle"
        with handed_over.open("wb") as file:
            pickle.dump(view, file)
        words = [sys.executable, "-m", "raysim.output.view_draw", str(handed_over)]
        words += [] if picture is None else [str(picture.absolute())]
        done = subprocess.run(words, capture_output=True, text=True, check=False)
    if done.returncode == NO_SCREEN:
        raise RaysimError(
            "no window can be opened here (no screen). Mend: draw into a file with --picture FILE"
        )
    if done.returncode < 0:
        raise RaysimError(
            "the graphics libraries of this machine are missing or broken. "
            "Mend: install them (Debian: libegl1, libgl1)"
        )
    if done.returncode:
        last = done.stderr.strip().splitlines()[-1:] or [f"status {done.returncode}"]
        raise RaysimError(f"the view could not be drawn ({last[0]})")


def main() -> None:
    """Draw what `open_apart` handed over: a picture if a file is named, else a window."""
    with Path(sys.argv[1]).open("rb") as file:
        view = pickle.load(file)
    picture = sys.argv[2] if len(sys.argv) > 2 else None
    window = Window(view, off_screen=picture is not None)
    if picture is not None:
        window.plotter.screenshot(picture)
        window.plotter.close()
        return
    if (
        "EGL" in type(window.plotter.render_window).__name__.upper()
        or "OS" in type(window.plotter.render_window).__name__[3:5]
    ):
        sys.exit(NO_SCREEN)
    window.add_keys()
    window.plotter.show(title="raysim view")


if __name__ == "__main__":
    main()
