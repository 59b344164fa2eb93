"""A proposal as a scene file with its meshes.

Its seam is that of a door with a rabbet; target, habits of lamps and wear are those of the wish.
"""

import tomllib
from dataclasses import dataclass
from itertools import cycle, islice
from pathlib import Path
from string import ascii_uppercase
from typing import Any

from raysim.base.units import to_mm
from raysim.scene.build import BuiltScene, build_scene
from raysim.scene.file.read import read_scene
from raysim.scene.file.rows import USUAL_PARTS
from raysim.scene.file.toml import toml_text
from raysim.starter.files import ply_bytes, stl_bytes
from raysim.starter.hooks import hook, rail
from raysim.studies.design.boxes import BEHIND, Hooks, Size
from raysim.studies.design.proposals import WALLS, Proposal
from raysim.studies.design.shapes import Hung
from raysim.studies.design.wish import Wish

PASSED_ON = ("target", "lamps_behaviour", "wear")  # tables of a wish that stand in its scenes
HOOK = "hook.stl"
HEADING = """\
# Proposed by 'raysim design': a search chose the place of every lamp and hook, nothing was built or
# measured. Run 'raysim dose' on it before setting a timer, and meter the box as it was built.
# The seam of the door has a rabbet and is painted matt black (reflectance 0.1): build it so.
# UVC injures eyes and skin.

"""
RAIL_SHORT = 1.0  # mm that a rail is shorter than the box, so that it meets no wall
SEAM = 0.012  # m from the corner of an opening to the seam of its door
# mm, as in the demo. A bright lining would lead the light out through the seam: it is taken as matt
# black. Ordinary paint sends back about 0.05 of 254 nm (surfaces.toml); twice that is taken here.
RABBET = {"width": 1, "kind": "rabbet", "step": 8, "distance": 300, "reflectance": 0.1}
TUBES_APART = 1.5  # axes of the tubes of a lamp, in diameters; own estimate, no source


@dataclass(frozen=True)
class Workplace:
    """Where scenes of a wish are written while it is worked on: its own tables, and a folder."""

    wish: Wish
    hung: tuple[Hung, ...]
    tables: dict[str, Any]  # of the wish, as TOML reads it
    folder: Path

    def scene(self, proposal: Proposal, name: str) -> BuiltScene:
        """The scene of a proposal, written with its meshes and read again.

        Raises
        ------
        SceneError
            Where it cannot be built.
        """
        text, meshes = scene_files(self, proposal)
        for file, content in meshes.items():
            if not (self.folder / file).exists():
                (self.folder / file).write_bytes(content)
        path = self.folder / name
        path.write_text(text, encoding="utf-8")
        return build_scene(path, read_scene(path))


def workplace(wish: Wish, hung: tuple[Hung, ...], path: Path, folder: Path) -> Workplace:
    """A place to work on the wish in the file `path`; scenes go to `folder`."""
    tables = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    return Workplace(wish, hung, {k: v for k, v in tables.items() if k in PASSED_ON}, folder)


def scene_files(work: Workplace, proposal: Proposal) -> tuple[str, dict[str, bytes]]:
    """The scene file (text) of a proposal, and its meshes by name."""
    wish, box = work.wish, proposal.box
    width = to_mm(box.inside[0])
    rail_file = f"rail_{width:g}.ply"
    meshes = {one.file: one.content for one in work.hung}
    meshes |= {HOOK: stl_bytes(hook()), rail_file: ply_bytes(rail(width - RAIL_SHORT))}
    walls = dict(zip(WALLS, proposal.linings, strict=True))
    others = {wall: name for wall, name in walls.items() if name != proposal.lining}
    chamber: dict[str, Any] = {
        "inside": _mm(box.inside),
        "lining": proposal.lining,
        "sheet": _number(to_mm(wish.sheet[proposal.sheet].thickness)),
    }
    data = {
        "title": wish.title,
        "units": "mm",
        "chamber": chamber | ({"walls": others} if others else {}),
        "lamp": _lamps(wish, proposal),
        "row": list(_rows(work, proposal, rail_file)),
        **work.tables,
        "gap": [_seam(wish, proposal)],
    }
    return HEADING + toml_text(data), meshes


def _number(value: float) -> float | int:
    rounded = round(float(value), 4)
    return int(rounded) if rounded == int(rounded) else rounded


def _mm(point: Size) -> list[float | int]:
    return [_number(to_mm(value)) for value in point]


def _lamps(wish: Wish, proposal: Proposal) -> list[dict[str, Any]]:
    kind, offer = proposal.lamps.kind, wish.lamp[proposal.offer]
    tubes = {"tubes": kind.tubes, "spacing": TUBES_APART * kind.diameter_mm}
    return [
        {
            "name": f"lamp {number}",
            "from": _mm(start),
            "to": _mm(end),
            "diameter": kind.diameter_mm,
            **(tubes if kind.tubes > 1 else {}),
            "uvc": f"{offer.watts:g} W",
            "electrical": f"{kind.lamp_W_low:g} W",
        }
        for number, (start, end) in enumerate(proposal.lamps.arcs, 1)
    ]


def _rows(work: Workplace, proposal: Proposal, rail_file: str) -> Any:
    """Rows of hooks; what differs in its parts hangs in rows of its own."""
    shapes, letter = cycle(work.hung), iter(ascii_uppercase + ascii_uppercase.lower())
    for row in proposal.box.rows:
        hung = list(islice(shapes, row.count))
        if len({one.parts for one in hung}) == 1:
            yield _row(proposal, row, hung, next(letter), rail_file)
            continue
        for number, one in enumerate(hung):
            x, y, z = row.first
            alone = Hooks((x + number * proposal.box.spacing, y, z), 1)
            yield _row(proposal, alone, [one], next(letter), rail_file if not number else "")


def _row(
    proposal: Proposal, row: Hooks, hung: list[Hung], letter: str, rail_file: str
) -> dict[str, Any]:
    spacing = proposal.box.spacing
    middle = row.first[0] + 0.5 * (row.count - 1) * spacing
    parts = {name: USUAL_PARTS[name] for name in hung[0].parts}
    files = [one.file for one in hung]
    to_rail = (0.5 * proposal.box.inside[0] - middle, BEHIND, 0.0)
    return {
        "name": f"respirator {letter}",
        "count": row.count,
        "from": _mm(row.first),
        **({"spacing": _number(to_mm(spacing))} if row.count > 1 else {}),
        "mesh": files if len(set(files)) > 1 else files[0],
        "parts": parts,
        "hook": HOOK,
        **({"rail": rail_file, "rail_at": _mm(to_rail)} if rail_file else {}),
    }


def _seam(wish: Wish, proposal: Proposal) -> dict[str, Any]:
    """The seam of the door, all round the front, with a rabbet."""
    w, _, h = proposal.box.inside
    x, z = (SEAM, w - SEAM), (SEAM, h - SEAM)
    corners = [(x[0], z[0]), (x[1], z[0]), (x[1], z[1]), (x[0], z[1]), (x[0], z[0])]
    return {
        "name": "door, all round",
        "wall": "front",
        "points": [_mm((a, 0.0, b)) for a, b in corners],
        "depth": _number(to_mm(2.0 * wish.sheet[proposal.sheet].thickness)),
        **RABBET,
    }
