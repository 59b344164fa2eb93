"""Folders to begin in: the starter scene or the demo with their meshes, or a wish."""

from pathlib import Path

from raysim.output.files.folder import write_new_folder
from raysim.output.files.schemas.print import schema_text
from raysim.output.files.schemas.versions import IN_FIRST_LINE, SCENE, SCENE_FILE
from raysim.starter.files import mesh_files
from raysim.starter.scenes import DEMO, demo_text, starter_text, wish_text

WISH_NAME = "wish.toml"


def write_starter(folder: Path, demo: bool = False, wish: str | None = None) -> Path:
    """Write the starter scene, or the demo, with its meshes and schema into a new folder.

    The starter scene has the name of the folder, which folders of results take from it. Beside it
    lies a `wish`, where the text of one is given. Returns the path of the scene.

    Raises
    ------
    RaysimError
        Where something stands there, or writing fails.
    """
    own = folder.absolute().name + ("" if wish is None else "_box")
    name, text = (DEMO, demo_text()) if demo else (f"{own}.toml", starter_text())

    def fill(fresh: Path) -> None:
        (fresh / name).write_text(IN_FIRST_LINE + text, encoding="utf-8")
        (fresh / SCENE_FILE).write_text(schema_text(SCENE), encoding="utf-8")
        for mesh, content in mesh_files().items():
            (fresh / mesh).write_bytes(content)
        if wish is not None:
            (fresh / WISH_NAME).write_text(wish, encoding="utf-8")

    write_new_folder(folder, fill)
    return folder / name


def write_wish(folder: Path) -> Path:
    """Write the commented wish into a new folder; returns its path.

    Raises
    ------
    RaysimError
        As `write_starter`.
    """

    def fill(fresh: Path) -> None:
        (fresh / WISH_NAME).write_text(wish_text(), encoding="utf-8")

    write_new_folder(folder, fill)
    return folder / WISH_NAME
