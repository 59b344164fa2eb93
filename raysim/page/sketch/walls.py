"""Light on the walls of the net: what falls on cells of each wall, in the cautious case.

Paths start in the middle of each cell and read the photons of the sketch, as those from judged
face-sides do. A wall is not judged: this shows where light goes, and nothing else.
"""

from typing import Any

import numpy as np

from raysim.base.units import to_mW_cm2
from raysim.page.sketch.light import BATCHES, SEED, Sketch
from raysim.scene.triangles import METER_LIFT
from raysim.transport.poses import BackwardCycle
from raysim.transport.starts import Start
from raysim.transport.streams import METERS
from raysim.workshop.drum import DrumSide, drum_of
from raysim.workshop.fixings import Walls, walls_of
from raysim.workshop.frames import Frame
from raysim.workshop.grid import grid_of
from raysim.workshop.panels import wall_frames

# Our own choices: side of a cell (m), how many there are at most, paths of a cell and batch.
CELL, MOST_CELLS, MOST_PATHS = 0.04, 1500, 100
FIRST_WORD = METERS.first + METERS.number // 2  # meter points count from the first one on


class WallLight:
    """Paths from the cells of all walls that the net shows; none where there is no net."""

    def __init__(self, sketch: Sketch, cell: float | None = None) -> None:
        scene = sketch.scene
        walls = walls_of(scene.written, scene.triangles)
        drum = None if walls.is_box else drum_of(walls)
        frames = wall_frames(scene.written.chamber, grid_of(scene.written.units), drum)
        area = sum(f.size[0] * f.size[1] * f.grid.step**2 for f in frames.values())
        cell = cell or max(CELL, float(np.sqrt(area / MOST_CELLS)))
        self.grids = {wall: _cells(frame, cell) for wall, frame in frames.items()}
        points = [at for wall, f in frames.items() for at in _middles(f, *self.grids[wall], walls)]
        self._starts = [
            Start(FIRST_WORD + k, at=at, facing=facing) for k, (at, facing) in enumerate(points)
        ]
        self._factors = sketch.factors
        self._paths = BackwardCycle.after(sketch.photons, scene.poses, SEED, batches=BATCHES)
        self._paths.add_starts(self._starts)

    @property
    def enough(self) -> bool:
        """Whether nothing more is traced (definition)."""
        return not self._starts or int(self._paths.paths.min()) >= MOST_PATHS

    def add_paths(self) -> None:
        """One path more in each batch from every cell."""
        every = np.arange(len(self._starts))
        self._paths.add_paths(every, np.ones(len(every), int))

    def irradiance(self) -> tuple[np.ndarray, np.ndarray]:
        """Of all cells and its standard error, W/m2; (cells,) each, infinite where not known."""
        by_batch = self._paths.batch_irradiance(np.arange(len(self._starts)))[..., 0]
        batches = by_batch @ self._factors
        mean, error = batches.mean(axis=1), batches.std(axis=1, ddof=1) / np.sqrt(BATCHES)
        return mean, np.where((mean == 0.0) & (error == 0.0), np.inf, error)

    def rows(self) -> list[dict[str, Any]]:
        """Of each wall its cells, row by row from below: irradiance (mW/cm2) and relative error.

        None stands for cells that are outside of a disc, or of which nothing is known.
        """
        mean, error = self.irradiance()
        shown, first = [], 0
        for wall, (across, up, inside) in self.grids.items():
            light: list[float | None] = [None] * (across * up)
            doubt: list[float | None] = [None] * (across * up)
            for cell in np.flatnonzero(inside):
                e, spread = float(to_mW_cm2(mean[first])), float(error[first])
                first += 1
                if e > 0.0 and np.isfinite(spread):
                    light[cell] = float(f"{e:.4g}")
                    doubt[cell] = round(spread / float(mean[first - 1]), 3)
            inside_list = inside.astype(int).tolist()
            shown.append(
                {"wall": wall, "across": across, "up": up, "inside": inside_list}
                | {"light": light, "error": doubt}
            )
        return shown


def _cells(frame: Frame | DrumSide, cell: float) -> tuple[int, int, np.ndarray]:
    """How many cells across and up, and which of them lie on the wall, (across * up,) bool."""
    across, up = (max(round(side * frame.grid.step / cell), 1) for side in frame.size)
    u, v = np.meshgrid((np.arange(across) + 0.5) / across - 0.5, (np.arange(up) + 0.5) / up - 0.5)
    inside = np.hypot(u, v).reshape(-1) < 0.5 if frame.is_disc else np.ones(across * up, bool)
    return across, up, inside


def _middles(
    frame: Frame | DrumSide, across: int, up: int, inside: np.ndarray, walls: Walls
) -> list[tuple[np.ndarray, np.ndarray]]:
    """Middles (3,) of the cells, m, and the way off the wall there."""
    found = []
    for cell in np.flatnonzero(inside):
        u = int(frame.size[0] * (cell % across + 0.5) / across)
        v = int(frame.size[1] * (cell // across + 0.5) / up)
        at = np.array(frame.at(u, v, 0))
        off = np.array(frame.at(u, v, frame.grid.per_unit)) - at
        off /= np.linalg.norm(off)
        found.append((at + _into(at, off, walls) * off, off))
    return found


def _into(at: np.ndarray, off: np.ndarray, walls: Walls) -> float:
    """How far a place must move off a wall to be inside all facets that face it, m.

    Box and drum are convex, so that it lies inside where it is on the inner side of each plane.
    """
    ahead = walls.normals @ off
    behind = ((walls.corners[:, 0] - at) * walls.normals).sum(axis=1)
    facets = ahead > 0.1
    return float(max((behind[facets] / ahead[facets]).max(), 0.0)) + METER_LIFT
