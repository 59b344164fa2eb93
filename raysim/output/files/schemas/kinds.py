"""Short ways to write a JSON Schema: each returns the schema of one kind of entry."""

from typing import Any

Schema = dict[str, Any]


def text(said: str, null: bool = False) -> Schema:
    """Words."""
    return {"description": said, "type": ["string", "null"] if null else "string"}


def number(said: str, null: bool = False, **limits: float) -> Schema:
    """A number; null where none is finite, or where `said` says so."""
    return {"description": said, "type": ["number", "null"] if null else "number", **limits}


def figure(said: str, null: bool = False) -> Schema:
    """A number that is not negative."""
    return number(said, null, minimum=0)


def count(said: str, null: bool = False) -> Schema:
    """A whole number from 0 on."""
    return {"description": said, "type": ["integer", "null"] if null else "integer", "minimum": 0}


def flag(said: str, null: bool = False) -> Schema:
    """True or false."""
    return {"description": said, "type": ["boolean", "null"] if null else "boolean"}


def one_of(said: str, words: list[Any]) -> Schema:
    """One of some words."""
    return {"description": said, "enum": words}


def rows(said: str, item: Schema, null: bool = False, **limits: int) -> Schema:
    """A list of entries of one kind."""
    kind = ["array", "null"] if null else "array"
    return {"description": said, "type": kind, "items": item, **limits}


def point(said: str) -> Schema:
    """Three numbers x, y, z."""
    return rows(said, {"type": "number"}, minItems=3, maxItems=3)


def table(
    said: str, keys: dict[str, Schema], null: bool = False, extra: Schema | None = None
) -> Schema:
    """A record of exactly these keys; those of `extra` may be missing."""
    return {
        "description": said,
        "type": ["object", "null"] if null else "object",
        "properties": keys | (extra or {}),
        "required": list(keys),
        "additionalProperties": False,
    }


def by_name(said: str, item: Schema) -> Schema:
    """A record whose keys are names of the scene."""
    return {"description": said, "type": "object", "additionalProperties": item}
