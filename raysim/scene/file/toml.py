"""Tables of a scene file written as TOML."""

import json
import re
from datetime import date
from typing import Any

BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")


def toml_text(data: dict[str, Any]) -> str:
    """A scene as TOML (definition of the format: toml.io, version 1.0)."""
    plain, tables, lists = [], [], []
    for key, value in data.items():
        if isinstance(value, dict):
            tables.append(f"\n[{_key(key)}]\n{toml_lines(value)}{_inner_tables(key, value)}")
        elif isinstance(value, list) and value and all(isinstance(one, dict) for one in value):
            lists += [f"\n[[{_key(key)}]]\n{toml_lines(one, inline=True)}" for one in value]
        else:
            plain.append(f"{_key(key)} = {toml_value(value)}\n")
    return "".join((*plain, *tables, *lists))


def toml_lines(table: dict[str, Any], inline: bool = False) -> str:
    """Lines of a table; tables within it are written inline, or by `_inner_tables`."""
    return "".join(
        f"{_key(key)} = {toml_value(value)}\n"
        for key, value in table.items()
        if inline or not isinstance(value, dict)
    )


def _inner_tables(key: str, table: dict[str, Any]) -> str:
    return "".join(
        f"\n[{_key(key)}.{_key(inner)}]\n{toml_lines(value, inline=True)}"
        for inner, value in table.items()
        if isinstance(value, dict)
    )


def _key(key: str) -> str:
    return key if BARE_KEY.fullmatch(key) else json.dumps(key, ensure_ascii=False)


def toml_value(value: Any) -> str:
    """A value as it stands behind the sign of equality (definition: toml.io)."""
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, dict):
        inside = ", ".join(f"{_key(key)} = {toml_value(inner)}" for key, inner in value.items())
        return f"{{ {inside} }}" if inside else "{}"
    if isinstance(value, list):
        return f"[{', '.join(toml_value(one) for one in value)}]"
    return repr(value)
