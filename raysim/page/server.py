"""Start the server of a page on this computer, and open the browser."""

import asyncio
import socket
import threading
import webbrowser
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from raysim.page.app import made_app
from raysim.page.guard import Guard
from raysim.page.rooms import Rooms

if TYPE_CHECKING:
    import uvicorn

HOST = "127.0.0.1"
LARGEST_MESSAGE = 1_000_000  # bytes, from the page


def serve(scene: Path | None, told: Callable[[str], None], browser: bool = True) -> None:
    """Serve the page about a scene, or the start page, until Ctrl-C.

    `told` is called with the address to open.

    Raises
    ------
    RaysimError
        Where the scene cannot be read, or another page has it open.
    """
    import uvicorn

    rooms = Rooms(Path.cwd())
    try:
        if scene is not None:
            rooms.enter(scene)
        with socket.create_server((HOST, 0)) as listening:
            port = int(listening.getsockname()[1])
            guard = Guard(made_app(rooms), port)
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
                asyncio.run(_until_ended(uvicorn.Server(config), listening, rooms))
    finally:
        rooms.leave()


async def _until_ended(server: "uvicorn.Server", listening: socket.socket, rooms: Rooms) -> None:
    try:
        await server.serve(sockets=[listening])
    finally:
        rooms.leave()
