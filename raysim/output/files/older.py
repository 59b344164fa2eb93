"""A result.json as this version writes it, also where an older raysim wrote the file."""

from typing import Any

from raysim.output.files.schemas.versions import DOSE, VERSIONS

BEFORE_VERDICTS = "1"  # of raysim 0.1.0
_NO_VERDICT = {
    "code": "older_version",
    "says": "it was made by a raysim that gave no verdict",
    "mend": "run 'raysim dose' anew",
}


def brought_up(record: dict[str, Any]) -> dict[str, Any]:
    """The record in the present version.

    One of raysim 0.1.0 has no verdict, and so no timer to rely on: it comes out as "do not use",
    its timer as what was calculated, for information.

    Raises
    ------
    ValueError
        Where it is of a version that is not known here.
    """
    version = record.get("schema_version")
    if version == VERSIONS[DOSE]:
        return record
    if version != BEFORE_VERDICTS:
        known = f"{BEFORE_VERDICTS} and {VERSIONS[DOSE]}"
        raise ValueError(f"schema_version {str(version)[:20]!r} is not known here, only {known}")
    new = {key: value for key, value in record.items() if key not in ("timer_s", "calculated_s")}
    calculated = record.get("calculated_s", record.get("timer_s"))
    held = {"scene": record["scene"]["sha256"], "lamps": [], "gaps": []}
    held |= {"reading_date": None, "seams_date": None}
    return new | {
        "schema_version": VERSIONS[DOSE],
        "verdict": {
            "state": "do not use",
            "timer_s": None,
            "calculated_s": calculated,
            "reasons": [_NO_VERDICT],
            "holds_for": held,
        },
    }
