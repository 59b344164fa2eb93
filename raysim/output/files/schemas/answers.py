"""Schemas of what `raysim meter`, `leak`, `guide`, `check` and `share` write."""

from raysim.output.files.schemas.kinds import (
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
    CAUTIONS,
    SEED,
    VERSION,
    of_dose,
    spot,
    study,
)

lamp = {
    "name": text("Name of the lamp."),
    "output": number("Output as a share of its rating."),
    "relative_error": figure("Its relative standard error."),
    "settled": flag("Whether the readings decide it."),
}
fit = {
    "lamps": rows("What the readings say of each lamp.", table("One lamp.", lamp)),
    "reflectance_place": number("Reflectances between low (0) and high (1)."),
    "reflectance_settled": flag("Whether the readings decide it."),
    "cannot_be_told_apart": rows("Pairs of causes.", rows("Two.", {"type": "integer"})),
}
keys = {
    "raysim_version": VERSION,
    "scene": text("Title of the scene."),
    "seed": SEED,
    "coverage_factor_k": figure("Of the expanded uncertainties."),
    "points": of_dose("meters"),
}
extra = {
    "fit": table("What would explain the readings, if there are any.", fit),
    "verdict": of_dose("verdict"),
    "readings": of_dose("readings"),
    "strip_at": spot("Where a dosimeter strip tells most: the worst spot."),
}
said = "What a meter should read, and what readings say."
METER = table(said, keys | {"cautions": CAUTIONS}, extra=extra)

light = "mean irradiance with a meter without weighting, uW/cm2"
gap = {
    "name": text("Name of the gap."),
    "wall": text("Its wall; null where it runs over all.", True),
    "eye_mm": point("The brightest place of an eye, mm."),
    "irradiance_unweighted_uW_cm2": figure(f"There: {light}."),
    "standard_error_unweighted_uW_cm2": figure("Its standard error, uW/cm2."),
    "in_sight_unweighted_uW_cm2": figure("Of it, straight from what is seen, uW/cm2."),
    "off_walls_unweighted_uW_cm2": figure("Of it, off the walls of the gap, uW/cm2."),
    "irradiance_effective_uW_cm2": figure("Weighted by the hazard to the eye, uW/cm2."),
    "inside_opening_unweighted_uW_cm2": figure(f"On the inner opening: {light}."),
    "at_most": flag("Whether it is an upper bound: no line met any light."),
    "permissible_time_eyes_s": figure("In a day, eyes not covered, s."),
    "permissible_time_skin_s": figure("In a day, eyes covered, s."),
}
LEAK = table(
    "Stray light outside each gap, and how long one may stay there.",
    {
        "raysim_version": VERSION,
        "scene": text("Title of the scene."),
        "pose": text("Pose that was traced; null where there is one only.", True),
        "seed": SEED,
        "safety_factor": figure("Divided into the permissible times."),
        "leaks": rows("Gaps.", table("One gap.", gap)),
        "cautions": CAUTIONS,
    },
)

place = {
    "tag": text("Its mark in the drawings."),
    "thing": text("What goes there."),
    "end": text("Which end of it; empty: it has one."),
    "held": text("By what it is held."),
}
measured = {
    name: text(f"Distance {words}, as printed.")
    for name, words in (
        ("from_left_edge", "from the left edge"),
        ("from_lower_edge", "from the lower edge"),
        ("off_wall", "of its axis from the panel"),
    )
}
printed = rows("Two lengths, as printed.", {"type": "string"})
panel = {
    "wall": text("Which wall."),
    "sheet": printed | {"type": ["array", "null"], "description": "Size of the sheet to cut."},
    "inside": printed | {"description": "Size inside the box."},
    "lining": text("Surface inside."),
    "places": rows("Holes and holders.", table("One place.", place | measured)),
}
line = {
    "name": text("What to buy."),
    "quantity": figure("How much."),
    "unit": text("Of what."),
    "price": figure("Price of one, in the money of the prices; null: blank.", True),
}
corner = place | {"from": by_name("Distance from each corner, as printed.", {"type": "string"})}
moved = {
    "key": text("Key of the scene."),
    "before": number("As it was written, in the unit of the guide."),
    "after": text("As it is built, as printed."),
}
tolerance = {
    "name": text("What may lie elsewhere."),
    "off_mm": figure("By how much, mm."),
    "share_of_light": figure("Share of the light on the worst spot that this is worth."),
    "timer_longer_s": figure("What the timer would be longer, s.", True),
}
GUIDE = study(
    "guide",
    "What to buy, cut, drill and do; lengths as they are printed.",
    {
        "verdict": of_dose("verdict"),
        "unit": text("Unit of what is printed."),
        "moved": rows("What rounding moved.", table("One entry of the scene.", moved)),
        "panels": rows("Panels.", table("One panel.", panel)),
        "by_corners": rows("Places by three corners.", table("One place.", corner)),
        "stock_sheets": count("Sheets to buy."),
        "bill": rows("Bill of materials.", table("One line.", line)),
        "cost": figure("Cost of all that has a price; null without prices.", True),
        "currency": text("Money of the prices; null without.", True),
        "lines_without_price": count("Lines of the bill without a price."),
        "tolerances": rows("What lamps or hooks elsewhere do.", table("One.", tolerance)),
    },
)

fault = {
    "level": one_of("How bad.", ["error", "warning"]),
    "code": text("Code, which stays when the words change."),
    "file": text("Where."),
    "key": text("What."),
    "what": text("What is wrong."),
    "mend": text("How to mend it."),
}
check_keys = {"scene": text("The file."), "faults": rows("Faults.", table("One.", fault))}
CHECK = table("What is wrong or doubtful in a scene.", check_keys)

file = {
    "name": text("Name in the zip file."),
    "bytes": count("Its size, bytes."),
    "sha256": text("Hash of its content."),
}
scene = {
    "file": text("The scene in the zip file."),
    "sha256": text("Hash, with meshes."),
}
run = {
    "description": "What a run that comes out alike must share; null: no results.",
    "type": ["object", "null"],
}
SHARE = table(
    "Manifest of a zip of raysim share.",
    {
        "kind": text("What this is."),
        "version": count("Version of the manifest."),
        "raysim_version": VERSION,
        "title": text("Title of the scene."),
        "scene": table("The scene.", scene),
        "verdict": of_dose("verdict") | {"type": ["object", "null"]},
        "run": run,
        "cautions": CAUTIONS,
        "files": rows("Every file but the manifest.", table("One file.", file)),
    },
)

side = {
    "named": text("What was compared, as it was named."),
    "scene": of_dose("scene"),
    "verdict": of_dose("verdict"),
    "target": of_dose("target"),
    "worst": spot("Worst spot, cautious case."),
    "percentiles": {"description": "Spread over the judged surface, as in dose.", "type": "object"},
    "cost": {
        "description": "Cost, currency and lines without a price of its guide; null: none.",
        "type": ["object", "null"],
    },
}
difference = {
    "key": text("Key of the scene."),
    "first": text("As it is written in the first."),
    "second": text("As it is written in the second."),
}
COMPARE = table(
    "Two results side by side.",
    {
        "study": {"description": "Which study.", "const": "compare"},
        "raysim_version": VERSION,
        "answer": ANSWER,
        "first": table("The first.", side),
        "second": table("The second.", side),
        "second_takes_longer_s": number("Timer of the second less that of the first, s.", True),
        "told_apart": flag("Whether noise does not explain it; null: not known.", True),
        "differences": rows("What differs; null: not known.", table("One key.", difference), True),
        "differences_not_known": text("Why that is not known; empty: it is."),
        "cautions": CAUTIONS,
    },
)
