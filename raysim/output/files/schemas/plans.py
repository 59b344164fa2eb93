"""Schemas of what `raysim lamps` and `design` write."""

from raysim.output.files.schemas.kinds import (
    by_name,
    count,
    figure,
    flag,
    number,
    point,
    rows,
    table,
    text,
)
from raysim.output.files.schemas.shared import ANSWER, CONFIDENCE, SEED, of_dose, spot, study

place = {
    "lamp": text("Its kind."),
    "from_mm": point("One end of its arc, mm."),
    "to_mm": point("The other end, mm."),
}
traced = {
    "worst": spot("Worst spot, with the tubes in the way."),
    "exposure_time_s": figure("Time by its lower bound, s; null where none is finite.", True),
    "best_over_worst": figure("Best-lit over worst-lit, by their estimates.", True),
    "light_left_without_each_lamp": rows(
        "Share of the worst spot's light that is left without each lamp.", {"type": "number"}
    ),
}
places = rows("Places, by number from 0 on.", {"type": "integer"})
numbered = {
    "lamps": count("How many lamps."),
    "seconds_a_respirator": figure("Time over respirators, s.", True),
    "cost": figure("Of lamps, holders, ballasts with a price; null without any.", True),
    "lines_without_price": count("Lines of the bill without a price."),
    "any_other_at_most_mW_cm2": figure(
        "What the worst face of any choice of so many gets at most, tubes neither blocking nor "
        "reflecting, mW/cm2.",
        True,
    ),
    "as_sources_alone_mW_cm2": figure(
        "About what the best gives its darkest face so, as sources alone, mW/cm2.",
        True,
    ),
    "any_other_better_by_at_most": number("That over the best as traced, less 1.", True),
    "share_with_each_place_swapped_in": rows(
        "Worst spot with each place in the best choice, as a share of it.", {"type": "number"}
    ),
    "choices": rows("The best choices, best first.", table("One.", {"places": places} | traced)),
}
clear = {name: figure("Distance kept, mm.") for name in ("wall", "door", "load", "other", "lamps")}
LAMPS = study(
    "lamps",
    "Where the lamps should go, and how many.",
    {
        "seed": SEED,
        "confidence": CONFIDENCE,
        "answer": ANSWER,
        "interrupted": flag("Whether it was stopped before its end."),
        "respirators": count("Judged objects in the box."),
        "clearances_mm": table("Distances kept, mm.", clear),
        "no_room": by_name("Places left out, by reason.", {"type": "integer"}),
        "spacing_mm": figure("Of the grid, mm; null for a list.", True),
        "places": rows("Every place with room.", table("One place.", place)),
        "currency": text('Of the prices; "" without any.'),
        "told_number": count("Of lamps, that the answer tells of."),
        "numbers": rows("Results by number of lamps.", table("One number.", numbered)),
        "as_now": table("The lamps of the scene; null without any.", traced, True),
        "photons": count("Photons traced."),
        "rays": count("Rays traced."),
    },
)

proposal = {
    "cost": figure("What it costs, in the money of the wish."),
    "inside_mm": point("Width, depth and height inside, mm."),
    "lamp": text("Kind of lamp."),
    "lamps": count("How many of it."),
    "linings": by_name("Lining by wall.", {"type": "string"}),
}
limits = rows("Limits of the wish that it misses.", {"type": "string"})
design = {
    "name": text("Its name."),
    **proposal,
    "outside_mm": point("Outer sizes, mm."),
    "sha256": text("Hash of the scene file that was traced."),
    "calculated_s": figure("Calculated exposure time, s; null where none is finite.", True),
    "calculated_s_each": figure("That over respirators, s.", True),
    "cycles": count("Cycles that a respirator lasts."),
    "misses": limits,
    "verdict": of_dose("verdict"),
    "file": text("Its scene file."),
}
relaxation = {
    "limits": rows("What is loosened: one limit, or two.", {"type": "string"}),
    "design": text("The design that then meets the wish."),
    "factor": figure("By how much; of two limits the product.", True),
}
trial = proposal | {
    "worst_W_m2": figure("Worst spot of a short trace, W/m2.", True),
    "best_over_worst": figure("Best-lit over worst-lit of it.", True),
}
DESIGN = study(
    "design",
    "Whole boxes from a wish.",
    {
        "seed": SEED,
        "answer": ANSWER,
        "currency": text("Of all costs."),
        "interrupted": flag("Whether it was stopped before its end."),
        "roles": by_name("Design by role: cheapest, quickest, longest-lived.", {"type": "string"}),
        "front": rows("Designs that no other beats in cost and time.", {"type": "string"}),
        "designs": rows("What was traced in full.", table("One design.", design)),
        "relaxations": rows("What loosening a limit brings.", table("One.", relaxation)),
        "proposals": count("Boxes that were thought of."),
        "hopeless": count("Of these, dropped by their energy balance."),
        "geometries": count("Boxes apart from lining."),
        "short_traces": rows("What was traced shortly.", table("One.", trial)),
    },
)
