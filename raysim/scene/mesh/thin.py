"""Thin a mesh that is finer than light needs, and measure what that changes."""

from dataclasses import dataclass

import numpy as np

from raysim.base.fault_codes import Code
from raysim.scene.file.things import Object
from raysim.scene.mesh.clean import MeshPart
from raysim.scene.mesh.decimate import Decimated
from raysim.scene.notes import Notes

# A judged part of so many triangles, of so small edges on average (m), is offered to be thinned.
# Light on a respirator is judged to 6 mm otherwise; all three are our own choice.
MANY, FINE, OFFERED = 50_000, 0.0015, 0.002
MEASURED = 50_000  # corners whose distance from the thinned surface is measured, evenly chosen
WORTH_IT = 0.9  # share of the triangles left above which nothing is done
SAG = 0.2  # of the edge: a surface that moves farther is another one


class CannotThin(ValueError):
    """A mesh that would no longer be the same thing; the text continues after "it"."""


@dataclass(frozen=True)
class Thinned:
    """A mesh of fewer triangles, and what that changed, in the unit of the mesh."""

    vertices: np.ndarray  # (vertices, 3) float64
    faces: np.ndarray  # (faces, 3) int64
    before: int  # triangles
    farthest: float  # from a corner of the original to the thinned surface
    mean: float
    area: float  # thinned area over the original one


def thinned(vertices: np.ndarray, faces: np.ndarray, edge: float) -> Thinned | None:
    """The mesh in triangles with edges of about `edge`; None if it has hardly more than that.

    Parameters
    ----------
    vertices : (vertices, 3) float64
    faces : (faces, 3) int64
    edge : float
        In the unit of `vertices`.

    Raises
    ------
    CannotThin
        If a closed mesh would open, neighbours would face opposite ways, or it moves too far.

    Source: Garland and Heckbert, "Surface simplification using quadric error metrics", SIGGRAPH
    (1997), as VTK has it.
    """
    import trimesh

    before = trimesh.Trimesh(vertices, faces, process=False)
    share = before.area / (0.25 * np.sqrt(3.0) * edge**2) / len(faces)
    if share > WORTH_IT:
        return None
    small = Decimated(vertices, faces, 1.0 - share)
    after = trimesh.Trimesh(small.vertices, small.faces, process=False)
    if (before.is_watertight, True) != (after.is_watertight, after.is_winding_consistent):
        raise CannotThin("would tear or fold over")
    some = np.unique(np.linspace(0, len(vertices) - 1, MEASURED).astype(int))
    distance = small.distances(vertices[some])
    if distance.max() > SAG * edge:
        raise CannotThin(f"would move by {distance.max():.2g}")
    corners, triangles = np.array(after.vertices), np.array(after.faces)
    return Thinned(
        corners,
        triangles,
        len(faces),
        float(distance.max()),
        float(distance.mean()),
        float(after.area / before.area),
    )


def thin_part(
    notes: Notes, entry: Object, part: MeshPart, key: str, scale: float
) -> tuple[np.ndarray, np.ndarray]:
    """Corners and faces of a part, thinned where its object says so; tells what that changes.

    `scale` is what a number of the mesh is in metres. A judged scan that is finer than light needs
    is told of.
    """
    named = f'{entry.mesh}, part "{part.name}"' if part.name else entry.mesh
    if entry.thin is None:
        _offer(notes, entry, part, f"{key}.thin", scale)
        return part.vertices, part.faces
    try:
        found = thinned(part.vertices, part.faces, entry.thin / scale)
    except CannotThin as why:
        what = f"{named} cannot be thinned to edges of {1000 * entry.thin:.3g} mm: it {why}"
        notes.error(Code.MESH_THINNED, f"{key}.thin", what, "choose a shorter length, or none")
        found = None
    if found is None:
        return part.vertices, part.faces
    farthest, mean = 1000 * scale * found.farthest, 1000 * scale * found.mean
    what = (
        f"{named} was thinned from {found.before:,} to {len(found.faces):,} triangles: its surface "
        f"moved by up to {farthest:.2g} mm ({mean:.2g} mm on average), its area changed by "
        f"{100 * (found.area - 1):+.2g} %, and folds are evened out"
    )
    mend = "'raysim dose' judges the darkest spots again on the original"
    notes.warning(Code.MESH_THINNED, f"{key}.thin", what, mend)
    return found.vertices, found.faces


def _offer(notes: Notes, entry: Object, part: MeshPart, key: str, scale: float) -> None:
    if not entry.judged or len(part.faces) < MANY:
        return
    corners = part.vertices[part.faces]
    edge = scale * float(np.linalg.norm(corners[:, 1] - corners[:, 0], axis=1).mean())
    if edge < FINE:
        what = (
            f"{entry.mesh} is finer than light needs ({len(part.faces):,} triangles with edges of "
            f"{1000 * edge:.2g} mm), which costs time and memory"
        )
        mend = f'thin = "{1000 * OFFERED:g} mm" thins it, and tells what that changes'
        notes.warning(Code.MESH_FINE, key, what, mend)
