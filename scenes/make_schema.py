"""Write the JSON Schema of scenes into the package: ``python scenes/make_schema.py``.

Its keys are those of the classes that read a scene; what an editor shows beside a key is its row in
README.md beside this script.
"""

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from pydantic.json_schema import GenerateJsonSchema

from raysim.output.files.schemas.versions import DIALECT, schema_file
from raysim.scene.file.written import SceneAsWritten

PAGE = Path(__file__).resolve().parent / "README.md"
ROW = re.compile(r"^\| `(\w+)` \| `(.+?)` \| (.+?) \| (.*) \|$", re.MULTILINE)
# Heading of each table of keys, and the class that reads them.
HEADINGS = {
    "Top of the file": "SceneAsWritten",
    "`[chamber]`": "Chamber",
    "`[[lamp]]`": "Lamp",
    "`[[object]]`": "Object",
    "`[[row]]`": "Row",
    "`[target]`": "Target",
    "`[lamps_behaviour]`": "LampsBehaviour",
    "`lamps_behaviour.warm_up`": "WarmUp",
    "`[wear]`": "Wear",
    "`[[meter]]`": "Meter",
    "`[[gap]]`": "Gap",
    "`[seams]`": "Seams",
    "`[[pose]]`": "Pose",
    "`pose.object`": "PosedObject",
    "`[[surface]]`": "SurfaceTable",
}


def hints() -> dict[str, dict[str, str]]:
    """What is said of each key, by class and key."""
    sections = dict(
        part.split("\n", 1) for part in PAGE.read_text("utf-8").split("\n## ")[1:] if "\n" in part
    )
    return {
        name: {
            key: f"{meaning} [{default}; such as {example}]".replace("`", "").strip()
            for key, example, default, meaning in ROW.findall(sections[heading])
        }
        for heading, name in HEADINGS.items()
    }


def scene_schema() -> dict[str, Any]:
    """The schema: what a scene file may hold, with hints; TOML knows no null."""
    schema = SceneAsWritten.model_json_schema(schema_generator=GenerateJsonSchema)
    for table in (schema, *schema["$defs"].values()):
        known = hints().get(table["title"], {})
        table["description"] = table["description"].partition("\n\n")[0]
        for key, entry in table["properties"].items():
            for needless in ("title", "default"):
                entry.pop(needless, None)
            if key in known:
                entry["description"] = known[key]
    for entry in list(_tables(schema)):
        _tidy(entry)
    head = {
        "$schema": DIALECT,
        "title": "raysim scene",
        "description": "A box, its lamps and its load, for raysim. What is sound by this schema "
        "may still be refused, with a line that says why: 'raysim check'.",
    }
    return head | {key: value for key, value in schema.items() if key not in head}


def _tables(entry: Any) -> Iterator[dict[str, Any]]:
    """Every table within a schema."""
    if isinstance(entry, dict):
        yield entry
        entry = list(entry.values())
    if isinstance(entry, list):
        for inner in entry:
            yield from _tables(inner)


def _tidy(entry: dict[str, Any]) -> None:
    """Take null out of a choice, and name limits as JSON Schema does."""
    if "anyOf" in entry:
        kept = [choice for choice in entry["anyOf"] if choice != {"type": "null"}]
        if len(kept) == 1:
            del entry["anyOf"]
            entry |= {key: value for key, value in kept[0].items() if key not in entry}
        else:
            entry["anyOf"] = kept
    for ours, theirs in (("ge", "minimum"), ("gt", "exclusiveMinimum"), ("le", "maximum")):
        if isinstance(entry.get(ours), int | float):
            entry[theirs] = entry.pop(ours)


if __name__ == "__main__":
    text = json.dumps(scene_schema(), indent=1, ensure_ascii=False) + "\n"
    schema_file("scene").write_text(text, encoding="utf-8")
    print(f"{schema_file('scene').name}  {len(text) / 1000:.0f} kB")
