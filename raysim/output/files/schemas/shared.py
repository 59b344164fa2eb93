"""What several schemas share."""

import json
from functools import cache

from raysim.output.files.schemas.kinds import (
    Schema,
    count,
    figure,
    rows,
    table,
    text,
)
from raysim.output.files.schemas.versions import DOSE, schema_file

CAUTIONS = rows("Cautions that stand wherever a result is shown.", {"type": "string"})
VERSION = text("Version of the program that wrote it.")
SEED = count("Key of the random numbers.")
ANSWER = text("The answer in words.")
CONFIDENCE = figure("Probability with which a bound holds.")


@cache
def _dose_schema() -> Schema:
    schema: Schema = json.loads(schema_file(DOSE).read_text("utf-8"))
    return schema


def of_dose(key: str) -> Schema:
    """Schema of a key of the record of a dose run."""
    entry: Schema = _dose_schema()["properties"][key]
    return entry


def spot(said: str, null: bool = False) -> Schema:
    """A spot; figures that are not finite are null."""
    found: Schema = json.loads(json.dumps(_dose_schema()["$defs"]["spot"]))
    for key, entry in found["properties"].items():
        if key.endswith("_mW_cm2"):
            entry["type"] = ["number", "null"]
    return found | {"description": said, "type": ["object", "null"] if null else "object"}


def study(name: str, said: str, keys: dict[str, Schema]) -> Schema:
    """Record of a study: which one, of what scene, `keys`, and cautions."""
    about = {"study": {"description": "Which study.", "const": name}, "scene": of_dose("scene")}
    return table(said, about | {"raysim_version": VERSION} | keys | {"cautions": CAUTIONS})
