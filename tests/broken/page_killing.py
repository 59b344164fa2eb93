"""`raysim open`, killed while edits come: what stands in draft and scene file, and what must.

The server is the real one, and is spoken to over its socket; only the sketch, which writes nothing,
is left out.
"""

import json
import os
import shutil
import signal
import time
from collections import Counter
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from typing import Any

from changes import FILE, Course, noted
from kennels import in_kennels
from killing import beside
from websockets.exceptions import WebSocketException
from websockets.sync.client import connect

from raysim.page.document import Document

OPEN = ("open", "scene.toml", "--no-browser", "--quiet")
BEFORE = f"""
import os, sys
sys.path[:0] = [{str(Path(__file__).parent)!r}]
import changes, raysim.page.tracer
async def nothing(*_): pass
raysim.page.tracer.TracingProcess.order = nothing
changes.note_changes()
open(".temporary/process", "w").write(str(os.getpid()))
"""
AROUND = "import uvicorn.protocols.websockets.websockets_sansio_impl, raysim.page.desk"
SENT = 24  # changes to a session
PATIENCE = 60.0  # s


def asked(number: int) -> dict[str, Any]:
    """What the page asks for as its n-th: edits, each another one; undo, redo; and to save."""
    turns = {1: "save", 3: "undo", 4: "redo", 5: "save"}
    if number % 6 in turns:
        return {"do": turns[number % 6]}
    edit = {"do": "set", "path": ["target", "safety_factor"], "value": 1.2 + number / 10_000}
    return {"do": "edit", "edit": edit, "says": f"edit {number}"}


def state(document: Document) -> tuple[str, ...]:
    """All that a user has: the draft, what undo and redo would do, and the scene file."""
    journal = document.journal
    return document.text, journal.undo_words, journal.redo_words, document.path.read_text("utf-8")


class Story:
    """What stands there after none, one, two, ... of the changes."""

    def __init__(self, scene: Path) -> None:
        private = scene.parent / ".temporary" / "story"
        private.mkdir(parents=True)
        self._document = Document(Path(shutil.copy(scene, private)))
        self.states = [state(self._document)]

    def up_to(self, number: int) -> list[tuple[str, ...]]:
        """The states up to the one after so many changes."""
        while len(self.states) <= number:
            one = asked(len(self.states) - 1)
            if one["do"] == "edit":
                self._document.edit(one["edit"], one["says"])
            else:
                getattr(self._document, one["do"])()
            self.states.append(state(self._document))
        return self.states[: number + 1]


class PageTrial:
    """Kills of the server, each upon what the one before it has left."""

    def __init__(self, kennel, desk: Path, place: Path) -> None:
        self.place = place
        shutil.copytree(desk, place)
        kennel.prepare("open", "none.toml", folder=place, around=AROUND)
        self.course = in_kennels(self._whole, [0], place, kennel)[0]

    def _whole(self, kennel, folder: Path, _: int) -> Course:
        began = time.monotonic()
        answered, answer = self._session(kennel, folder, 0, {})
        assert (answered, answer.status) == (SENT, 0), answer.said
        return Course(time.monotonic() - began, noted(folder))

    def kills(self, kennel, folder: Path, moments: list[float]) -> tuple[Counter, str]:
        """How the servers ended, and what was wrong with what was left; "" if nothing."""
        ended: Counter = Counter()
        story, number = Story(folder / "scene.toml"), 0
        rest = beside(folder, "scene.toml")
        try:
            for moment in (*moments, None):
                limits = self.course.limits(folder, moment)
                answered, answer = self._session(kennel, folder, number, limits)
                killed = answer.status == -signal.SIGKILL
                assert killed or (answered, answer.status) == (SENT, 0), answer.said
                ended["killed" if killed else "done"] += 1
                ended["amid"] += killed and self.course.is_amid(folder, "")
                document = Document(folder / "scene.toml")
                states = story.up_to(number + SENT)
                found = [n for n, one in enumerate(states) if one == state(document)]
                assert found, f"neither before nor after a change: {state(document)}"
                assert found[-1] >= number + answered, "a change that was answered is lost"
                assert not document.changed_on_disk
                assert beside(folder, "scene.toml") == rest, "something else was changed"
                number = found[-1]
        except AssertionError as error:
            return ended, f"{moments} {dict(ended)}: {error}"
        return ended, ""

    def _session(self, kennel, folder: Path, first: int, limits: dict[str, Any]) -> tuple[int, Any]:
        """Send changes to a server until it is killed, or else end it: how many it has answered."""
        (folder / ".temporary").mkdir(exist_ok=True)
        (folder / FILE).unlink(missing_ok=True)
        kennel.outputs["out"].unlink(missing_ok=True)
        with ThreadPoolExecutor(1) as pool:
            served = pool.submit(kennel.run, *OPEN, folder=folder, before=BEFORE, **limits)
            answered = _answered(_address(kennel.outputs["out"], served), first)
            if not limits:
                os.kill(int((folder / ".temporary" / "process").read_text()), signal.SIGINT)
            return answered, served.result()


def _address(file: Path, served: Future) -> str:
    """Where the server listens; "" if it was killed before it said so."""
    end = time.monotonic() + PATIENCE
    while not served.done() and time.monotonic() < end:
        if file.exists() and (said := file.read_text()).endswith("\n"):
            return said.strip()
        time.sleep(0.001)
    return ""


def _answered(address: str, first: int) -> int:
    """Send changes, all at once, and count those that are answered before the server dies."""
    if not address:
        return 0
    host, _, key = address.removeprefix("http://").partition("/?key=")
    cookie = {"Cookie": f"raysim-{host.rpartition(':')[2]}={key}"}
    told = -1  # the first is the greeting
    try:
        with connect(
            f"ws://{host}/desk", origin=f"http://{host}", additional_headers=cookie, max_size=None
        ) as page:
            for number in range(first, first + SENT):
                page.send(json.dumps(asked(number)))
            while told < SENT:
                record = json.loads(page.recv(PATIENCE))
                assert record["is"] != "refused", record
                told += record["is"] == "document"
    except (WebSocketException, OSError, EOFError):
        pass  # it was killed
    return max(told, 0)
