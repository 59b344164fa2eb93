"""The steps of building in words: what to do, and what to beware of where the hand is."""

from collections.abc import Iterator

from raysim.dose.result import Result
from raysim.library.assumptions import assumptions
from raysim.library.surfaces import surfaces
from raysim.output.words.guide_door import door
from raysim.output.words.guide_fit import holders, hooks, wiring
from raysim.output.words.guide_light import lit_steps
from raysim.output.words.guide_use import OZONE_FREE, Step
from raysim.output.words.same_box import linings_by_wall, tolerance_words
from raysim.workshop.fixings import Held
from raysim.workshop.panels import tags
from raysim.workshop.plan import Plan

# kg/m3, from memory; for a first idea of what has to be lifted.
DENSITIES = {"plywood": 650.0, "steel": 7850.0}


def steps(plan: Plan, result: Result, templates: int = 0) -> tuple[Step, ...]:
    """All steps of building, from buying to the meter inside; `templates` are sheets of paper."""
    made = [_cut(plan)] if plan.is_box else [_mesh_shell(plan)]
    if plan.panels:
        made.append(_drill(plan, templates))
    made.append(_lining(plan))
    return (
        Step("Buy", (*_buying(plan),), OZONE_FREE),
        *made,
        *([_shell(plan)] if plan.is_box else []),
        door(plan, result),
        _seams_first(),
        holders(plan),
        hooks(plan),
        wiring(plan),
        _seams_again(),
        *lit_steps(plan),
    )


def _buying(plan: Plan) -> Iterator[str]:
    yield "What is on the bill, and nothing that is only said to be as good."
    watts = sorted({f"{lamp.uvc_W:.3g}" for lamp in plan.scene.triangles.lamps}, key=float)
    yield (
        "Lamps by their size, cap and radiant UVC watts from the maker's data sheet, each at least "
        f"what the table Lamps says ({', '.join(watts)} W of UVC). A ballast is bought for its "
        "lamp and for the mains of the place, with what it needs to start. UVC tubes stay with "
        "the seller until White light again is done: no lit one by mistake."
    )
    fooled = [name for name in plan.linings if (s := surfaces().get(name)) and s.looks_bright]
    if fooled:
        yield f"{' and '.join(fooled)} looks bright, and is nearly black at 254 nm."


def _cut(plan: Plan) -> Step:
    where = (
        "As the sheets under Cut list are drawn, one cut after the other"
        if plan.stock
        else "By the table under Cut list; t is the thickness of your sheet"
    )
    return Step(
        "Cut the panels",
        (
            f"{where}. Write on the inside face of each panel its name, and along each edge the "
            "name that its drawing has there: that of the neighbour. A panel that is turned over "
            "is of the wrong hand.",
            f"{tolerance_words(plan.grid)} Measure again before you drill.",
            "The inside is measured to the face of the lining: foil and tape count for nothing; "
            f"for one thicker than {plan.grid.step_words} cut the box larger by it.",
        ),
        "Glasses; gloves to carry sheet until every edge is filed smooth, NO gloves at a saw.",
        "exploded",
    )


def _drill(plan: Plan, templates: int) -> Step:
    lie = "by the edges of the panel"
    if any(panel.measured_from != "edge" for panel in plan.panels):
        lie = (
            "their edges on the lines of the inside faces, which you scribe t in from the cut: "
            "front and back from all edges, floor and ceiling from left and right; of left and "
            "right the edge is the line"
        )
    printed = (
        f"Print templates.html ({templates} sheets), which lies beside this guide, at 100 %; its "
        "100 mm must be 100 mm by a rule. Join the sheets by their crosses, lay them on the inside "
        f"face, {lie}; centre-punch, drill from inside. Without templates: measure."
    )
    return Step(
        "Drill",
        (
            printed
            if templates
            else "The drawings have no hole to drill, and there is no template to print.",
            "Of a panel only what has a diameter on its drawing is drilled. Screw holes of "
            "holders, hinges, latch and earth: from the parts in your hand, blind or filled by "
            "their screws.",
            "Measure each place once more; what stands under Measure twice, by another person.",
        ),
        "Glasses; clamp the panel; NO gloves at a turning drill.",
    )


# Not to be used, from the table of surfaces: paint and mirror are nearly black at 254 nm; a
# polyethylene bag over foil cuts it to 0.68 of its value [computed there].
def _lining(plan: Plan) -> Step:
    rows = [f"{walls}: {name}" for walls, name in linings_by_wall(plan)]
    flat = "Panel by panel, flat, before they are joined: glued" if plan.is_box else "Glued"
    either = [name for name in plan.linings if " or " in name]
    lines = [
        "; ".join(rows) + ".",
        f"{flat} over the whole back, the bright side to the light, nothing on its face: no tape, "
        "film, lacquer or glue. Cut out round each hole and along the seam of the door, so that "
        "what opens is lined for itself. Of two sheets of lining the upper laps over the lower.",
    ]
    if either:
        lines.append(
            f"{' and '.join(either)}: reckoned alike; write on the page Same box which it is, and "
            "the glue."
        )
    lines.append(
        "Not to be used, however bright they look: household or acrylic mirror, white paint, white "
        "plastic, clear film over metal: nearly black at 254 nm, so that the time would be wrong."
    )
    return Step(
        "Line the walls",
        tuple(lines),
        "Edges of foil and sheet cut: gloves, clean cotton outermost, as fingerprints absorb UVC. "
        "Another lining is another box.",
        "lined",
    )


def _shell(plan: Plan) -> Step:
    return Step(
        "Join the shell",
        (
            "Butt joints: left and right stand between floor and ceiling; back and front cover all "
            "edges. Both diagonals of each opening are alike. "
            + (_thickness() if plan.scene.written.chamber.sheet is None else ""),
            "Along each of the twelve edges an angle of metal on the outside, fixed and sealed: a "
            "seam that only meets edge to edge lets light through.",
            *_free_outside(plan),
            "Put it where it will stay, with room to walk round it, and fix it there before the "
            "survey, to the floor or by brackets that hold it off a wall, so that an open door "
            "does not tip it; entries below it on before, and so high that the head of the meter "
            "and a mirror go under. After every move: survey again.",
        ),
        _weight(plan),
        "shell",
    )


def _thickness() -> str:
    return (
        "The thickness t is your choice, save that of the front: light does not know it. Metal of "
        "1 mm or wood of 9 mm and more is common practice; wood of 12 mm where screws go into its "
        "edge."
    )


# What a bend of cable takes below a box: own choice.
def _free_outside(plan: Plan) -> Iterator[str]:
    walls: dict[str, list[str]] = {}
    for tag, mark in zip(tags(), plan.marks, strict=False):
        if mark.held is Held.HOLE:
            walls.setdefault(mark.wall, []).append(tag)
    if walls:
        where = "; ".join(f"{wall}: {', '.join(letters)}" for wall, letters in walls.items())
        yield (
            f"Cable entries stick out ({where}). Nothing stands or leans on them: keep their depth "
            "and the bend of the cable free"
            + (", below the floor by feet that are longer." if "floor" in walls else ".")
        )


def _weight(plan: Plan) -> str:
    """What the panels weigh, for one mm of thickness where it is not known."""
    inside, sheet = plan.scene.written.chamber.inside, plan.scene.written.chamber.sheet
    if inside is None:
        return ""
    w, d, h = inside
    area = 2.0 * (w * d + w * h + d * h)
    thick, per = (0.001, " for each mm of t") if sheet is None else (sheet, "")
    told = " or ".join(f"{area * thick * rho:.1f} kg of {name}" for name, rho in DENSITIES.items())
    return f"The panels weigh some {told}{per}, the front more: lift it by two."


def _mesh_shell(plan: Plan) -> Step:
    marked = "the front line inside it" if plan.panels else "the corners that are named here"
    return Step(
        "The shell",
        (
            f"Clean the vessel, take out what is loose, and mark {marked}.",
            *(() if plan.panels else (_drill_vessel(plan),)),
        ),
        "A vessel that held fuel, paint or solvent is not for this: its vapours burn. At a drill "
        "glasses and NO gloves.",
        "shell",
    )


def _drill_vessel(plan: Plan) -> str:
    """What is drilled in a vessel that has no drawing of its walls."""
    cable, bolt = (
        plan.grid.told(0.001 * assumptions()[key].value)
        for key in ("cable_hole_mm", "hook_hole_mm")
    )
    unit = plan.grid.unit
    return (
        "Drill what a wall holds, square to that wall, where its place meets it: "
        f"{cable} {unit} behind a holder, {bolt} {unit} for a bolt."
    )


# Ten minutes for eyes to see faint light: common practice, no source.
def _seams_first() -> Step:
    return Step(
        "Seams first: white light",
        (
            "Before any UVC tube is in the building: the white battery lamp inside, black tape on "
            "the outside over the drilled holes, door shut, the room dark. Wait ten minutes for "
            "your eyes. Look along every seam and hinge, from all sides and close by. Mark what "
            "shines, seal it, look again.",
            "This finds holes. That no white light is seen does not show that no UVC gets out: the "
            "meter does, later.",
        ),
        "No UVC tube is fitted before every seam is dark.",
        "seams",
    )


def _seams_again() -> Step:
    return Step(
        "White light again",
        (
            "Tape off, entries and bolts in, the entry of the meter capped: the same test once "
            'more, along every row of the survey sheet, column "white light seen?".',
        ),
        "No UVC tube is fitted before all of them are dark.",
    )
