"""A window, or a picture of it: the dose map, slices of light and the paths of a lamp's photons."""

import textwrap
from collections.abc import Callable
from typing import Any

import numpy as np

from raysim.base.units import minutes_seconds
from raysim.output.pictures.render import culling
from raysim.output.pictures.scale import COLOUR_MAP, round_ticks
from raysim.output.viewer.camera import aim
from raysim.output.viewer.keys import bind
from raysim.output.viewer.make import WHOLE, WORST, View
from raysim.output.viewer.meshes import (
    LYING,
    POWER_TITLE,
    UPRIGHT,
    bar,
    custom_labels,
    line_mesh,
    scale_title,
    segments,
    slice_mesh,
    triangle_mesh,
)
from raysim.output.viewer.source import worst_place
from raysim.output.words.cautions import CAUTION_LINE
from raysim.output.words.verdict import DO_NOT_USE
from raysim.scene.triangles import INSIDE, OUTSIDE
from raysim.transport.trails import FAINTEST

SIZE = (1500, 1050)  # px, of a picture
WINDOW_SIZE = (1240, 868)  # px, fits the screen of a laptop
KEYS = "L next lamp | P paths | S slices | W worst spot | B whole box | Q close"


class Window:
    """The plotter with its content, and the actions of its keys."""

    def __init__(self, view: View, off_screen: bool) -> None:
        import pyvista
        from vtkmodules.vtkCommonCore import vtkLogger

        vtkLogger.SetStderrVerbosity(vtkLogger.VERBOSITY_OFF)
        plotter: Any = pyvista.Plotter
        size = list(SIZE if off_screen else WINDOW_SIZE)
        self.view, self.lamp = view, view.lamp
        self.plotter = plotter(off_screen=off_screen, window_size=size, lighting="none")
        self.plotter.set_background("white")
        self.plotter.add_light(pyvista.Light(light_type="headlight"))
        self._paths: list[Any] = []
        self._slices: list[Any] = []
        self.paths_shown = view.paths_shown
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
            hatched = result.corners[chosen & result.scale.wanting[:, side]]
            edged = {"show_edges": True, "edge_color": "#961420"}
            self._plain(hatched, "#ffe8d6", culling=culling(side), **edged)
        if len(self.view.edges):
            lines = line_mesh(self.view.edges)
            self.plotter.add_mesh(lines, color="#8a9199", line_width=1.5, lighting=False)

    def _plain(self, corners: np.ndarray, colour: str, **more: Any) -> None:
        if len(corners):
            shine = {"ambient": 0.75, "diffuse": 0.25, "specular": 0.0}
            self.plotter.add_mesh(triangle_mesh(corners), color=colour, **shine, **more)

    def _cloth(self, chosen: np.ndarray, side: int) -> None:
        result, scale = self.view.result, self.view.result.scale
        if not chosen.any():
            return
        mesh = triangle_mesh(result.corners[chosen])
        mesh.cell_data["value"] = np.clip(scale.values[chosen, side], scale.low, scale.high)
        self.plotter.add_mesh(
            mesh,
            scalars="value",
            cmap=COLOUR_MAP,
            clim=(scale.low, scale.high),
            log_scale=scale.logarithmic,
            culling=culling(side),
            ambient=0.8,
            diffuse=0.2,
            specular=0.0,
            show_scalar_bar=side == OUTSIDE,
            scalar_bar_args=bar(scale_title(scale), UPRIGHT),
        )
        if side == OUTSIDE:
            self._ticks(scale_title(scale), scale.low, scale.high, scale.logarithmic)

    def _ticks(self, title: str, low: float, high: float, logarithmic: bool) -> Any:
        """Put round numbers beside the bar of this title; returns the bar."""
        shown = self.plotter.scalar_bars[title]
        shown.SetCustomLabels(custom_labels(round_ticks(low, high, logarithmic)))
        shown.SetUseCustomLabels(True)
        return shown

    def _add_slices(self) -> None:
        """The light of each slice, dark where there is little, all on one scale."""
        lit = [one.light[one.light > 0.0] for one in self.view.slices]
        values = np.concatenate([np.zeros(0), *lit])
        if not len(values):
            return
        low, high = (float(end) for end in np.percentile(values, [2, 98]))
        high = max(high, 1.01 * low)
        title = "light in the slice (fluence rate), mW/cm²\n"
        for number, one in enumerate(self.view.slices):
            actor = self.plotter.add_mesh(
                slice_mesh(one, low),
                scalars="light",
                cmap="gray",
                clim=(low, high),
                log_scale=True,
                lighting=False,
                opacity=0.6,
                show_scalar_bar=number == 0,
                scalar_bar_args=bar(title, LYING, position_x=0.5),
            )
            self._slices.append(actor)
        self._slices.append(self._ticks(title, low, high, True))

    def _add_worst(self) -> None:
        """Pointer and label at the worst spot, drawn over everything."""
        import pyvista

        at, normal = worst_place(self.view.result)
        worst = self.view.result.case["worst"]
        light = f"{worst['irradiance_mW_cm2']:.3g} mW/cm²"
        words = f"worst spot: {worst['object']}, {worst['side']}, {light}"
        start, end = tuple(at + 62.0 * normal), tuple(-normal)
        thin: dict[str, Any] = {"tip_radius": 0.09, "shaft_radius": 0.03}
        arrow = pyvista.Arrow(start=start, direction=end, scale=60.0, **thin)
        self.plotter.add_mesh(arrow, color="#c2185b", ambient=0.6, diffuse=0.4)
        self.plotter.add_point_labels(
            at[None], [words], font_size=17, text_color="black", shape_color="white",
            shape_opacity=0.9, point_color="#c2185b", point_size=12, always_visible=True,
            render_points_as_spheres=True,
        )  # fmt: skip

    def show_lamp(self, lamp: int) -> None:
        """Draw the trails of one lamp in place of the previous ones."""
        for actor in self._paths[:1] + self._paths[2:]:  # the bar goes with its mesh
            self.plotter.remove_actor(actor, render=False)
        self._paths = []
        self.lamp = lamp
        trails = self.view.trails[lamp] if self.view.trails else ()
        lines, power = segments(trails)
        if not len(lines):
            return
        mesh = line_mesh(lines)
        mesh.cell_data["power"] = np.maximum(100.0 * power, 100.0 * FAINTEST)
        actor = self.plotter.add_mesh(
            mesh,
            scalars="power",
            cmap="YlOrBr",
            clim=(100.0 * FAINTEST, 100.0),
            log_scale=True,
            line_width=1.2,
            lighting=False,
            scalar_bar_args=bar(POWER_TITLE, LYING, position_x=0.1),
        )
        power_bar = self._ticks(POWER_TITLE, 100.0 * FAINTEST, 100.0, True)
        words = f"{len(trails)} photon paths of lamp {self.view.lamps[lamp]}"
        words += f" that reach {self.view.reach}" if self.view.reach else ""
        words += ", paler where power is lost"
        self._paths = [actor, power_bar, self._write(words, 0.893, 11)]
        for one in self._paths:
            one.SetVisibility(self.paths_shown)

    def _add_words(self) -> None:
        result = self.view.result
        timer = result.record["verdict"]["timer_s"]
        told = DO_NOT_USE if timer is None else f"timer {minutes_seconds(timer)}"
        under = f"{result.record['case']} case; {told}"
        under += "; interrupted run" if result.record["interrupted"] else ""
        if self.view.slices:
            under += "; slices at " + " and ".join(one.plane.words for one in self.view.slices)
        self._write(str(result.record["scene"]["title"]), 0.955, 14)
        self._write(under, 0.925, 11)
        self._write("\n".join(textwrap.wrap(CAUTION_LINE, 150)), 0.006, 8, "#8f1d1d")

    def _write(self, words: str, height: float, size: int, colour: str = "black") -> Any:
        """Text at the left; `height` is a share of the window's, 0 at its foot."""
        # Else they would be read as columns and mathematics.
        plain = words.replace("|", "/").replace("$", "\\$")
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
            towards = worst_place(result)[1] + np.array([0.25, -0.35, 0.3])
        below = bool(self._slices or self.view.trails)
        aim(self.plotter, chosen, towards, bar_below=below)

    def show_window(self, before_waiting: Callable[[], None] | None = None) -> None:
        """Open the window and wait until it is closed; `before_waiting` is called when it shows."""
        self._add_keys()
        self.plotter.show(title="raysim view", auto_close=False, interactive=before_waiting is None)
        if before_waiting is not None:
            before_waiting()
        self.plotter.close()

    def _add_keys(self) -> None:
        self.plotter.add_text(KEYS, position="upper_right", font_size=9, color="#444b54")
        actions = {
            "l": self._next_lamp,
            "p": self._toggle_paths,
            "s": lambda: _toggle(self._slices),
            "w": lambda: self.look_at(WORST),
            "b": lambda: self.look_at(WHOLE),
        }
        bind(self.plotter, actions)

    def _next_lamp(self) -> None:
        self.paths_shown = True
        self.show_lamp((self.lamp + 1) % max(len(self.view.lamps), 1))

    def _toggle_paths(self) -> None:
        self.paths_shown = not self.paths_shown
        for one in self._paths:
            one.SetVisibility(self.paths_shown)


def _toggle(actors: list[Any]) -> None:
    for actor in actors:
        actor.SetVisibility(not actor.GetVisibility())
