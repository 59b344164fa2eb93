"""Texts of results for another place: what they say of files, and that no path is left in them."""

import getpass
import html
import json
import platform
import re
import tempfile
from collections.abc import Iterable, Mapping
from contextlib import suppress
from pathlib import Path, PurePosixPath

from raysim.base.errors import RaysimError
from raysim.output.files.parcel_scene import SCENE

TEXTS = {".json", ".html", ".csv", ".toml", ".svg", ".dxf"}
SHORTEST_NAME = 3  # letters of a name that is looked for


def retold(member: str, content: bytes, told: Mapping[str, str]) -> bytes:
    """A text with other names in place of old ones, each where it stands by itself."""
    if not told or PurePosixPath(member).suffix not in TEXTS:
        return content
    forms = {form(old): form(new) for form in _FORMS for old, new in told.items()}
    longest_first = sorted(forms, key=len, reverse=True)
    pattern = re.compile(rf"(?<![\w./\\-])(?:{'|'.join(map(re.escape, longest_first))})(?!\w)")
    return pattern.sub(lambda found: forms[found.group()], content.decode("utf-8")).encode()


def _plain(text: str) -> str:
    return text


def _as_html(text: str) -> str:
    return html.escape(text, quote=False).replace("'", "&#39;").replace('"', "&#34;")


def _as_json(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)[1:-1]


_FORMS = (_plain, _as_html, _as_json)


def refuse_paths(members: Mapping[str, bytes], scene: Path) -> None:
    """Refuse to hand on a path of this machine: every byte of every member is looked at.

    Raises
    ------
    RaysimError
        Naming the member and the folder.
    """
    folders = {scene.absolute().parent, scene.resolve().parent, Path.cwd()}
    folders |= {Path(tempfile.gettempdir())}
    with suppress(RuntimeError):  # some users have no home
        folders.add(Path.home())
    for folder in sorted(folders - {Path(folder.anchor) for folder in folders}, reverse=True):
        for form in {str(folder), folder.as_posix(), _as_json(str(folder))}:
            # In base64 and in tags of HTML such letters begin no path.
            path = re.compile(
                rb"(?:(?<![\w+/<])|(?<=//))" + re.escape(form.encode()) + rb"(?![\w-])"
            )
            for member, content in members.items():
                if path.search(content):
                    raise RaysimError(
                        f'{member} holds "{form}", a path of this machine. Mend: take it out of '
                        "the file that it comes from (a comment, a title or a mesh), and run "
                        "'raysim dose' anew"
                    )


def names_left(members: Mapping[str, bytes]) -> Iterable[tuple[str, str]]:
    """(member, name) where the name of this user or machine is a word of a scene or a mesh."""
    names = {platform.node()}
    with suppress(OSError, KeyError, ImportError):  # some users have no name
        names.add(getpass.getuser())
    for name in sorted(name for name in names if len(name) >= SHORTEST_NAME):
        word = re.compile(rb"(?<![\w])" + re.escape(name.encode()) + rb"(?![\w])")
        for member, content in members.items():
            if member.startswith(f"{SCENE}/") and word.search(content):
                yield member, name
