"""A schema as JSON text."""

import json
from typing import Any

from raysim.output.files.schemas import answers, plans, studies
from raysim.output.files.schemas.versions import DIALECT, DOSE, SCENE, VERSIONS, schema_file


def schema_text(name: str) -> str:
    """The schema of this name as JSON; KeyError for one that is not in `NAMES`."""
    if name in (SCENE, DOSE):
        return schema_file(name).read_text("utf-8")
    constant = name.upper()
    known = vars(studies) | vars(plans) | vars(answers)
    record: dict[str, Any] = dict(known[constant])
    if name in VERSIONS:
        version = {"description": "Version of this schema.", "const": VERSIONS[name]}
        record["properties"] = {"schema_version": version, **record["properties"]}
        record["required"] = ["schema_version", *record["required"]]
    head = {"$schema": DIALECT, "title": f"raysim {name}"}
    return json.dumps(head | record, indent=2, ensure_ascii=False) + "\n"
