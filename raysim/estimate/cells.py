"""Judged surface in cells of about 1 cm2: few enough to look at all of them for every variant.

A cell is what lies together in a cube of 10 mm edge, on one part and side, facing about one way.
Enough to rank walls or hooks by; a single dark face within a bright cell does not show.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from raysim.estimate.discs import lone_discs
from raysim.estimate.face_sides import Sites, spread_targets
from raysim.scene.cubes import cubes_of
from raysim.scene.triangles import SceneTriangles
from raysim.transport.starts import Start

CELL = 0.010  # m, edge of the cubes


@dataclass(frozen=True)
class Cells(Sites):
    """Cells as sites; `faces` and `sides` name the first face-side of each.

    `first` (cells + 1,) and `sites` (judged face-sides,) list the members of each cell as rows of
    the judged face-sides `of`.
    """

    first: np.ndarray
    sites: np.ndarray
    of: Sites

    def members(self, cell: int) -> np.ndarray:
        """Judged face-sides of one cell, rows of `of`."""
        return self.sites[self.first[cell] : self.first[cell + 1]]

    @property
    def owner(self) -> np.ndarray:
        """Cell of each judged face-side of `of`, (judged face-sides,)."""
        owner = np.empty(len(self.sites), np.int64)
        owner[self.sites] = np.repeat(np.arange(len(self.faces)), np.diff(self.first))
        return owner

    def over_cells(self, values: np.ndarray) -> np.ndarray:
        """Mean over its cell of each judged face-side's value (face-sides,), by area."""
        owner, areas = self.owner, self.of.areas
        return np.asarray((np.bincount(owner, areas * values) / np.bincount(owner, areas))[owner])

    def targets(self, sites: np.ndarray) -> Sequence[Start]:
        """Where backward paths from some cells start: anywhere on each, even by area."""
        members = [self.members(site) for site in sites.tolist()]
        return spread_targets(Sites.targets(self, sites), members, self.of)


def in_cells(triangles: SceneTriangles, sites: Sites) -> Cells:
    """All judged face-sides in cells."""
    cube = cubes_of(triangles, sites.faces, sites.sides, CELL)
    _, owner, count = np.unique(cube, return_inverse=True, return_counts=True)
    order = np.argsort(owner, kind="stable")
    first = np.concatenate([[0], np.cumsum(count)])
    lead = order[first[:-1]]
    areas = np.bincount(owner, sites.areas)
    return Cells(
        faces=sites.faces[lead],
        sides=sites.sides[lead],
        areas=areas,
        bodies=sites.bodies[lead],
        patches=lone_discs(areas),
        first=first,
        sites=order,
        of=sites,
    )
