"""What lies on the desk: one document, the pages that look at it, and who does what for them.

The pages speak over one socket each. The first one may change the document; others look on until
they take over.
"""

import json
import struct
from collections.abc import Awaitable, Callable
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

from raysim.base.errors import RaysimError, printable
from raysim.page.card import card
from raysim.page.document import Document
from raysim.page.jobs import Jobs
from raysim.page.logbook import Logbook
from raysim.page.mends import with_mends
from raysim.page.net_view import net_view
from raysim.page.offers import offers
from raysim.page.rows import rows
from raysim.page.sketch.process import fault_record
from raysim.page.tracer import TracingProcess
from raysim.workshop.fixings import box_walls

if TYPE_CHECKING:
    from starlette.websockets import WebSocket

LOOKING_ON = "This page is open in another window, which may change it. Mend: take over here"


class Desk:
    """The document with all that is done about it."""

    def __init__(self, document: Document, back: Callable[[], Awaitable[None]]) -> None:
        self.document, self.back = document, back
        self.path: Path = document.path
        self.pages: list[WebSocket] = []  # the first of them may write
        self.tracer = TracingProcess(self._answered)
        self.jobs = Jobs(self.path, self._tell_jobs)
        self.log = Logbook(self.path)
        self.light, self.walls = True, False  # whether it is traced, and shown on the walls too
        self.last: list[Any] = ["", 0]  # edit that was done: of which page, and its number there
        self.found: dict[str, Any] = {"is": "faults", "number": -1, "faults": []}
        self.solid: dict[str, Any] = {"is": "solid", "number": -1}  # walls and load of `shape`
        self.shape: dict[str, Any] = {"is": "shape", "number": -1}
        self.picture = b""  # the last of the light in that shape
        self.net: dict[str, Any] | None = None  # of the last mesh that the tracer has unrolled

    def close(self) -> None:
        """End what runs; jobs keep what they have traced."""
        self.tracer.close()
        self.jobs.close()

    async def serve(self, page: "WebSocket") -> None:
        """Speak with one page until it goes."""
        from starlette.websockets import WebSocketDisconnect

        await page.accept()
        self.pages.append(page)
        try:
            await self._greet(page)
            while True:
                await self._asked(page, await page.receive_json())
        except (WebSocketDisconnect, KeyError, ValueError, TypeError, RuntimeError):
            pass  # gone, or no message of ours: it may come again
        finally:
            first = self.pages[0] is page
            self.pages.remove(page)
            if first and self.pages:
                await self._tell_document()
            if not self.pages:
                await self._order()

    async def _greet(self, page: "WebSocket") -> None:
        await self._send(page, {"is": "offers", **offers(self.path.parent)})
        await self._send(page, self._record(page))
        await self._send(page, self.jobs.record())
        await self._send(page, await self.log.record())
        if self.shape["number"] == self.document.number:
            for told in (self.solid, self.shape, self.found):
                await self._send(page, told)
            if self.picture:
                await self._send_bytes(page, self.picture)
        await self._order()

    async def _asked(self, page: "WebSocket", asked: dict[str, Any]) -> None:
        """Do what a page asks for; what cannot be done is said to it where it stands."""
        what = str(asked["do"])
        if what == "take over":
            self.pages.remove(page)
            self.pages.insert(0, page)
            await self._tell_document()
            return
        if page is not self.pages[0]:
            await self._send(page, {"is": "refused", "at": "writer", "says": LOOKING_ON})
            return
        before = self.document.number
        try:
            await self._do(what, asked)
        except RaysimError as error:
            at = str(asked.get("at", what))
            await self._send(page, {"is": "refused", "at": at, "says": printable(str(error))})
        if self.document.number != before:
            await self._order()  # first, so that the tracer lets go of the draft before
        if self.document.number != before or what in ("save", "edit"):
            await self._tell_document()

    async def _do(self, what: str, asked: dict[str, Any]) -> None:
        document = self.document
        if what == "edit":
            self.last = list(asked.get("of", self.last))[:2]
            document.edit(asked["edit"], str(asked.get("says", ""))[:80])
        elif what in ("undo", "redo"):
            getattr(document, what)()
        elif what == "save":
            document.save(over=bool(asked.get("over", False)))
        elif what == "take disk":
            document.take_disk()
        elif what == "take result":
            document.take_result(str(asked["folder"]), str(asked["name"]))
        elif what == "light":
            self.light = bool(asked["on"])
            await self._order()
        elif what == "walls":
            self.walls = bool(asked["on"])
            await self._order()
        elif what == "why":
            await self._order([int(asked["face"]), int(asked["side"])])
        elif what == "job":
            document.save()
            await self.jobs.start(str(asked["kind"]), resume=bool(asked.get("resume", False)))
            await self._order()
        elif what == "log":
            says = await self.log.enter(asked["entry"])
            await self._tell({**await self.log.record(), "says": says})
        elif what == "stop":
            self.jobs.stop()
        elif what == "back":
            await self.back()

    async def _order(self, why: list[int] | None = None) -> None:
        """Have the newest draft built and checked; traced where somebody looks and no job works."""
        order = {
            "number": self.document.number,
            "text": self.document.text.removeprefix("\ufeff"),
            "path": str(self.path),
            "light": self.light and bool(self.pages) and not self.jobs.running,
            "walls": self.walls,
            "why": why,
        }
        await self.tracer.order(order)

    async def _answered(self, record: dict[str, Any], body: bytes) -> None:
        """Pass on what the tracer has found, unless it is of an older draft.

        Walls and load are passed on all the same: those of a later draft may lie as they do.
        """
        if record["is"] == "solid":
            self.solid = record
        elif record["number"] != self.document.number:
            return
        if record["is"] == "net":
            self.net = record["net"]
        if record["is"] == "faults":
            record["faults"] = with_mends(record["faults"], self.document)
            self.found = record
        elif record["is"] == "shape":
            self.shape, self.picture = record, b""
        head = sent_text(record).encode()
        head += b" " * (-(4 + len(head)) % 4)
        if body:
            self.picture = struct.pack("<I", len(head)) + head + body
        for page in list(self.pages):
            if body:
                await self._send_bytes(page, self.picture)
            else:
                await self._send(page, record)

    def _record(self, page: "WebSocket | None" = None) -> dict[str, Any]:
        """The document for a page."""
        document = self.document
        shown = rows(document.text.removeprefix("\ufeff"))
        return {
            "is": "document",
            "number": document.number,
            "answers": self.last,
            "name": self.path.name,
            "rows": shown,
            "net": self._net(),
            "readable": document.scene is not None,
            "faults": with_mends([fault_record(one) for one in document.faults], document),
            "undo": document.journal.undo_words,
            "redo": document.journal.redo_words,
            "canUndo": document.journal.done > 0,
            "canRedo": document.journal.done < len(document.journal.steps),
            "saved": document.is_saved,
            "changedOnDisk": document.changed_on_disk,
            "recovered": document.journal.recovered and not document.is_saved,
            "writes": page is None or page is self.pages[0],
            "card": card(document, shown),
        }

    def _net(self) -> dict[str, Any] | None:
        """The net of the draft: of a box at once, of a mesh that of the draft that was built."""
        scene = self.document.scene
        if scene is None or scene.chamber.inside is None:
            return self.net
        self.net = None
        return net_view(scene, box_walls(scene.chamber.inside))

    async def _tell_document(self) -> None:
        record = self._record()
        for number, page in enumerate(list(self.pages)):
            await self._send(page, {**record, "writes": number == 0})

    async def _tell_jobs(self, record: dict[str, Any]) -> None:
        await self._tell(record)
        if record.get("ended"):
            await self._tell_document()
            await self._order()

    async def _tell(self, record: dict[str, Any]) -> None:
        for page in list(self.pages):
            await self._send(page, record)

    async def _send(self, page: "WebSocket", record: dict[str, Any]) -> None:
        with suppress(*_going()):
            await page.send_text(sent_text(record))

    async def _send_bytes(self, page: "WebSocket", data: bytes) -> None:
        with suppress(*_going()):
            await page.send_bytes(data)


def _going() -> tuple[type[Exception], ...]:
    """What is raised where a page is going; who serves it takes it off the list."""
    from starlette.websockets import WebSocketDisconnect

    return WebSocketDisconnect, RuntimeError


def sent_text(record: dict[str, Any]) -> str:
    """A message for the page as JSON (RFC 8259)."""
    return json.dumps(record, allow_nan=False, separators=(",", ":"))
