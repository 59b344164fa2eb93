"""Respirators that are too long for the place where they hang."""

from raysim.base.fault_codes import Code
from raysim.base.units import to_mm
from raysim.scene.build import BuiltScene
from raysim.scene.notes import Notes

ABOVE = 0.03  # m: what hangs reaches no farther above its hook point; own choice
FREE = 0.01  # m to leave below the lowest point; own choice


def doubt_height(scene: BuiltScene, notes: Notes) -> None:
    """Note what is judged, hangs from its `at`, and is longer than the way down to the floor."""
    triangles = scene.triangles
    floor, top = (float(end[2]) for end in triangles.box)
    height = top - floor
    for number, entry in enumerate(scene.written.object):
        levels = triangles.corners_of(triangles.body_called(entry.name))[..., 2]
        above, below = float(levels.max()) - entry.at[2], entry.at[2] - float(levels.min())
        there = entry.at[2] - floor
        if not entry.judged or above > min(ABOVE, below) or below <= there:
            continue
        what = (
            f"it cannot hang there: it needs {to_mm(below):.0f} mm below its hook point, and "
            f"there are {to_mm(there):.0f} mm"
        )
        mend = f"hang it {to_mm(below + FREE):.0f} mm above the floor"
        if max(above, 0.0) + below + FREE > height:
            mend = f"take a smaller shape, or a box higher than {to_mm(height):.0f} mm"
        key = f"{scene.written.object_key(number)}.at"
        notes.warning(Code.CANNOT_HANG, key, what, mend)
