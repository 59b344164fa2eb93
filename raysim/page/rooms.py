"""Which page a server shows: the start page, or the desk about one scene, which it has locked."""

from contextlib import ExitStack, suppress
from pathlib import Path
from typing import TYPE_CHECKING

from raysim.base.errors import RaysimError
from raysim.output.files.lock import locked
from raysim.page.boxes import remember
from raysim.page.desk import Desk
from raysim.page.document import Document, draft_folder
from raysim.page.start import Start
from raysim.scene.file.read import read_scene

if TYPE_CHECKING:
    from starlette.websockets import WebSocket

GO = {"is": "go"}  # tells a page that another one stands at its address now


class Rooms:
    """The start page in a folder, and the desk that one has gone on to, if any."""

    def __init__(self, here: Path) -> None:
        self.start = Start(here, self.enter)
        self.desk: Desk | None = None
        self._held = ExitStack()

    def enter(self, scene: Path) -> None:
        """Put a scene on the desk.

        Raises
        ------
        RaysimError
            Where it cannot be read, or another program has it open.
        """
        if self.desk is not None:
            raise RaysimError("a box is open here already. Mend: load this page again")
        scene = scene.resolve()
        if not scene.is_file():
            read_scene(scene)  # says what is wrong
        try:
            self._held.enter_context(locked(draft_folder(scene)))
        except RaysimError:
            raise RaysimError(
                f"{scene}: it is open in another 'raysim open' already, or its folder cannot be "
                "written. Mend: use that page, or end that program with Ctrl-C"
            ) from None
        try:
            self.desk = Desk(Document(scene), self.back)
        except RaysimError:
            self._held.close()
            raise
        remember(scene)

    def leave(self) -> None:
        """Clear the desk; draft and undo stay on disk."""
        if self.desk is not None:
            self.desk.close()
            self.desk = None
        self._held.close()

    async def serve(self, page: "WebSocket") -> None:
        """Speak with one page until it goes."""
        if self.desk is None:
            await self.start.serve(page, self._go_on)
        else:
            await self.desk.serve(page)

    async def back(self) -> None:
        """From the desk to the start page.

        Raises
        ------
        RaysimError
            Where a job is at work, which would be lost.
        """
        if self.desk is None:
            return
        if self.desk.jobs.running:
            raise RaysimError("a job is being worked out. Mend: wait for its end, or stop it")
        pages = list(self.desk.pages)
        self.leave()
        await _send_on(pages)

    async def _go_on(self) -> None:
        await _send_on(list(self.start.pages))


async def _send_on(pages: "list[WebSocket]") -> None:
    for page in pages:
        with suppress(RuntimeError):
            await page.send_json(GO)
