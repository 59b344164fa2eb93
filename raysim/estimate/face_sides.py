"""The face-sides that are judged, each by itself or by the disc about it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from raysim.estimate.discs import PATCH_AREA, Discs, discs_about, lone_discs
from raysim.scene.triangles import SceneTriangles
from raysim.transport.starts import FaceStarts, Start

# Standard errors that an irradiance may lie too low: of what is hardly known, noise is not to pass
# for darkness. Common practice, no source.
GUESS_ERRORS = 2.0


@dataclass(frozen=True)
class Sites:
    """The face-sides that are judged; all (sites,).

    `patches` are the face-sides within 1 cm2 of each (see `discs_about`).
    """

    faces: np.ndarray
    sides: np.ndarray
    areas: np.ndarray
    bodies: np.ndarray
    patches: Discs

    def targets(self, sites: np.ndarray) -> Sequence[Start]:
        """Where backward paths from some sites start."""
        return FaceStarts(self.faces[sites], self.sides[sites])

    def averaged(self, mean: np.ndarray, variance: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """What stands for each judged face-side (..., faces, 2): its own mean and variance."""
        return mean, variance


def spread_targets(leads: Sequence[Start], members: list[np.ndarray], of: Sites) -> list[Start]:
    """The streams of `leads`, each spread over several face-sides, given as rows of `of`."""
    return [
        Start(lead.stream, tuple(of.faces[own].tolist()), tuple(of.sides[own].tolist()))
        for lead, own in zip(leads, members, strict=True)
    ]


@dataclass(frozen=True)
class DiscSites(Sites):
    """The discs of some area about each judged face-side, judged in its place."""

    discs: Discs

    def targets(self, sites: np.ndarray) -> Sequence[Start]:
        """Where backward paths from some discs start: anywhere on each, even by area."""
        members = [self.discs.members(site) for site in sites.tolist()]
        return spread_targets(Sites.targets(self, sites), members, self)

    def averaged(self, mean: np.ndarray, variance: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Mean and variance over the disc of each judged face-side, (..., faces, 2).

        One photon may count on several faces of a disc, so their errors are taken as if all erred
        together, which is never too small: the error of the mean is the mean of the errors.
        """
        at = (..., self.faces, self.sides)
        found = []
        for field in (mean, np.sqrt(variance)):
            rows = field[at]
            smooth = field.copy()
            means = [self.discs.means(row) for row in rows.reshape(-1, len(self.faces))]
            smooth[at] = np.reshape(means, rows.shape)
            found.append(smooth)
        return found[0], found[1] ** 2


@dataclass(frozen=True)
class Estimate:
    """Irradiance of one case, W/m2; all (faces, 2) float64."""

    irradiance: np.ndarray
    standard_error: np.ndarray
    lower_bound: np.ndarray


def judged_sites(triangles: SceneTriangles, area: float | None = None) -> Sites:
    """Judged face-sides of a scene, and the 1 cm2 around each; or discs of `area` (m2) instead.

    The 1 cm2 about a disc is the disc itself where that is no smaller.
    """
    faces, sides = np.nonzero(triangles.judged)
    areas, bodies = triangles.areas[faces], triangles.face_body[faces]
    if area is not None and area >= PATCH_AREA:
        patches = lone_discs(areas)
    else:
        patches = discs_about(triangles, faces, sides, PATCH_AREA)
    if area is None:
        return Sites(faces, sides, areas, bodies, patches)
    discs = discs_about(triangles, faces, sides, area)
    return DiscSites(faces, sides, areas, bodies, patches, discs)


def weighted_percentile(values: np.ndarray, weights: np.ndarray, share: float) -> float:
    """Value below which `share` of the weight lies (definition)."""
    order = np.argsort(values, kind="stable")
    below = np.cumsum(weights[order])
    where = np.searchsorted(below, share * below[-1])
    return float(values[order][min(where, len(values) - 1)])


def upper_end(
    mean: np.ndarray, error: np.ndarray, sure: np.ndarray, errors: float = GUESS_ERRORS
) -> np.ndarray:
    """Irradiance (W/m2) at which each face-side is compared when the darkest is named.

    The lowest of many noisy values would show the noise: one that is not `sure` is taken at the
    upper end of its error, so many standard `errors` above it.
    """
    return mean + np.where(sure, 0.0, errors * error)
