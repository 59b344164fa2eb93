"""Start the server of a page on this computer, and open the browser."""

import asyncio
import socket
import threading
import webbrowser
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from raysim.base.errors import RaysimError
from raysim.output.files.lock import locked
from raysim.page.app import made_app
from raysim.page.desk import Desk
from raysim.page.document import Document, draft_folder
from raysim.page.guard import Guard

if TYPE_CHECKING:
    import uvicorn

HOST = "127.0.0.1"
LARGEST_MESSAGE = 1_000_000  # bytes, from the page


def serve(scene: Path, told: Callable[[str], None], browser: bool = True) -> None:
    """Serve the page about a scene until Ctrl-C.

    `told` is called with the address to open.

    Raises
    ------
    RaysimError
        Where the scene cannot be read, or another page has it open.
    """
    import uvicorn

    scene = scene.resolve()
    _refuse_missing(scene)
    try:
        lock = locked(draft_folder(scene))
        lock.__enter__()
    except RaysimError:
        raise RaysimError(
            f"{scene}: it is open in another 'raysim open' already, or its folder cannot be "
            "written. Mend: use that page, or end that program with Ctrl-C"
        ) from None
    try:
        with socket.create_server((HOST, 0)) as listening:
            desk = Desk(Document(scene))
            port = int(listening.getsockname()[1])
            guard = Guard(made_app(scene.parent, desk.serve), port)
            told(guard.address)
            if browser:
                threading.Timer(0.3, webbrowser.open, [guard.address]).start()
            config = uvicorn.Config(
                guard,
                log_level="critical",
                lifespan="off",
                ws="websockets-sansio",
                ws_max_size=LARGEST_MESSAGE,
                server_header=False,
                access_log=False,
                timeout_graceful_shutdown=2,
            )
            with suppress(KeyboardInterrupt):  # the way to end it
                asyncio.run(_until_ended(uvicorn.Server(config), listening, desk))
    finally:
        lock.__exit__(None, None, None)


async def _until_ended(server: "uvicorn.Server", listening: socket.socket, desk: Desk) -> None:
    try:
        await server.serve(sockets=[listening])
    finally:
        desk.close()


def _refuse_missing(scene: Path) -> None:
    if not scene.is_file():
        from raysim.scene.file.read import read_scene

        read_scene(scene)  # says what is wrong
