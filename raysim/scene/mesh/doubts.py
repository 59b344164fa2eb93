"""Doubts about a mesh: sides, lost triangles, unconnected triangles, bent faces."""

from collections.abc import Callable

from raysim.base.errors import Level
from raysim.base.fault_codes import Code
from raysim.scene.file.things import Object
from raysim.scene.mesh.meshes import LOOSE_SHARE, MeshPart

LEAST_LOOSE = 8  # triangles: so few may be unconnected on purpose


def doubt_part(fault: Callable[..., None], entry: Object, part: MeshPart, key: str) -> None:
    """Note what was repaired, or could not be, in a part of an object's mesh.

    `fault` takes code, key, what is wrong, how to mend it and the level (an error unless given).
    """
    named = f'{entry.mesh}, part "{part.name}"' if part.name else entry.mesh
    if not part.consistent:
        fault(
            Code.NORMALS_DISAGREE,
            f"{key}.mesh",
            f"{named} has neighbouring triangles that face opposite ways, so that its sides "
            "cannot be told apart",
            "recalculate the normals in the mesh editor",
        )
    if part.turned_round:
        fault(
            Code.INSIDE_OUT,
            f"{key}.mesh",
            f"{named} is inside out",
            "it was turned round for this run; flip its normals to be rid of this line",
            Level.WARNING,
        )
    if part.dropped:
        fault(
            Code.TRIANGLES_DROPPED,
            f"{key}.mesh",
            f"{named} has {part.dropped} triangles without area, or twice in one place, which "
            "were left out",
            "clean the mesh in its editor",
            Level.WARNING,
        )
    if part.loose > LOOSE_SHARE * len(part.faces) and len(part.faces) >= LEAST_LOOSE:
        fault(
            Code.TRIANGLES_LOOSE,
            f"{key}.mesh",
            f"{part.loose:,} of the {len(part.faces):,} triangles of {named} share no edge with "
            "another, so nobody can tell whether outside and inside are mixed up or a solid is "
            "closed, and 'raysim shadows' overlooks their dark patches",
            "merge the vertices that lie together (weld) in the mesh editor",
            Level.WARNING,
        )
    if entry.sides == "outside" and not part.closed:
        fault(
            Code.SOLID_OPEN,
            f"{key}.sides",
            f'{named} is open, so light would reach the back that sides = "outside" denies',
            'close the mesh, or take sides = "both"',
        )


def doubt_bent(fault: Callable[..., None], mesh: str, parts: list[MeshPart], key: str) -> None:
    """Note the faces of a mesh that are not flat; `fault` is called as above."""
    bent = parts[0].bent if parts else None  # the same for all parts of a file
    if bent is not None:
        fault(
            Code.FACES_BENT,
            f"{key}.mesh",
            f"{mesh} has faces that are not flat ({bent.count:,} of them): cut into triangles, one "
            f"({bent.where}) leans {bent.lean:.1f} degrees from its own plane, and may fold "
            "otherwise than was meant",
            "cut faces into triangles in the mesh editor, where it shows which way they fold",
            Level.WARNING,
        )
