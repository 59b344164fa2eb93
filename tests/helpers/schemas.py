"""Hold a record against the schema that `raysim schema` prints."""

import json
from typing import Any

import jsonschema

from raysim.output.files.schemas.print import schema_text


def complaints(name: str, record: Any) -> list[str]:
    """What the schema of this name has to say against a record."""
    validator = jsonschema.Draft202012Validator(json.loads(schema_text(name)))
    return [f"{error.json_path}: {error.message[:300]}" for error in validator.iter_errors(record)]
