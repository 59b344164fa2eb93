"""A headless Chromium to ask about a page, through its DevTools protocol; standard library only.

Source: Chrome DevTools Protocol; RFC 6455 for the socket it is spoken over.
"""

import base64
import itertools
import json
import os
import shutil
import socket
import struct
import subprocess
import tempfile
import time
import urllib.request
from pathlib import Path
from typing import Any

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
PATIENCE = 120.0  # s, for machines with much else to do


def find_chromium() -> str | None:
    """Path of a Chromium, or None; the variable RAYSIM_CHROMIUM names another."""
    named = os.environ.get("RAYSIM_CHROMIUM")
    return named or next(filter(None, map(shutil.which, NAMES)), None)


class _Socket:
    """A websocket to one page: text frames out and in, of any length."""

    def __init__(self, address: str) -> None:
        host, _, path = address.removeprefix("ws://").partition("/")
        name, _, port = host.partition(":")
        self._socket = socket.create_connection((name, int(port)), timeout=PATIENCE)
        key = base64.b64encode(os.urandom(16)).decode()
        hello = (
            f"GET /{path} HTTP/1.1\r\nHost: {host}\r\nUpgrade: websocket\r\n"
            f"Connection: Upgrade\r\nSec-WebSocket-Key: {key}\r\nSec-WebSocket-Version: 13\r\n\r\n"
        )
        self._socket.sendall(hello.encode())
        answer = b""
        while b"\r\n\r\n" not in answer:
            answer += self._exactly(1)
        assert b" 101 " in answer.split(b"\r\n")[0], answer

    def send(self, text: str) -> None:
        data, mask = text.encode(), os.urandom(4)
        size = len(data)
        short = size if size < 126 else (126 if size < 65536 else 127)
        head = struct.pack("!BB", 0x81, 0x80 | short)
        head += b"" if size < 126 else struct.pack("!H" if size < 65536 else "!Q", size)
        whole = int.from_bytes(data, "big") ^ int.from_bytes((mask * (size // 4 + 1))[:size], "big")
        self._socket.sendall(head + mask + whole.to_bytes(size, "big"))

    def receive(self, timeout: float) -> str | None:
        """Next message, or None after `timeout` seconds of silence."""
        self._socket.settimeout(max(timeout, 0.01))
        try:
            first = self._socket.recv(1)
        except TimeoutError:
            return None
        self._socket.settimeout(PATIENCE)
        message, last = b"", False
        while not last:
            kind = first[0] if first else self._exactly(1)[0]
            first, last = b"", bool(kind & 0x80)
            size = self._exactly(1)[0] & 0x7F
            if size > 125:
                size = int.from_bytes(self._exactly(2 if size == 126 else 8), "big")
            message += self._exactly(size)
        return message.decode()

    def _exactly(self, size: int) -> bytes:
        data = bytearray()
        while len(data) < size:
            piece = self._socket.recv(size - len(data))
            if not piece:
                raise ConnectionError("the browser has hung up")
            data += piece
        return bytes(data)

    def close(self) -> None:
        self._socket.close()


class Browser:
    """One page of a headless Chromium that can reach no network.

    Attributes
    ----------
    complaints : list of str
        What was written to the console as a warning or error, exceptions, broken policies.
    requests : list of str
        Addresses asked for, "data:" left out.
    """

    def __init__(self, *more: str, size: tuple[int, int] = (1100, 900)) -> None:
        self.complaints: list[str] = []
        self.requests: list[str] = []
        self._numbers = itertools.count(1)
        self._folder = tempfile.TemporaryDirectory(ignore_cleanup_errors=True)
        words = [
            str(find_chromium()), "--headless", "--no-sandbox", "--remote-debugging-port=0",
            f"--user-data-dir={self._folder.name}", f"--window-size={size[0]},{size[1]}",
            "--use-angle=swiftshader", "--enable-unsafe-swiftshader", "--no-first-run",
            "--disable-dev-shm-usage", "--disable-background-networking", "--disable-extensions",
            "--host-resolver-rules=MAP * ~NOTFOUND", "--hide-scrollbars", *more, "about:blank",
        ]  # fmt: skip
        self._process = subprocess.Popen(
            words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True
        )
        try:
            self._socket = _Socket(self._page_address())
            for domain in ("Page", "Runtime", "Network", "Log", "Audits"):
                self.ask(f"{domain}.enable")
        except BaseException:
            self.close()
            raise

    def __enter__(self) -> "Browser":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """End the browser and remove its folder."""
        if hasattr(self, "_socket"):
            self._socket.close()
        self._process.terminate()
        try:
            self._process.wait(10)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        self._folder.cleanup()

    def _page_address(self) -> str:
        told = Path(self._folder.name) / "DevToolsActivePort"
        until = time.monotonic() + PATIENCE
        while time.monotonic() < until:
            if told.exists() and (port := told.read_text().split("\n")[0]):
                with urllib.request.urlopen(f"http://127.0.0.1:{port}/json/list", timeout=10) as it:
                    pages = [one for one in json.load(it) if one["type"] == "page"]
                if pages:
                    return str(pages[0]["webSocketDebuggerUrl"])
            time.sleep(0.05)
        raise TimeoutError("no page was opened by the browser")

    def ask(self, method: str, **parameters: Any) -> dict[str, Any]:
        """Answer of the browser to one command of the protocol."""
        number = next(self._numbers)
        self._socket.send(json.dumps({"id": number, "method": method, "params": parameters}))
        until = time.monotonic() + PATIENCE
        while time.monotonic() < until:
            answer = self._listen(until - time.monotonic())
            if answer is not None and answer.get("id") == number:
                assert "error" not in answer, f"{method}: {answer}"
                return dict(answer["result"])
        raise TimeoutError(method)

    def _listen(self, timeout: float) -> dict[str, Any] | None:
        text = self._socket.receive(timeout)
        if text is None:
            return None
        message: dict[str, Any] = json.loads(text)
        told, what = message.get("params", {}), message.get("method")
        if what == "Network.requestWillBeSent":
            address = told["request"]["url"]
            self.requests += [] if address.startswith("data:") else [address]
        elif what == "Runtime.exceptionThrown":
            self.complaints.append(str(told["exceptionDetails"]))
        elif what == "Runtime.consoleAPICalled" and told["type"] in ("warning", "error"):
            self.complaints.append(str([one.get("value") for one in told["args"]]))
        elif what == "Log.entryAdded" and told["entry"]["level"] in ("warning", "error"):
            self.complaints.append(told["entry"]["text"])
        elif what == "Audits.issueAdded" and "ContentSecurity" in told["issue"]["code"]:
            self.complaints.append(str(told["issue"]))
        return message

    def open(self, page: Path) -> None:
        """Load a file and wait until the map is drawn, or is said to be missing."""
        self.ask("Page.navigate", url=page.absolute().as_uri())
        self.wait(
            "document.readyState === 'complete' && "
            "(document.getElementById('map').hidden || Number(document.querySelector("
            "'#map canvas').dataset.drawn) > 0)"
        )

    def value(self, expression: str) -> Any:
        """Value of an expression of JavaScript in the page."""
        answer = self.ask("Runtime.evaluate", expression=expression, returnByValue=True)
        assert "exceptionDetails" not in answer, answer
        return answer["result"].get("value")

    def wait(self, expression: str) -> None:
        """Wait until an expression of JavaScript is true."""
        until = time.monotonic() + PATIENCE
        while not self.value(f"Boolean({expression})"):
            if time.monotonic() > until:
                raise TimeoutError(expression)
            time.sleep(0.03)

    def screenshot(self, **more: Any) -> bytes:
        """PNG of what is in sight."""
        return base64.b64decode(self.ask("Page.captureScreenshot", format="png", **more)["data"])

    def mouse(self, kind: str, x: float, y: float, **more: Any) -> None:
        """One event of the mouse: "mousePressed", "mouseMoved", "mouseReleased", "mouseWheel"."""
        self.ask("Input.dispatchMouseEvent", type=kind, x=x, y=y, **more)

    def drag(self, start: tuple[float, float], end: tuple[float, float]) -> None:
        """Press the left button at one place and release it at another, in four moves."""
        self.mouse("mousePressed", *start, button="left", buttons=1, clickCount=1)
        for k in range(1, 5):
            at = [a + (b - a) * k / 4 for a, b in zip(start, end, strict=True)]
            self.mouse("mouseMoved", *at, button="left", buttons=1)
        self.mouse("mouseReleased", *end, button="left", clickCount=1)

    def touch(self, kind: str, *points: tuple[float, float]) -> None:
        """One event of the fingers: "touchStart", "touchMove", "touchEnd"."""
        fingers = [{"x": x, "y": y, "id": k} for k, (x, y) in enumerate(points)]
        self.ask("Input.dispatchTouchEvent", type=kind, touchPoints=fingers)

    def key(self, key: str, modifiers: int = 0) -> None:
        """Press and release one key."""
        code = {"Home": 36, "ArrowLeft": 37, "ArrowUp": 38, "ArrowRight": 39, "ArrowDown": 40}
        for kind in ("keyDown", "keyUp"):
            self.ask(
                "Input.dispatchKeyEvent", type=kind, key=key, modifiers=modifiers,
                windowsVirtualKeyCode=code.get(key, ord(key[0].upper())),
            )  # fmt: skip

    def choose(self, name: str, value: str) -> None:
        """Take one of the choices above the map."""
        self.value(
            f"(() => {{ const e = document.querySelector('[data-map={name}]');"
            f" e.value = {json.dumps(value)}; e.dispatchEvent(new Event('change')); }})()"
        )
        self.redrawn()

    def redrawn(self) -> None:
        """Wait until two frames have passed, so that what was asked for is drawn."""
        self.ask(
            "Runtime.evaluate", awaitPromise=True,
            expression="new Promise(r => requestAnimationFrame(() => requestAnimationFrame(r)))",
        )  # fmt: skip

    def stage(self) -> dict[str, float]:
        """Place of the map in the window, CSS px: x, y, width, height; scrolled into sight.

        It is moved onto whole pixels, wherever the words above it end.
        """
        return dict(
            self.value(
                "(() => { const e = document.querySelector('.map-stage');"
                " e.scrollIntoView({block: 'center'});"
                " const y = e.getBoundingClientRect().top, top = parseFloat(e.style.top || 0);"
                " e.style.top = (top + Math.ceil(y) - y) + 'px';"
                " return e.getBoundingClientRect().toJSON(); })()"
            )
        )
