"""The steps of building in words: what to do, and what to beware of where the hand is."""

from collections.abc import Iterator

from raysim.base.units import to_mm
from raysim.dose.result import Result
from raysim.dose.verdict_record import Why
from raysim.library.assumptions import assumptions
from raysim.library.surfaces import surfaces
from raysim.output.words.guide_use import OZONE_FREE, Step
from raysim.output.words.leaks import SURVEY
from raysim.output.words.numbers import number
from raysim.output.words.verdict import the_verdict
from raysim.scene.file.seams import Gap
from raysim.scene.rabbet import closing_step
from raysim.workshop.fixings import DOOR
from raysim.workshop.plan import Plan


def steps(plan: Plan, result: Result) -> tuple[Step, ...]:
    """All steps of building, from buying to the first light."""
    is_box = plan.is_box
    return (
        Step("Buy", (*_buying(plan),), OZONE_FREE),
        *([_cut(plan), _drill(), _shell(plan)] if is_box else [_mesh_shell()]),
        _door(plan, result),
        _seams_first(),
        _lining(plan),
        _holders(plan),
        _wiring(),
        Step(
            "Hooks and rails",
            (
                "Fix what carries the respirators at its places on the drawings. A bolt fills its "
                "hole; a hole without a bolt is a leak.",
                "Nothing of plastic in the light: UVC makes it brittle.",
                *_poses(plan),
            ),
            "Each respirator must hang as it was calculated: open, straps spread, nothing "
            "touching.",
            "load",
        ),
        _tubes(plan),
        _first_light(),
        _meter(),
    )


def _buying(plan: Plan) -> Iterator[str]:
    yield "What is on the bill, and nothing that is only said to be as good."
    low, high = (assumptions()[f"uvc_share_{end}"].value for end in ("low", "high"))
    yield (
        "Lamps by their size, cap and radiant UVC watts from the maker's data sheet. What they "
        f"take from the mains is {1.0 / high:g} to {1.0 / low:g} times as much."
    )
    fooled = [name for name in plan.linings if (s := surfaces().get(name)) and s.looks_bright]
    if fooled:
        yield f"{' and '.join(fooled)} looks bright, and is nearly black at 254 nm."


def _poses(plan: Plan) -> tuple[str, ...]:
    names = [f'"{pose.name}"' for pose in plan.scene.written.pose]
    if not names:
        return ()
    told = f"The load hangs in {len(names)} poses, {', '.join(names)}: what is drawn is the first; "
    return (f"{told}the places of the others stand in as_built.toml.",)


def _cut(plan: Plan) -> Step:
    return Step(
        "Cut the panels",
        (
            "As the stock is drawn, one cut after the other; break the edges. Write on the inside "
            'face of each panel its name, and "left" along its left edge: the drawings are seen '
            "from inside, and a panel that is turned over is of the wrong hand.",
            f"Measure again before you drill: all lengths are to {plan.grid.step_words}.",
        ),
        picture="exploded",
    )


def _drill() -> Step:
    return Step(
        "Drill",
        (
            "Print the templates at 100 % and check their scale with a rule first: 100 mm must be "
            "100 mm. Join the sheets by their crosses, lay them on the inside face by the edges of "
            "the panel, centre-punch, drill from inside.",
            "Measure each place from both edges once more; where the table of tolerances says so, "
            "by another person.",
        ),
        "Eye protection; clamp the panel.",
    )


def _shell(plan: Plan) -> Step:
    thick = plan.scene.written.chamber.sheet
    joints = (
        "Butt joints: left and right stand between floor and ceiling; back and door cover all "
        "edges."
        if thick is not None
        else "The scene does not say how thick the panels are (sheet = ...), so that only their "
        "insides are drawn: add what your joints need."
    )
    return Step(
        "Join the shell",
        (
            joints,
            "Every seam overlaps: an angle of metal along it inside or outside, fixed and sealed. "
            "A seam that only meets edge to edge lets light through.",
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
    "the door shuts; a latch that pulls it home."
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
        "A switch of hardware at the door that cuts the lamps' power the moment it opens, so "
        "placed that no hand can reach it from outside; better two. No program takes its place."
    )
    return Step("The door", tuple(lines), "Without that switch no lamp is ever lit.", "door")


def _trap(gap: Gap, plan: Plan, result: Result) -> str:
    grid = plan.grid
    width, depth = (grid.text(grid.steps(x)) for x in (gap.width, gap.depth))
    size = f"{width} {grid.unit} wide and {depth} {grid.unit} deep"
    if gap.step is None:
        least = number(to_mm(closing_step(gap.width, gap.depth)))
        return (
            f'Seam "{gap.name}": {size}, straight through. A rabbet (two bends) of a step above '
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
    return f'Light trap "{gap.name}": a rabbet {size} with {step}, matt black inside. {found}.'


# Ten minutes for eyes to see faint light: common practice, no source.
def _seams_first() -> Step:
    return Step(
        "Seams first: white light",
        (
            "Before any UVC tube is in the building: an ordinary white lamp inside, door shut, the "
            "room dark. Wait ten minutes for your eyes. Look along every seam, hole, hinge and "
            "cable entry, from all sides and close by. Mark what shines, seal it, look again.",
            "This finds holes. That no white light is seen does not show that no UVC gets out: the "
            "meter does, later.",
        ),
        "No UVC tube is fitted before every seam is dark.",
        "seams",
    )


# Not to be used, from the table of surfaces: paint and mirror are nearly black at 254 nm; a
# polyethylene bag over foil cuts it to 0.68 of its value [computed there].
def _lining(plan: Plan) -> Step:
    rows = [f"{wall}: {name}" for wall, name in _lined(plan)]
    return Step(
        "Line the walls",
        (
            "; ".join(rows) + ".",
            "The bright side to the light, flat, without tape, film, lacquer or glue on its face; "
            "joints overlap towards the floor. Gloves: fingerprints absorb UVC.",
            "Not to be used, however bright they look: household or acrylic mirror, white paint, "
            "white plastic, clear film over metal. At 254 nm they are nearly black, and the timer "
            "would be wrong.",
        ),
        "Another lining than this one is another box: work out the timer again.",
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
            "of the glowing arc; cap and holder lie beyond them: measure yours. Every end that no "
            "wall holds gets its bracket.",
            "Ballasts outside the box, where they stay cool. Each cable leaves through an entry "
            "with two bends, matt black inside, so that no light goes straight out.",
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
            "By a licensed electrician, by local code: this guide has no wiring plan. Ask for: the "
            "switch of the door in the lamps' own supply; an indicator outside for each lamp that "
            "shows its current; a timer that cuts the lamps; earth on every metal part; a fuse.",
            "Have shown that opening the door cuts the lamps, with white lamps in place of UVC.",
        ),
        "Nobody else opens the wiring.",
    )


def _tubes(plan: Plan) -> Step:
    return Step(
        "Fit the tubes",
        (
            "Power off at the plug. Clean gloves; wipe each tube with alcohol and a lint-free "
            "cloth, let it dry. Turn it home in its holders; tug gently.",
        ),
        "Glass and mercury: carry one tube at a time. " + OZONE_FREE.split(":")[0] + ".",
        "tubes",
    )


# At 1 mW/cm2 the limit of a day for eyes, 6 mJ/cm2, is reached in 6 s [computed]; inflamed eyes are
# felt some hours later [from memory].
def _first_light() -> Step:
    rows = assumptions()
    limit, hours = rows["exposure_limit_mJ_cm2"], rows["exposure_limit_period_h"]
    return Step(
        "First light, with a meter outside",
        (
            "One person, face shield, gloves, all skin covered; nobody else in the room. Door "
            "shut. "
            "Switch on from a distance, and read the meter outside before anybody comes near.",
            f"{SURVEY} Limit for bare eyes and skin: {limit.value:g} mJ/cm2 in {hours.value:g} h "
            f"at 254 nm ({limit.source}; {limit.mark}). Write each row of the survey sheet.",
            "Anything above the limit: off, seal, white light again, then the meter again.",
        ),
        "A lit lamp injures eyes within seconds, and one does not feel it until hours later.",
        "seams",
    )


def _meter() -> Step:
    return Step(
        "Check by meter inside",
        (
            "'raysim meter SCENE --places --sheet survey.html' says where to put the head and what "
            "it should read. Enter the readings and work out the timer again: only then is there a "
            "timer to use.",
        ),
        "No meter: do not use the box.",
        "meter",
    )
