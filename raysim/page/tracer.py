"""The tracing process as the server sees it: orders in, answers out, started anew where it died."""

import asyncio
import json
import struct
import sys
from collections.abc import Awaitable, Callable
from contextlib import suppress
from typing import Any

Answer = Callable[[dict[str, Any], bytes], Awaitable[None]]
MOST_DEATHS = 3  # on one draft: then it is told, and nothing is traced before the next change


class TracingProcess:
    """One process that traces the newest draft (`sketch/process.py`)."""

    def __init__(self, answered: Answer) -> None:
        self.answered = answered
        self._order: dict[str, Any] | None = None
        self._process: asyncio.subprocess.Process | None = None
        self._reader: asyncio.Task[None] | None = None
        self._deaths = 0

    async def order(self, order: dict[str, Any]) -> None:
        """Have a draft traced from now on, and nothing else."""
        if self._order is None or order["number"] != self._order["number"]:
            self._deaths = 0
        self._order = order
        if self._process is None:
            await self._start()
        await self._send()

    def close(self) -> None:
        """End the process."""
        if self._process is not None:
            with suppress(ProcessLookupError):
                self._process.kill()
        if self._reader is not None:
            self._reader.cancel()

    async def _start(self) -> None:
        words = [sys.executable, "-m", "raysim.page.sketch.process"]
        pipe = asyncio.subprocess.PIPE
        self._process = await asyncio.create_subprocess_exec(
            *words, stdin=pipe, stdout=pipe, stderr=asyncio.subprocess.DEVNULL
        )
        self._reader = asyncio.create_task(self._listen(self._process))

    async def _send(self) -> None:
        if self._process is None or self._process.stdin is None:
            return
        with suppress(ConnectionError):
            self._process.stdin.write((json.dumps(self._order) + "\n").encode())
            await self._process.stdin.drain()

    async def _listen(self, process: asyncio.subprocess.Process) -> None:
        assert process.stdout is not None
        with suppress(asyncio.IncompleteReadError):
            while True:
                sizes = struct.unpack("<II", await process.stdout.readexactly(8))
                head, body = [await process.stdout.readexactly(size) for size in sizes]
                await self.answered(json.loads(head), body)
        await process.wait()
        self._process = None
        self._deaths += 1
        if self._deaths < MOST_DEATHS and self._order is not None:
            await self.order(self._order)
        elif self._order is not None:
            says = "the tracer has died on this draft. Mend: change or undo something"
            await self.answered(
                {"is": "trouble", "number": self._order["number"], "says": says}, b""
            )
