"""Schemas of what `raysim linings`, `shadows` and `hooks` write."""

from raysim.output.files.schemas.kinds import (
    Schema,
    by_name,
    count,
    figure,
    flag,
    number,
    one_of,
    point,
    rows,
    table,
    text,
)
from raysim.output.files.schemas.shared import (
    ANSWER,
    CONFIDENCE,
    SEED,
    spot,
    study,
)


def _lining(said: str) -> Schema:
    case = {
        "worst": spot("Darkest judged face-side with this lining."),
        "exposure_time_s": figure("Time for that spot, s; null where none is finite.", True),
        "stopped_at_least_s": {
            "description": "Time it takes at least, s, where it was stopped early; else null.",
            "type": ["number", "boolean", "null"],
        },
        "best_over_worst": figure("Best-lit over worst-lit, by their estimates.", True),
        "gain_over_black": figure("Worst spot over that in a bare black box.", True),
        "settled": flag("Whether the bound is as close as was asked."),
    }
    row = {
        "name": text("Name of the lining."),
        "area_m2": figure("Area to be lined, m2."),
        "cost": figure("Area times price, in the money of the prices; null without one.", True),
        "worst_at_most_mW_cm2": figure("What the worst spot gets at most, mW/cm2.", True),
        "cases": by_name("Results by case.", table("One case.", case)),
    }
    return table(said, row)


pair = {
    "first": text("The lining that looks better."),
    "second": text("The other."),
    "first_at_least_mW_cm2": figure("What the worst spot gets at least with it, mW/cm2.", True),
    "second_at_most_mW_cm2": figure("What it gets at most with the other, mW/cm2.", True),
    "first_more_on_same_paths_mW_cm2": number(
        "What the first gives more, at least, on the same light paths, mW/cm2.", True
    ),
    "told_apart": flag("Whether the first is better, at the stated confidence."),
}
LININGS = study(
    "linings",
    "Which lining, and what each buys.",
    {
        "seed": SEED,
        "answer": ANSWER,
        "linings": rows("Linings, best first.", _lining("One lining on all walls.")),
        "bare_black_box": _lining("The same box, its walls black."),
        "pairs": rows("Which linings can be told apart.", table("Two linings.", pair)),
        "wall_lining": text("Lining that one wall at a time was given; null: none.", True),
        "one_wall": rows("One wall lined at a time.", _lining("That wall alone lined.")),
        "interrupted": flag("Whether it was stopped before its end."),
    },
)

lamp = {
    "name": text("Name of the lamp."),
    "seen": figure("Share of its sight lines that are free, 0 to 1."),
    "hidden_by": by_name("What hides it: share by name.", {"type": "number"}),
}
front = {"name": text("Its name."), "distance_mm": figure("How close, mm.")}
patch = {
    "place": text("Where it lies, in words."),
    "sets_the_timer": flag("Whether the worst spot lies in it."),
    "centroid_mm": point("Its middle, mm."),
    "area_cm2": figure("Its area, cm2."),
    "faces": rows("Its faces, by number.", {"type": "integer"}),
    "side": one_of("Side of its faces: 0 outside, 1 inside.", [0, 1]),
    "irradiance_mW_cm2": figure("Mean irradiance, cautious case, mW/cm2.", True),
    "standard_error_mW_cm2": figure("Its standard error, mW/cm2.", True),
    "extra_time_s": figure("What the timer is longer for it, s; null: too dark.", True),
    "too_dark": flag("Whether it is too dark to wait for."),
    "close_before": table("What lies right before it; null: nothing.", front, True),
    "lamps": rows("What is seen of each lamp from it.", table("One lamp.", lamp)),
}
remedy = {
    "patch": count("Number of the patch, from 1 on."),
    "change": text("What was changed."),
    "irradiance_mW_cm2": figure("Irradiance there after the change, mW/cm2.", True),
    "standard_error_mW_cm2": figure("Its standard error, mW/cm2.", True),
    "gain": figure("Irradiance after over before.", True),
    "gain_standard_error": figure("Its standard error.", True),
    "clear": flag("Whether the gain is clear of the noise."),
    "too_dark": flag("Whether the patch stays too dark to wait for."),
}
unfit = {
    "patch": count("Number of the patch."),
    "change": text("What does not fit."),
}
SHADOWS = study(
    "shadows",
    "Which spots stay dark, what hides them, and what helps.",
    {
        "seed": SEED,
        "answer": ANSWER,
        "limit_mW_cm2": figure("What is darker counts as dark, mW/cm2.", True),
        "median_mW_cm2": figure("Median over the judged surface, mW/cm2.", True),
        "dark_area_cm2": figure("All dark area, cm2."),
        "left_out": count("Dark patches that are not listed."),
        "patches": rows("Dark patches, darkest first.", table("One patch.", patch)),
        "remedies": rows("What was tried.", table("One change.", remedy)),
        "does_not_fit": rows("Changes without room.", table("One change.", unfit)),
    },
)

hang = {
    "at_mm": point("Hook point, mm."),
    "turn_degrees": number("Turn about the upright axis, degrees."),
}
layout = {
    "hooks": rows("Hook points of the layout.", table("One hook.", hang)),
    "worst": spot("Its worst spot; null where it was not traced all over.", True),
    "irradiance_mW_cm2": figure("Estimate there, mW/cm2.", True),
    "standard_error_mW_cm2": figure("Its standard error, mW/cm2.", True),
    "lower_bound_mW_cm2": figure("Its lower bound, mW/cm2; null where it has none.", True),
    "upper_bound_mW_cm2": figure("Its upper bound, mW/cm2.", True),
    "exposure_time_s": figure("Time by the lower bound, s.", True),
}
now = {
    "in_the_way": text("What the load as it hangs is too close to; empty: nothing."),
    "shown_to_be_worse": flag("Whether the best layout is shown to be better."),
}
numbered = {
    "respirators": count("How many respirators."),
    "respirators_per_hour": figure("Respirators treated in an hour.", True),
    "layouts_tried": count("Layouts that were traced."),
    "shown_to_be_worse": count("Of these, shown to be worse."),
    "set_aside": count("Of these, set aside early."),
    "too_dark": count("Of these, too dark to wait for."),
    "any_other_better_by_at_most": figure("What any other could gain, as a share.", True),
    "layouts": rows("The best layouts, best first.", table("One layout.", layout)),
    "as_now": table("The load as it hangs now; null where it is none.", layout | now, True),
    "worse_than_layout_1": rows("Which are shown to be worse.", {"type": "boolean"}),
}
verdicts = ["", "finalist", "shown to be worse", "set aside", "too dark"]
place = hang | {
    "exposure_time_s": figure("Time with one respirator alone there, s.", True),
    "verdict": one_of("What became of it.", verdicts),
}
clear = {name: figure("Distance kept, mm.") for name in ("wall", "lamp", "other")}
HOOKS = study(
    "hooks",
    "Where the hooks should go, and how many respirators.",
    {
        "seed": SEED,
        "confidence": CONFIDENCE,
        "answer": ANSWER,
        "interrupted": flag("Whether it was stopped before its end."),
        "hung": rows("Objects that were moved.", {"type": "string"}),
        "stays": rows("Objects that stayed.", {"type": "string"}),
        "clearances_mm": table("Distances kept, mm.", clear),
        "no_room": by_name("Points left out, by reason.", {"type": "integer"}),
        "loading_s": figure("Time between two cycles, s."),
        "points": rows("Every hook point with room.", table("One point.", place)),
        "best_number": count("Number with the most respirators per hour."),
        "contacts": rows("What touches in the best layout.", {"type": "string"}),
        "none_found_for": count("First number without a layout; null: none.", True),
        "numbers": rows("Results by number.", table("One number.", numbered)),
        "rays": count("Rays traced."),
    },
)
