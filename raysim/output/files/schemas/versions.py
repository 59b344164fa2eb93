"""Names and versions of the schemas, and the files of those that are kept as files."""

from pathlib import Path

DIALECT = "https://json-schema.org/draft/2020-12/schema"
SCENE, DOSE, MANIFEST = "scene", "dose", "share"
# Version of each record; 1 of `dose` is that of raysim 0.1.0, whose studies had no version.
VERSIONS = {
    DOSE: "2",
    "linings": "1",
    "shadows": "1",
    "hooks": "1",
    "lamps": "1",
    "design": "1",
    "meter": "1",
    "leak": "1",
    "guide": "1",
    "check": "1",
    "compare": "1",
}
NAMES = (SCENE, *VERSIONS, MANIFEST)
SCENE_FILE = "scene.schema.json"  # beside a starter scene, for editors
IN_FIRST_LINE = f"#:schema ./{SCENE_FILE}\n"  # as language servers of TOML read it


def schema_file(name: str) -> Path:
    """File of a schema that is kept as a file: of scenes, and of the record of a dose run."""
    return Path(__file__).parent / f"{name}.schema.json"
