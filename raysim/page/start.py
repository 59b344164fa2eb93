"""The page before a box is chosen: two doors, a wish and the box one has; boxes of before."""

import tempfile
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import tomlkit

from raysim.base.errors import RaysimError, printable
from raysim.output.files.beginnings import WISH_NAME, write_starter
from raysim.output.words.cautions import CAUTION_LINE
from raysim.page.boxes import box_record, forget, known_boxes, scenes_near
from raysim.starter.scenes import wish_text
from raysim.studies.design.wish import read_wish

if TYPE_CHECKING:
    from starlette.websockets import WebSocket

LONGEST_NAME = 60
# What is asked about a wish: where it stands, and whether it is a number or text with its unit.
ASKED: dict[str, tuple[list[str], Callable[[str], Any]]] = {
    "number": (["load", "number"], int),
    "budget": (["limits", "budget"], str),
    "longest": (["limits", "longest_cycle"], str),
    "cycles": (["limits", "cycles"], int),
}
SIDES = ("width", "depth", "height")


class Start:
    """The start page of a server in a folder; `enter` opens a scene."""

    def __init__(self, here: Path, enter: Callable[[Path], None]) -> None:
        self.here, self.enter = here, enter
        self.pages: list[WebSocket] = []

    async def serve(self, page: "WebSocket", entered: Callable[[], Awaitable[None]]) -> None:
        """Speak with one page until it goes, or a box is opened: then `entered` is awaited."""
        from starlette.websockets import WebSocketDisconnect

        await page.accept()
        self.pages.append(page)
        try:
            await page.send_json(self.record())
            while True:
                asked = await page.receive_json()
                try:
                    scene = self.chosen(asked)
                    if scene is not None:
                        self.enter(scene)
                        await entered()
                    else:
                        await page.send_json(self.record())
                except RaysimError as error:
                    says = printable(str(error))
                    at = str(asked.get("at", ""))
                    await page.send_json({"is": "refused", "at": at, "says": says})
        except (WebSocketDisconnect, KeyError, ValueError, TypeError, RuntimeError):
            pass  # gone, or no message of ours
        finally:
            self.pages.remove(page)

    def record(self) -> dict[str, Any]:
        """What the start page shows."""
        known = known_boxes()
        near = [path for path in scenes_near(self.here) if path not in known]
        return {
            "is": "start",
            "folder": printable(str(self.here)),
            "before": [box_record(path, when) for path, when in known.items()],
            "near": [box_record(path, None) for path in near],
            "wish": _wish_asked(),
            "caution": CAUTION_LINE,
        }

    def chosen(self, asked: dict[str, Any]) -> Path | None:
        """The scene that is asked for, begun if it is a new one; None if the list was cleared.

        Raises
        ------
        RaysimError
            Where it is none of those that are shown, or cannot be begun.
        """
        what = str(asked["do"])
        if what == "forget":
            forget()
            return None
        if what == "open":
            path = Path(str(asked["path"]))
            if path not in known_boxes() and path not in scenes_near(self.here):
                raise RaysimError(f"{path} is not in the list. Mend: load this page again")
            return path
        folder = self._new_folder(str(asked["name"]))
        if what == "wish":
            return write_starter(folder, wish=wish_with(asked["wish"]))
        return write_starter(folder, demo=what == "demo")

    def _new_folder(self, name: str) -> Path:
        plain = name.strip()
        sound = plain and plain[0] != "." and not set(plain) & set('/\\:*?"<>|')
        if not sound or len(plain) > LONGEST_NAME or not plain.isprintable():
            raise RaysimError(
                f"“{printable(name)[:LONGEST_NAME]}” is no name for a folder. Mend: take letters "
                "and digits"
            )
        return self.here / plain


def wish_with(answers: dict[str, Any]) -> str:
    """The text of the commented wish with these answers.

    Raises
    ------
    RaysimError
        Where one is none, in one line.
    """
    document: Any = tomlkit.parse(wish_text())
    for key, (way, read) in ASKED.items():
        table = document[way[0]]
        try:
            table[way[1]] = read(str(answers[key]).strip())
        except ValueError:
            raise RaysimError(f"{key}: “{answers[key]}” is no number. Mend: write 6") from None
    for k, side in enumerate(SIDES):
        try:
            document["limits"]["outside"][k] = float(str(answers[side]))
        except ValueError:
            raise RaysimError(
                f"{side}: “{answers[side]}” is no number of mm. Mend: write 800"
            ) from None
    text = tomlkit.dumps(document)
    with tempfile.TemporaryDirectory() as place:
        path = Path(place) / WISH_NAME
        path.write_text(text, encoding="utf-8")
        try:
            read_wish(path)
        except RaysimError as error:
            first = str(error).splitlines()[0]
            raise RaysimError(first.removeprefix(f"{path}: ")) from None
    return text


def _wish_asked() -> dict[str, str]:
    """What the commented wish has for each answer."""
    wish = tomlkit.parse(wish_text()).unwrap()
    asked = {key: str(wish[way[0]][way[1]]) for key, (way, _) in ASKED.items()}
    return asked | {side: f"{wish['limits']['outside'][k]:g}" for k, side in enumerate(SIDES)}
