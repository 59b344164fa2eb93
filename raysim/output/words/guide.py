"""The steps of building in words: what to do, and what to beware of where the hand is."""

from collections.abc import Iterator

from raysim.base.units import to_mm
from raysim.dose.result import Result
from raysim.dose.verdict_record import Why
from raysim.library.assumptions import assumptions
from raysim.library.surfaces import surfaces
from raysim.output.words.guide_light import lit_steps
from raysim.output.words.guide_use import OZONE_FREE, Step
from raysim.output.words.numbers import number
from raysim.output.words.verdict import the_verdict
from raysim.scene.file.seams import Gap
from raysim.scene.rabbet import closing_step
from raysim.workshop.bill import ENTRY
from raysim.workshop.fixings import DOOR
from raysim.workshop.plan import Plan


def steps(plan: Plan, result: Result) -> tuple[Step, ...]:
    """All steps of building, from buying to the reading of the meter inside."""
    is_box = plan.is_box
    return (
        Step("Buy", (*_buying(plan),), OZONE_FREE),
        *([_cut(plan), _drill(), _shell(plan)] if is_box else [_mesh_shell()]),
        _door(plan, result),
        _seams_first(),
        _lining(plan),
        _holders(plan),
        _wiring(),
        _hooks(plan),
        _seams_again(),
        *lit_steps(plan),
    )


def _buying(plan: Plan) -> Iterator[str]:
    yield "What is on the bill, and nothing that is only said to be as good."
    low, high = (assumptions()[f"uvc_share_{end}"].value for end in ("low", "high"))
    yield (
        "Lamps by their size, cap and radiant UVC watts from the maker's data sheet, at least "
        "those of the table of lamps. What they take from the mains is "
        f"{1.0 / high:g} to {1.0 / low:g} times as much; a ballast is bought for its lamp and for "
        "the mains of the place, with what it needs to start."
    )
    fooled = [name for name in plan.linings if (s := surfaces().get(name)) and s.looks_bright]
    if fooled:
        yield f"{' and '.join(fooled)} looks bright, and is nearly black at 254 nm."


def _hooks(plan: Plan) -> Step:
    return Step(
        "Hooks and rails",
        (
            "Fix what carries the respirators at its places on the drawings, a rail at both of its "
            "ends, what is wide at three places or more, by pieces no thicker than itself: what is "
            "thick shades. A bolt fills its hole; a hole without a bolt is a leak.",
            "Nothing of plastic in the light: UVC makes it brittle. No load yet.",
            *_poses(plan),
        ),
        picture="hooks",
    )


def _poses(plan: Plan) -> tuple[str, ...]:
    names = [f'"{pose.name}"' for pose in plan.scene.written.pose]
    if not names:
        return ()
    told = f"The load hangs in {len(names)} poses, {', '.join(names)}: what is drawn is the first; "
    return (f"{told}the places of the others stand in as_built.toml.",)


def _cut(plan: Plan) -> Step:
    where = (
        "As the sheets under Cut list are drawn, one cut after the other"
        if plan.stock
        else "By the table under Cut list; t is the thickness of your sheet"
    )
    return Step(
        "Cut the panels",
        (
            f"{where}; break the edges. Write on the inside face of each panel its name, and along "
            "each edge the name that its drawing has there: that of the neighbour. The drawings "
            "are seen from inside, and a panel that is turned over is of the wrong hand.",
            f"Measure again before you drill: all lengths are to {plan.grid.step_words}.",
        ),
        "Sheet edges cut: work gloves and glasses until they are broken.",
        "exploded",
    )


def _drill() -> Step:
    return Step(
        "Drill",
        (
            "Print templates.html, which lies beside this guide, at 100 % and check its scale with "
            "a rule first: 100 mm must be 100 mm. Join the sheets by their crosses, lay them on "
            "the inside face by the edges of the panel, centre-punch, drill from inside. Without "
            "templates: measure from both edges.",
            "Only what has a diameter on its drawing is drilled. Screw holes of holders, hinges, "
            "latch and switches are not drawn: take them from the parts in your hand, blind or "
            "filled by their screws.",
            "Measure each place once more; what stands under Measure twice, by another person.",
        ),
        "Eye protection; clamp the panel.",
    )


def _shell(plan: Plan) -> Step:
    thick = plan.scene.written.chamber.sheet
    joints = (
        "Butt joints: left and right stand between floor and ceiling; back and door cover all edges"
    )
    if thick is None:
        joints += (
            ". The thickness is your choice: light does not know it; metal of 1 mm or wood of 9 mm "
            "and more is common practice. The insides stay as they are drawn"
        )
    return Step(
        "Join the shell",
        (
            f"{joints}.",
            "Every seam overlaps: an angle of metal along it on the outside, fixed and sealed. "
            "A seam that only meets edge to edge lets light through.",
            "Fix the box to a wall or to the floor before its door is hung: an open door tips it.",
        ),
        picture="shell",
    )


def _mesh_shell() -> Step:
    return Step(
        "The shell",
        ("Clean the vessel, take out what is loose, and mark the corners that are named here.",),
        "A vessel that held fuel, paint or solvent is not for this: its vapours burn.",
        "shell",
    )


_HINGED = (
    "Hinges on the left as one stands before it, on the outside; a stop all round, against which "
    "the door shuts, the black seal on it; a latch that pulls it home."
)
_LID = (
    "A lid or a door that shuts against a stop all round, with a collar that overlaps the vessel, "
    "and a clamp or a latch that pulls it home the same way each time."
)


def _door(plan: Plan, result: Result) -> Step:
    gaps = [gap for gap in plan.scene.written.gap if not plan.is_box or gap.wall == DOOR]
    lines = [_HINGED if plan.is_box else _LID, *(_trap(gap, plan, result) for gap in gaps)]
    if not gaps:
        lines.append(
            "No seam of the door is drawn in the scene, so that nothing is known of its light: "
            "draw it as a [[gap]] and run the guide again, or survey it by meter."
        )
    # IEC PAS 63313:2021, a closed enclosure that opens without tools needs an automatic switch
    # [read]; two of them, hard-wired, ordinary practice [from memory].
    lines.append(
        "Two switches of hardware at the door, each of which cuts the lamps' power by itself: "
        "before light gets past the stop, and not let in again by a door that slams or sags. No "
        "hand can reach them from outside. No program takes their place."
    )
    lines.append("The warning sign on the outside of the door.")
    return Step("The door", tuple(lines), "Without these switches no lamp is ever lit.", "door")


def _trap(gap: Gap, plan: Plan, result: Result) -> str:
    grid = plan.grid
    width, depth = (grid.text(grid.steps(x)) for x in (gap.width, gap.depth))
    size = f"{width} {grid.unit} wide and {depth} {grid.unit} deep"
    if gap.step is None:
        least = number(to_mm(closing_step(gap.width, gap.depth)))
        return (
            f'Seam "{gap.name}": {size}, straight through, see its section. A rabbet (two bends) '
            "of a step above "
            f"{least} mm would let no line of sight through."
        )
    step = f"a step of {grid.text(grid.steps(gap.step))} {grid.unit}"
    verdict = the_verdict(result)
    above = any(reason.code is Why.LEAK_ABOVE_LIMIT for reason in verdict.reasons)
    if gap.name not in verdict.holds_for.gaps:
        found = "Its light was not calculated"
    elif above:
        found = "By calculation the box lets out more than is allowed: see the reasons"
    else:
        found = (
            "By calculation its light is below the limit for a shift; the survey must confirm it"
        )
    return (
        f'Light trap "{gap.name}": a rabbet {size} with {step}, as its section shows, built up of '
        f"layers or folded, matt black inside. {found}."
    )


# Ten minutes for eyes to see faint light: common practice, no source.
def _seams_first() -> Step:
    return Step(
        "Seams first: white light",
        (
            "Before any UVC tube is in the building: an ordinary white lamp inside, black tape "
            "over the drilled holes, door shut, the room dark. Wait ten minutes for your eyes. "
            "Look along every seam and hinge, from all sides and close by. Mark what shines, seal "
            "it, look again.",
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
            "Tape off, entries and bolts in: the same test once more, along every seam and at "
            "every hole, entry and bolt. It is the first column of the survey sheet.",
        ),
        "No UVC tube is fitted before all of them are dark.",
    )


# Not to be used, from the table of surfaces: paint and mirror are nearly black at 254 nm; a
# polyethylene bag over foil cuts it to 0.68 of its value [computed there].
def _lining(plan: Plan) -> Step:
    rows = [f"{wall}: {name}" for wall, name in _lined(plan)]
    return Step(
        "Line the walls",
        (
            "; ".join(rows) + ".",
            "The bright side to the light, glued at its back, without tape, film, lacquer or glue "
            "on its face; joints overlap towards the floor. Cut it out round each hole and along "
            "the seam of the door: leaf and frame are lined each for itself. In a narrow box line "
            "the panels before they are joined.",
            "Not to be used, however bright they look: household or acrylic mirror, white paint, "
            "white plastic, clear film over metal. At 254 nm they are nearly black, and the timer "
            "would be wrong.",
        ),
        "Edges of foil and sheet cut: gloves, of clean cotton, as fingerprints absorb UVC. "
        "Another lining is another box.",
        "lined",
    )


def _lined(plan: Plan) -> list[tuple[str, str]]:
    if plan.panels:
        return [(panel.wall, panel.surface) for panel in plan.panels]
    return [("inside", name) for name in plan.linings]


# UVC embrittles plastic-covered wire, a fire risk: ISO 15727 [read].
def _holders(plan: Plan) -> Step:
    return Step(
        "Lamp holders, ballasts, cables",
        (
            "Holders and brackets at their places, no tube yet. The places are those of the ends "
            "of the glowing arc; cap and holder lie beyond them, towards the wall: what each "
            "bridges is in the table of lamps. Every end that no wall holds gets its bracket.",
            f"Ballasts outside the box, where they stay cool. Each cable leaves through a {ENTRY}, "
            "on the outside of its hole, matt black inside, so that no light goes straight out; a "
            "grommet where it passes an edge of metal.",
            "Cables out of the light, in metal or glass sleeve: UVC makes plastic covering "
            "brittle.",
        ),
        "Bare wires are live even where a tube is dark.",
        "holders",
    )


def _wiring() -> Step:
    return Step(
        "Wiring",
        (
            "By a licensed electrician, by local code: this guide has no wiring plan. Ask for: "
            "both switches of the door in the lamps' own supply; an indicator outside for each "
            "lamp that shows its current; a timer that cuts the lamps; earth on every metal part; "
            "a fuse.",
            "Have shown that opening the door cuts the lamps, by each switch alone, with white "
            "lamps in place of UVC.",
        ),
        "Nobody else opens the wiring.",
    )
