"""The memory that a dose run of a scene would take, summed up before any tracing."""

import numpy as np

from raysim.base.fault_codes import Code
from raysim.scene.build import BuiltScene
from raysim.scene.cubes import cubes_of
from raysim.scene.notes import Notes

MOST_MEMORY = 8 * 2**30  # bytes: what a laptop has; own choice
# Bytes, counted from the arrays (tests/scene/test_memory.py holds them against those of a run).
PER_FACE = 4 * 96  # photons that arrived and their squares, two sides, three cases, four threads
JOINED = 290  # of a face and lamp: irradiance and its error, as photons and paths are joined
PER_SIDE = 384  # of a judged face-side and lamp: sums of paths in 32 batches, three cases
STATE = 800  # of a judged face-side: what is known of it so far, and where its paths start
# Of each face-side on each patch of `judge_area`: kept, and while so many patches are worked on.
PER_MEMBER, AT_WORK, AT_ONCE = 9, 160, 16_384


def refuse_too_large(scene: BuiltScene, notes: Notes) -> None:
    """Note a scene that needs more memory than a laptop has, with the sum that says so."""
    triangles, poses = scene.triangles, len(scene.poses)
    lamps, faces, sides = len(triangles.lamps), len(triangles.areas), int(triangles.judged.sum())
    each = f"{lamps} lamps" + (f" x {poses} poses" if poses > 1 else "")
    counted = faces * lamps * (PER_FACE * poses + JOINED)
    judged = sides * (lamps * poses * PER_SIDE + STATE)
    terms = [
        f"{_gib(counted)} for {faces:,} triangles",
        f"{_gib(judged)} for {sides:,} judged face-sides",
    ]
    patches = _members(scene) * (PER_MEMBER + AT_WORK * min(AT_ONCE / max(sides, 1), 1.0))
    if patches:
        terms.append(f"{_gib(patches)} for the face-sides of all patches of judge_area")
    whole = counted + judged + patches
    if whole > MOST_MEMORY:
        what = (
            f"a run would need {_gib(whole)} of memory, more than a laptop has "
            f"({_gib(MOST_MEMORY)}), with {each}: {', '.join(terms)}"
        )
        mend = "choose longer edges, simpler meshes, or thin for a dense scan"
        notes.error(Code.TOO_MANY_TALLIES, "object", what, mend)


def _members(scene: BuiltScene) -> float:
    """About how many face-sides all patches of `judge_area` hold; 0 where none are judged.

    As many as the square of their number in cubes of the radius, times pi (definition of a disc).
    """
    area = scene.written.target.judge_area
    if area is None:
        return 0.0
    faces, sides = np.nonzero(scene.triangles.judged)
    cube = cubes_of(scene.triangles, faces, sides, float(np.sqrt(area / np.pi)))
    _, crowd = np.unique(cube, return_counts=True)
    return float(np.pi * (crowd.astype(float) ** 2).sum())


def _gib(number: float) -> str:
    return f"{number / 2**30:.2g} GiB"
