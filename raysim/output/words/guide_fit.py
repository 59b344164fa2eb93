"""Steps that fit out a box in words: holders and cables, wiring, hooks and rails."""

from collections.abc import Iterator
from pathlib import PurePosixPath

from raysim.output.words.guide_door import trips
from raysim.output.words.guide_use import Step
from raysim.workshop.bill import ENTRY
from raysim.workshop.fixings import Held
from raysim.workshop.plan import Plan


# UVC embrittles plastic-covered wire, a fire risk: ISO 15727 [read].
def holders(plan: Plan) -> Step:
    """The step of holders, ballasts and cables."""
    held = {mark.held for mark in plan.marks}
    lines = ["No tube yet. The places are those of the ends of the glowing arc."]
    if Held.HOLE in held:
        lines.append(
            "Where a wall lies across the end of the tube: holders that stand on that wall and "
            "take the tube's end (end-mount), not those that stand beside a tube. Cap and holder "
            "lie between arc and wall; the block under each makes up its depth in the table of "
            "lamps. The cable goes from the holder's back straight into the hole that the holder "
            "or its block covers."
        )
    if held & {Held.BRACKET, Held.SUPPORT}:
        lines.append(
            "Every end that no wall holds gets its bracket, of metal; an end without a cap a clip "
            "that grips glass softly and does not slip."
        )
    lines += [
        f"Ballasts outside the box, where they stay cool. Each cable leaves through a {ENTRY}, on "
        "the outside of its hole, matt black inside, so that no light goes straight out. The hole "
        "that is drawn stays free: at an edge of metal drill for a grommet.",
        "The same kind of entry, wide enough for the plug, for the cable of the meter: capped with "
        "metal when unused."
        + ("" if plan.is_box else " It goes where no lamp and no load is near; note its place."),
        "Cables out of the light, in metal or glass sleeve: UVC makes plastic covering brittle.",
    ]
    return Step(
        "Lamp holders, ballasts, cables",
        tuple(lines),
        "Bare wires are live even where a tube is dark.",
        "holders",
    )


def wiring(plan: Plan) -> Step:
    """What to ask the electrician for; no plan of wiring."""
    return Step(
        "Wiring",
        (
            "By a licensed electrician, by local code: this guide has no wiring plan. Ask for: "
            "both switches of the door in the lamps' own supply; a start button with a relay, so "
            "that after the door was open, or the mains failed, the lamps stay off until somebody "
            "presses it again; a stop button beside it, both 3 m from the box (own choice); a "
            "residual-current device and a fuse; an indicator outside for each lamp that shows "
            "its current; a time switch that cuts the lamps.",
            f"Earth on every metal part, measured: {', '.join(_of_metal(plan))}. An earth screw "
            "fills its hole and is sealed: it has a row on the survey sheet.",
            "Have shown, with the white tubes of the bill in the holders: eased open by a rule, "
            f"the door cuts them {trips(plan)}; shut again, they stay dark. Then, door "
            "open, by hand: one switch held and start pressed, dark; the other, dark; both, lit; "
            "either of them let go, dark. No switch is bridged.",
        ),
        "Only a licensed electrician opens the wiring, plug out.",
    )


def _of_metal(plan: Plan) -> Iterator[str]:
    """What is to be earthed where it is of metal."""
    yield ("panels, angle, " if plan.is_box else "") + "holders, brackets and ballast housing"
    names = (PurePosixPath(e.mesh).stem for e in plan.scene.written.object if not e.judged)
    yield from (f"each {name}" for name in dict.fromkeys(names))
    yield "lining of metal, also foil, each piece (a screw with a washer through it)"
    if plan.is_box:
        yield "frame, and the leaf by a lead of its own"
    else:
        yield "the vessel, and its lid by a lead of its own"


def hooks(plan: Plan) -> Step:
    """The step of what carries the load."""
    held = {mark.held for mark in plan.marks}
    lines = ["Fix what carries the respirators at its places on the drawings."]
    if Held.ENDS in held:
        lines.append(
            "A rail by a bolt at each end, into a thread in the end of the rail, or in a plug in "
            "it, three diameters deep; the distance tube "
            "on the bolt no thicker than the rail: what is thick shades. A toothed washer on each "
            "bolt: pull at every hook, to all sides; the rail must not turn."
        )
    if Held.ON_THING in held:
        lines.append(
            "What hangs on another thing is bent round it (of longer stock) or screwed to it, so "
            "that it cannot turn or slide: that joint, and its hole, are not drawn; it bridges a "
            "gap of up to 5 mm."
        )
    lines.append("A bolt fills its hole; a hole without a bolt is a leak.")
    lines.append("Nothing of plastic in the light: UVC makes it brittle. No load yet.")
    caution = "Glasses: ends of hooks stand where your eyes are."
    return Step("Hooks and rails", (*lines, *_poses(plan)), caution, "hooks")


def _poses(plan: Plan) -> tuple[str, ...]:
    names = [f'"{pose.name}"' for pose in plan.scene.written.pose]
    if not names:
        return ()
    told = f"The load hangs in {len(names)} poses, {', '.join(names)}: what is drawn is the first; "
    return (f"{told}the places of the others stand in as_built.toml.",)
