"""What a builder cuts: panels and linings of a rectangular box."""

from dataclasses import dataclass

from raysim.scene.file.written import Chamber


@dataclass(frozen=True)
class Panel:
    """A wall: its sheet as cut (width, height), and the lining that covers its inside; m."""

    wall: str
    sheet: tuple[float, float] | None
    lining: tuple[float, float]
    surface: str


def panels(chamber: Chamber) -> tuple[Panel, ...]:
    """Cut list of a box; empty for a chamber from a mesh.

    Butt joints: left and right stand between floor and ceiling, which are as deep as the inside;
    front and back cover all edges. Their volumes add up to that of the shell.

    Source: definition of the joints.
    """
    if chamber.inside is None:
        return ()
    w, d, h = chamber.inside
    t = chamber.sheet
    cut = {}
    if t is not None:
        outer_w, outer_h = w + 2.0 * t, h + 2.0 * t
        cut = {
            "front": (outer_w, outer_h),
            "back": (outer_w, outer_h),
            "left": (d, h),
            "right": (d, h),
            "floor": (outer_w, d),
            "ceiling": (outer_w, d),
        }
    faces = {"front": (w, h), "back": (w, h), "left": (d, h), "right": (d, h)}
    faces |= {"floor": (w, d), "ceiling": (w, d)}
    return tuple(
        Panel(wall, cut.get(wall), size, _surface_name(chamber, wall))
        for wall, size in faces.items()
    )


def _surface_name(chamber: Chamber, wall: str) -> str:
    choice = chamber.walls.get(wall, chamber.lining)
    return choice if isinstance(choice, str) else choice.name or "as given in the scene"
