"""Doubts about a mesh: sides, lost triangles, unconnected triangles, bent faces."""

from raysim.base.fault_codes import Code
from raysim.scene.file.things import Object
from raysim.scene.mesh.clean import LOOSE_SHARE, MeshPart
from raysim.scene.notes import Notes

LEAST_LOOSE = 8  # triangles: so few may be unconnected on purpose


def doubt_part(notes: Notes, entry: Object, part: MeshPart, key: str) -> None:
    """Note what was repaired, or could not be, in a part of an object's mesh."""
    named = _named(entry.mesh, part)
    tell_mended(notes, entry.mesh, part, key)
    if not part.consistent:
        what = (
            f"{named} has neighbouring triangles that face opposite ways, so that its sides "
            "cannot be told apart"
        )
        mend = "recalculate the normals in the mesh editor"
        notes.error(Code.NORMALS_DISAGREE, f"{key}.mesh", what, mend)
    if part.turned_round:
        mend = "it was turned round for this run; flip its normals to be rid of this line"
        notes.warning(Code.INSIDE_OUT, f"{key}.mesh", f"{named} is inside out", mend)
    if part.dropped:
        what = (
            f"{named} has {part.dropped} triangles without area, or twice in one place, which "
            "were left out"
        )
        mend = "clean the mesh in its editor"
        notes.warning(Code.TRIANGLES_DROPPED, f"{key}.mesh", what, mend)
    if part.loose > LOOSE_SHARE * len(part.faces) and len(part.faces) >= LEAST_LOOSE:
        what = (
            f"{part.loose:,} of the {len(part.faces):,} triangles of {named} share no edge with "
            "another, so nobody can tell whether outside and inside are mixed up or a solid is "
            "closed, and 'raysim shadows' overlooks their dark patches"
        )
        mend = "merge the vertices that lie together (weld) in the mesh editor"
        notes.warning(Code.TRIANGLES_LOOSE, f"{key}.mesh", what, mend)
    if entry.sides == "outside" and not part.closed:
        what = f'{named} is open, so light would reach the back that sides = "outside" denies'
        mend = 'close the mesh, or take sides = "both"'
        notes.error(Code.SOLID_OPEN, f"{key}.sides", what, mend)


def _named(mesh: str, part: MeshPart) -> str:
    return f'{mesh}, part "{part.name}"' if part.name else mesh


def tell_mended(notes: Notes, mesh: str, part: MeshPart, key: str) -> None:
    """Note the triangles of a part that were taken out or turned, and how many."""
    done = []
    if part.backs:
        done.append(f"{part.backs:,} back to back with another were left out")
    if part.turned:
        done.append(f"{part.turned:,} that faced the other way were turned round")
    if done:
        what = f"{_named(mesh, part)} was mended: of its triangles, {', '.join(done)}"
        mend = "look at it in a mesh editor; repair = false, under units, refuses such a mesh"
        notes.warning(Code.MESH_MENDED, f"{key}.mesh", what, mend)


def doubt_bent(notes: Notes, mesh: str, parts: list[MeshPart], key: str) -> None:
    """Note the faces of a mesh that are not flat."""
    bent = parts[0].bent if parts else None  # the same for all parts of a file
    if bent is not None:
        what = (
            f"{mesh} has faces that are not flat ({bent.count:,} of them): cut into triangles, one "
            f"({bent.where}) leans {bent.lean:.1f} degrees from its own plane, and may fold "
            "otherwise than was meant"
        )
        mend = "cut faces into triangles in the mesh editor, where it shows which way they fold"
        notes.warning(Code.FACES_BENT, f"{key}.mesh", what, mend)
