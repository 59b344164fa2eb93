"""Steps of a guide with tubes in the box: fitting them, first light, load, reading of the meter."""

from raysim.library.assumptions import assumptions
from raysim.output.words.guide_use import OZONE_FREE, Step, seam_rows
from raysim.workshop.plan import Plan


def lit_steps(plan: Plan) -> tuple[Step, ...]:
    """From the first tube to the reading of the meter inside."""
    return (_tubes(), _first_light(plan), _load(plan), _meter(plan))


def _tubes() -> Step:
    return Step(
        "Fit the tubes",
        (
            "The white tubes out of their holders, every one, counted, and out of the room: one "
            "left in shines and treats nothing. Each new tube bears the mark of its maker: UVC.",
            "Power off: the plug is out and in the pocket of whoever fits them. Clean cotton "
            "gloves; wipe each tube with alcohol and a lint-free cloth, let it dry. Turn it home "
            "in its holders; tug gently.",
        ),
        "Glass and mercury: carry one tube at a time; for one that breaks see A broken lamp, "
        f"before you begin. {OZONE_FREE.split(':')[0]}.",
        "tubes",
    )


# Ten minutes: twice warm_up_time_min of the assumptions, own choice.
# At 1 mW/cm2 the limit of a day for eyes, 6 mJ/cm2, is reached in 6 s [computed]; inflamed eyes are
# felt some hours later [from memory].
def _first_light(plan: Plan) -> Step:
    rows = assumptions()
    limit, hours = rows["exposure_limit_mJ_cm2"], rows["exposure_limit_period_h"]
    return Step(
        "First light, with a meter outside",
        (
            "One person, face shield, gloves, all skin covered; nobody else in the room, a second "
            "person outside its door. No load. Lamps off: fix the head at a row of the survey "
            "sheet. Start from where the buttons hang, wait ten minutes (cold tubes give "
            "less), read from there; all indicators lit before and after, else it is no reading. "
            "Stop before you come near to move it.",
            f"At contact all {len(seam_rows(plan))} rows, along a seam every 100 mm (own choice), "
            "of which the highest is written; the entry of the meter twice, capped and with its "
            "cable in. At 0.3 m the rows where contact shows anything. It takes days: do not fill "
            "in what was not read.",
            "The meter resolves 0.05 uW/cm2; a bare sensor is the cautious one. The highest "
            f"reading counts, wherever it was. Limit for bare eyes and skin: {limit.value:g} "
            f"mJ/cm2 in {hours.value:g} h at 254 nm ({limit.source}; {limit.mark}): "
            f"{limit_words()} on the meter. Above it: off, seal, white light again, then the "
            "meter again.",
        ),
        "A lit lamp injures eyes within seconds, and one does not feel it until hours later.",
        "seams",
    )


def limit_words() -> str:
    """The limit of a shift as the meter shows it (definition: dose over time, rounded down)."""
    rows = assumptions()
    dose, hours = rows["exposure_limit_mJ_cm2"].value, rows["exposure_limit_period_h"].value
    return f"{int(10.0 * 1000.0 * dose / (3600.0 * hours)) / 10.0:g} uW/cm2 over {hours:g} h"


def _load(plan: Plan) -> Step:
    return Step(
        "The load",
        (
            "Respirators that nobody wore, until the card hangs at the box. Lamps off, plug out. "
            "Each at its place in the table What hangs where: as the views show it, straps spread, "
            "its outer side as the table says, nothing touching.",
            "Reach in clear of the tubes, which may be hot; one that was struck is a broken lamp.",
            _heat(plan),
        ),
        "Each respirator must hang as it was calculated: another way round is another box.",
        "load",
    )


# Output against air temperature: see temperature_factor in the assumptions [from memory].
def _heat(plan: Plan) -> str:
    kinds = [(lamp.electrical, lamp.kind) for lamp in plan.scene.written.lamp]
    watts = [own or (kind.lamp_W_high if kind else None) for own, kind in kinds]
    known = [one for one in watts if one is not None]
    heat = f"some {sum(known):.0f} W" if len(known) == len(watts) else "their mains watts"
    return (
        f"The lamps turn {heat} into heat in a shut box. Look at a thermometer in it after each of "
        "the first times: plain tubes give less above some 35 C (makers' curves, from memory)."
    )


# Head on a cable, display outside; or a head that keeps its reading: common practice, no source.
def _meter(plan: Plan) -> Step:
    where = (
        "The points are in the table of meter points and on the front and side view."
        if plan.scene.written.meter
        else "No point is drawn. At the computer: 'raysim meter SCENE --places' proposes some."
    )
    return Step(
        "Check by meter inside",
        (
            f"{where} Box loaded as it is used, with respirators that nobody wore. Plug out while "
            "you place the head, on a thin rod from the floor or from what carries the load; its "
            "holder stays behind its window, so that it shades nothing.",
            "Read it with the door shut and all indicators lit, once it no longer rises: the head "
            "inside, its cable out through its own entry, the display 2 m from it (own choice). "
            "The switches of the door are never bridged, and nobody reaches in. With the cable "
            "in, white light once more at its entry, with the plug of the lamps out.",
            "Give the readings and the survey sheet to whoever keeps the computer file. At the "
            "computer: 'raysim meter SCENE --sheet meter_sheet.html' prints the meter sheet; enter "
            "the readings ([[meter]] reading, read_on) and run 'raysim dose': only then is there "
            "an exposure time, on the operator's card. Without that person the box stays out of "
            "use.",
        ),
        "No meter: do not use the box. Face shield, gloves and covered skin while lamps are lit.",
        "meter",
    )
