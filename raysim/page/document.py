"""The one scene document of a page: its text, edits, undo, draft on disk, and saving."""

import tomllib
from functools import lru_cache
from pathlib import Path
from typing import Any

import tomlkit

from raysim.base.errors import Fault, RaysimError, SceneError
from raysim.base.fault_codes import Code
from raysim.output.files.new_file import write_new
from raysim.output.files.scene_file import path_from
from raysim.page.edits import edited
from raysim.page.journal import Journal
from raysim.scene.file.read import (
    LARGEST_SCENE_FILE,
    read_scene,
    rename_meshes,
    scene_of_text,
)
from raysim.scene.file.written import SceneAsWritten

DRAFTS = ".raysim-page"  # folder beside the scene
JOURNAL = "journal"
BOM = "\ufeff"


class Document:
    """A scene file that is being edited.

    Attributes
    ----------
    number : int
        Rises with every change; what is found out about a text carries the number of that text.
    scene : SceneAsWritten or None
        The text as read; None where it has faults.
    faults : tuple of Fault
        Of the text alone, without meshes and contact.
    """

    def __init__(self, path: Path) -> None:
        self.path = path.resolve()
        text = self._on_disk()
        if text is None or not _is_toml(text):
            read_scene(path)  # says what is wrong with it
            raise RaysimError(f"{path}: cannot be read. Mend: check the name and the rights")
        self.folder = draft_folder(self.path)
        self.journal = Journal(self.folder / JOURNAL, text)
        self.number = 0
        self._read()

    @property
    def text(self) -> str:
        """The draft (definition)."""
        return self.journal.text

    @property
    def is_saved(self) -> bool:
        """Whether the scene file holds the draft (definition)."""
        return self.text == self.journal.saved

    @property
    def changed_on_disk(self) -> bool:
        """Whether another program has changed the scene file since we read or wrote it."""
        return self._on_disk() != self.journal.saved

    def edit(self, edit: dict[str, Any], says: str) -> None:
        """Make an edit (`edits.edited`) that `says` names for undo.

        Raises
        ------
        RaysimError
            Where it does not fit, or the draft cannot be kept: nothing has changed then.
        """
        text = edited(self.text.removeprefix(BOM), edit)
        self._refuse_outside(text)
        bom = BOM if self.text.startswith(BOM) else ""
        self._take(bom + text, says)

    def undo(self) -> None:
        """Take the last step back (definition)."""
        self.journal.undo()
        self._read()

    def redo(self) -> None:
        """Take it again (definition)."""
        self.journal.redo()
        self._read()

    def save(self, over: bool = False) -> None:
        """Write the draft into the scene file; nothing is written where nothing has changed.

        Raises
        ------
        RaysimError
            Where another program has changed the file meanwhile, unless it is to be written
            `over`; where writing fails. The draft stays.
        """
        if self.changed_on_disk and not over:
            raise RaysimError(
                f"{self.path.name} was changed by another program. Mend: take what stands in the "
                "file, or write the draft over it"
            )
        if self._on_disk() != self.text:
            write_new("the draft is kept, but", self.path, self.text.encode("utf-8"))
        self.journal.keep_saved(self.text)

    def take_disk(self) -> None:
        """Take what stands in the file in place of the draft, as a step that can be undone."""
        text = self._on_disk()
        if text is None or not _is_toml(text):
            raise RaysimError(f"{self.path.name} cannot be read. Mend: write the draft over it")
        self.journal.keep_saved(text)
        self._take(text, "what stands in the file")

    def take_result(self, folder: str, name: str) -> None:
        """Take a scene that a study has written, `name` in a `folder` of the results, as a step.

        Raises
        ------
        RaysimError
            Where there is no such scene, or it cannot be read: the draft stays.
        """
        home = self.path.parent
        path = (home / "results" / folder / f"{name}.toml").resolve()
        if not path.is_relative_to(home / "results") or not path.is_file():
            raise RaysimError(f"{folder}/{name} is not there. Mend: run the study again")
        read_scene(path)  # says what is wrong with it
        data = tomlkit.parse(path.read_text(encoding="utf-8-sig"))
        rename_meshes(data, lambda mesh: path_from(home, path.parent / mesh))
        text = tomlkit.dumps(data)
        self._refuse_outside(text)
        self._take(text, f"{name.rpartition('/')[2]} of {folder}")

    def _take(self, text: str, says: str) -> None:
        self.journal.change(text, says)
        self._read()

    def _read(self) -> None:
        """Read the text; the number of the draft rises."""
        self.number += 1
        self.scene: SceneAsWritten | None = None
        self.faults: tuple[Fault, ...] = ()
        try:
            self.scene = scene_of_text(self.text.removeprefix(BOM), self.path.name)
        except SceneError as error:
            self.faults = tuple(error.faults)

    def _on_disk(self) -> str | None:
        try:
            if not self.path.is_file() or self.path.stat().st_size > LARGEST_SCENE_FILE:
                return None
            return self.path.read_bytes().decode("utf-8")
        except (OSError, ValueError):
            return None

    def _refuse_outside(self, text: str) -> None:
        """Refuse meshes outside the folder of the scene, but for those it names already."""
        before, after = mesh_names(self.text.removeprefix(BOM)), mesh_names(text)
        for name in after - before - mesh_names(self.journal.saved.removeprefix(BOM)):
            if not (self.path.parent / name).resolve().is_relative_to(self.path.parent):
                raise RaysimError(f"{name} lies outside the folder of the scene. Mend: copy it in")


def draft_folder(scene: Path) -> Path:
    """Where the draft of a scene lies (definition)."""
    return scene.parent / DRAFTS / scene.name


def _is_toml(text: str) -> bool:
    try:
        scene_of_text(text.removeprefix(BOM), "")
    except SceneError as error:
        return all(fault.code is not Code.NOT_TOML for fault in error.faults)
    return True


@lru_cache(maxsize=4)  # of the text before and after an edit, and of the file
def mesh_names(text: str) -> frozenset[str]:
    """Meshes that a text names, whether the rest of it can be read or not."""
    data = tomllib.loads(text)
    tables = [data.get("chamber"), *_tables(data.get("object"))]
    with_mesh = (table for table in tables if isinstance(table, dict) and "mesh" in table)
    return frozenset(str(table["mesh"]) for table in with_mesh)


def _tables(value: Any) -> list[Any]:
    return value if isinstance(value, list) else []
