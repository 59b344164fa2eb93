"""A window, or a picture of it: the dose map, slices of light and the paths of a lamp's photons."""

import textwrap
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from raysim.base.units import minutes_seconds, to_mm
from raysim.output.pictures.scale import COLOUR_MAP, DoseScale, tick_words
from raysim.output.viewer.light import LightSlice
from raysim.output.viewer.source import ViewedResult
from raysim.output.words.cautions import CAUTION_LINE
from raysim.output.words.verdict import DO_NOT_USE
from raysim.scene.triangles import INSIDE, OUTSIDE
from raysim.transport.trails import FAINTEST, Trail

SIZE = (1500, 1050)  # px, of a picture
WINDOW_SIZE = (1240, 868)  # px, fits the screen of a laptop
WHOLE, WORST = "box", "worst"
KEYS = "L next lamp | P paths | S slices | W worst spot | B whole box | Q close"
BAR: dict[str, Any] = {
    "title_font_size": 17, "label_font_size": 15, "color": "black", "n_labels": 5, "fill": True,
    "background_color": "white",
}  # fmt: skip
ROOM_FOR_BARS = 0.1


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
    reach: str = ""  # object that all trails reach, if they were chosen so


class Window:
    """The plotter with its content, and the actions of its keys."""

    def __init__(self, view: View, off_screen: bool) -> None:
        import pyvista
        from vtkmodules.vtkCommonCore import vtkLogger

        vtkLogger.SetStderrVerbosity(vtkLogger.VERBOSITY_OFF)
        plotter: Any = pyvista.Plotter
        self.view, self.lamp = view, view.lamp
        self.plotter = plotter(
            off_screen=off_screen,
            window_size=list(SIZE if off_screen else WINDOW_SIZE),
            lighting="none",
        )
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
        """Judged objects in the colours of the map, the rest in greys, without near walls."""
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
            show_scalar_bar=side == OUTSIDE,
            scalar_bar_args=BAR
            | {
                "title": _scale_title(scale),
                "fmt": _format(scale.low, scale.high),
                "vertical": True,
                "position_x": 0.86,
                "position_y": 0.16,
                "height": 0.66,
                "width": 0.05,
            },
        )

    def _add_slices(self) -> None:
        """The light of each slice, dark where there is little, all on one scale."""
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
                    "title": "light in the slice (fluence rate), mW/cm²\n",
                    "fmt": _format(float(low), float(high)),
                    "vertical": False,
                    "position_x": 0.53,
                    "position_y": 0.06,
                    "height": 0.075,
                    "width": 0.3,
                },
            )
            self._slices.append(actor)

    def _add_worst(self) -> None:
        """Pointer and label at the worst spot, drawn over everything."""
        import pyvista

        at, normal = _worst_place(self.view.result)
        worst = self.view.result.case["worst"]
        light = f"{worst['irradiance_mW_cm2']:.3g} mW/cm²"
        words = f"worst spot: {worst['object']}, {worst['side']}, {light}"
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
        """Draw the trails of one lamp in place of the previous ones."""
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
            line_width=1.2,
            lighting=False,
            scalar_bar_args=BAR
            | {
                "title": "power left on a path, %\n",
                "fmt": "%.0f",
                "vertical": False,
                "position_x": 0.14,
                "position_y": 0.06,
                "height": 0.075,
                "width": 0.3,
            },
        )
        words = f"{len(trails)} photon paths of lamp {self.view.lamps[lamp]}"
        words += f" that reach {self.view.reach}" if self.view.reach else ""
        words += ", paler where power is lost"
        label = self._write(words, 0.893, 11)
        self._paths = [actor, label]

    def _add_words(self) -> None:
        result = self.view.result
        title = str(result.record["scene"]["title"])
        timer = result.record["verdict"]["timer_s"]
        under = f"{result.record['case']} case"
        under += f"; {DO_NOT_USE}" if timer is None else f"; timer {minutes_seconds(timer)}"
        under += "; interrupted run" if result.record["interrupted"] else ""
        if self.view.slices:
            under += "; slices at " + " and ".join(one.plane.words for one in self.view.slices)
        self._write(title, 0.955, 14)
        self._write(under, 0.925, 11)
        self._write("\n".join(textwrap.wrap(CAUTION_LINE, 150)), 0.006, 8, "#8f1d1d")

    def _write(self, words: str, height: float, size: int, colour: str = "black") -> Any:
        """Text at the left; `height` is a share of the window's, 0 at its foot."""
        plain = words.replace("|", "/").replace(
            "$", "\\$"
        )  # otherwise read as columns and mathematics
        actor = self.plotter.add_text(
            plain, position=(0.01, height), viewport=True, font_size=size, color=colour
        )
        actor.prop.background_color, actor.prop.background_opacity = "white", 0.8
        return actor

    def look_at(self, what: str) -> None:
        """Turn the camera to the whole box, to the worst spot or to an object, by its name."""
        result = self.view.result
        worst = result.case["worst"]
        name = worst["object"] if what == WORST else what
        chosen = result.corners.reshape(-1, 3)
        towards = np.array([-0.55, -1.0, 0.42])
        if what != WHOLE:
            folded = [one.casefold() for one in result.names]
            chosen = result.corners[result.body == folded.index(name.casefold())].reshape(-1, 3)
        if what == WORST:
            towards = _worst_place(result)[1] + np.array([0.25, -0.35, 0.3])
        low, high = chosen.min(axis=0), chosen.max(axis=0)
        towards = towards / np.linalg.norm(towards)
        reach = 0.5 * float(np.linalg.norm(high - low)) * (1.0 + ROOM_FOR_BARS)
        focus, camera = 0.5 * (low + high), self.plotter.camera
        camera.focal_point, camera.up = tuple(focus), (0.0, 0.0, 1.0)
        camera.view_angle = 26.0
        camera.position = tuple(focus + towards * reach / np.sin(np.radians(13.0)))
        self.plotter.camera_set = True
        self.plotter.reset_camera_clipping_range()

    def show_window(self, before_waiting: Callable[[], None] | None = None) -> None:
        """Open the window and wait until it is closed; `before_waiting` is called when it shows."""
        self._add_keys()
        self.plotter.show(title="raysim view", auto_close=False, interactive=before_waiting is None)
        if before_waiting is not None:
            before_waiting()
        self.plotter.close()

    def _add_keys(self) -> None:
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


def _worst_place(result: ViewedResult) -> tuple[np.ndarray, np.ndarray]:
    """Place (3,), mm, of the worst spot, and the unit normal (3,) towards its side."""
    worst = result.case["worst"]
    corners = result.corners[worst["face"]]
    normal = np.cross(corners[1] - corners[0], corners[2] - corners[0])
    normal *= (1.0 if worst["side"] == "outside" else -1.0) / np.linalg.norm(normal)
    return np.array(worst["centroid_mm"]), normal


def _scale_title(scale: DoseScale) -> str:
    marks = "".join(f"\n{words} {tick_words(value)}" for value, words in scale.marks)
    return f"{scale.quantity},\n{scale.unit}{marks}\n"


def _format(low: float, high: float) -> str:
    """Number format of a bar from `low` to `high` in which no number rounds to 0."""
    if low < 0.01 * min(high, 100.0):
        return "%.3g"
    return "%.0f" if high >= 100.0 else "%.2f" if high >= 1.0 else "%.3g"


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
    return mesh.cell_data_to_point_data()  # smooths the counting noise


def _segments(trails: tuple[Trail, ...]) -> tuple[np.ndarray, np.ndarray]:
    """Segments (n, 2, 3), mm, of some trails, and the power on each (n,), 0 to 1."""
    if not trails:
        return np.zeros((0, 2, 3)), np.zeros(0)
    lines = [np.stack([one.points[:-1], one.points[1:]], axis=1) for one in trails]
    return to_mm(np.concatenate(lines)), np.concatenate([one.power for one in trails])
