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
from raysim.scene.file.fields import UNIT_METRES
from raysim.scene.file.read import read_scene
from raysim.scene.file.rows import USUAL_PARTS
from raysim.scene.file.toml import toml_text
from raysim.starter.files import ply_bytes, stl_bytes
from raysim.starter.hooks import hook, rail
from raysim.studies.design.boxes import BEHIND, Hooks, Size, measurable
from raysim.studies.design.proposals import WALLS, Proposal
from raysim.studies.design.shapes import Hung
from raysim.studies.design.wish import Wish
from raysim.workshop.grid import MM, Grid

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
RABBET, BLACK = {"width": 1, "step": 8, "distance": 300}, 0.1
MESH_SCALE = 0.03937  # inches in a mm, to 2 parts in a million: meshes are in mm
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
    wish, box, grid = work.wish, proposal.box, proposal.box.grid
    width = box.inside[0]
    rail_file = f"rail_{_number(width, grid):g}.ply"
    meshes = {one.file: one.content for one in work.hung}
    meshes |= {HOOK: stl_bytes(hook()), rail_file: ply_bytes(rail(to_mm(width) - RAIL_SHORT))}
    walls = dict(zip(WALLS, proposal.linings, strict=True))
    others = {wall: name for wall, name in walls.items() if name != proposal.lining}
    chamber: dict[str, Any] = {
        "inside": _point(box.inside, grid),
        "lining": proposal.lining,
        "sheet": _number(wish.sheet[proposal.sheet].thickness, grid),
    }
    data = {
        "title": wish.title,
        "units": grid.unit,
        "chamber": chamber | ({"walls": others} if others else {}),
        "lamp": _lamps(wish, proposal),
        "row": list(_rows(work, proposal, rail_file)),
        **work.tables,
        "gap": [_seam(wish, proposal)],
    }
    return HEADING + toml_text(data), meshes


def _number(length: float, grid: Grid) -> float | int:
    """A length (m) in the unit of a scene (definition)."""
    rounded = round(length / UNIT_METRES[grid.unit], 4)
    return int(rounded) if rounded == int(rounded) else rounded


def _point(point: Size, grid: Grid) -> list[float | int]:
    return [_number(value, grid) for value in point]


def _mm(value: float, grid: Grid) -> float | int | str:
    """A length that is known in mm: in scenes in inches it has its unit (definition)."""
    return _number(0.001 * value, grid) if grid == MM else f"{value:g} mm"


def _lamps(wish: Wish, proposal: Proposal) -> list[dict[str, Any]]:
    kind, offer, grid = proposal.lamps.kind, wish.lamp[proposal.offer], proposal.box.grid
    tubes = {"tubes": kind.tubes, "spacing": _mm(TUBES_APART * kind.diameter_mm, grid)}
    return [
        {
            "name": f"lamp {number}",
            "from": _point(start, grid),
            "to": _point(end, grid),
            "diameter": _mm(kind.diameter_mm, grid),
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
    spacing, grid = proposal.box.spacing, proposal.box.grid
    middle = row.first[0] + 0.5 * (row.count - 1) * spacing
    parts = {name: USUAL_PARTS[name] for name in hung[0].parts}
    files = [one.file for one in hung]
    to_rail = (0.5 * proposal.box.inside[0] - middle, BEHIND, 0.0)
    return {
        "name": f"respirator {letter}",
        "count": row.count,
        "from": _point(row.first, grid),
        **({"spacing": _number(spacing, grid)} if row.count > 1 else {}),
        "mesh": files if len(set(files)) > 1 else files[0],
        "parts": parts,
        **({} if grid == MM else {"scale": MESH_SCALE}),
        "hook": HOOK,
        **({"rail": rail_file, "rail_at": _point(to_rail, grid)} if rail_file else {}),
    }


def _seam(wish: Wish, proposal: Proposal) -> dict[str, Any]:
    """The seam of the door, all round the front, with a rabbet."""
    grid = proposal.box.grid
    w, off, h = measurable((proposal.box.inside[0], SEAM, proposal.box.inside[2]), grid)
    x, z = (off, w - off), (off, h - off)
    corners = [(x[0], z[0]), (x[1], z[0]), (x[1], z[1]), (x[0], z[1]), (x[0], z[0])]
    return {
        "name": "door, all round",
        "wall": "front",
        "points": [_point((a, 0.0, b), grid) for a, b in corners],
        "depth": _number(2.0 * wish.sheet[proposal.sheet].thickness, grid),
        "kind": "rabbet",
        **{key: _mm(value, grid) for key, value in RABBET.items()},
        "reflectance": BLACK,
    }
