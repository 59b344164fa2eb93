"""A page of `raysim open` in a process of its own, and a browser that looks at it."""

import http.client
import json
import os
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from browser import find_chromium

PATIENCE = 60.0  # s, for machines with much else to do
PYTHON = sys.executable  # of servers that are started; the tests of the page take a warm one


class Served:
    """A server: its process, port and key, and requests to it by hand."""

    def __init__(self, scene: Path, *more: str, python: str = "") -> None:
        """A page about a scene, or the start page where it is a folder; its list lies there."""
        begins = scene.is_dir()
        words = [python or PYTHON, "-m", "raysim", "open", "--no-browser", "--quiet", *more]
        self.state = tempfile.TemporaryDirectory()
        self.process = subprocess.Popen(
            words if begins else [*words[:4], str(scene), *words[4:]],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            cwd=scene if begins else None,
            env=os.environ
            | {"XDG_STATE_HOME": str(scene / ".state" if begins else self.state.name)},
        )
        self.address = self.process.stdout.readline().strip()
        host, _, self.key = self.address.removeprefix("http://").partition("/?key=")
        self.port = int(host.rpartition(":")[2] or 0)
        self.host = f"127.0.0.1:{self.port}"

    @property
    def cookie(self) -> str:
        """The cookie that the key is exchanged for."""
        return f"raysim-{self.port}={self.key}"

    def asked(self, path: str, method: str = "GET", **headers: str) -> http.client.HTTPResponse:
        """Answer to a request with these headers alone, Host and cookie right unless given."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
        given = {"Host": self.host, "Cookie": self.cookie}
        given |= {name.replace("_", "-"): value for name, value in headers.items()}
        connection.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
        for name, value in given.items():
            if value:
                connection.putheader(name, value)
        connection.endheaders()
        answer = connection.getresponse()
        answer.text = answer.read().decode("utf-8", "replace")
        connection.close()
        return answer

    def socket_status(self, **headers: str) -> int:
        """Status of the answer to who asks for the socket: 101 where it is opened."""
        given = {"Connection": "Upgrade", "Upgrade": "websocket", "Sec_WebSocket_Version": "13"}
        given |= {"Sec_WebSocket_Key": "AAAAAAAAAAAAAAAAAAAAAA==", "Origin": f"http://{self.host}"}
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
        connection.putrequest("GET", "/desk", skip_host=True, skip_accept_encoding=True)
        for name, value in ({"Host": self.host, "Cookie": self.cookie} | given | headers).items():
            if value:
                connection.putheader(name.replace("_", "-"), value)
        connection.endheaders()
        status = connection.getresponse().status
        connection.close()
        return status

    def kill(self) -> None:
        """End it without a word, as a power cut does."""
        self.process.kill()
        self.process.wait(PATIENCE)
        self.process.stdout.read()  # until nobody holds it any more


@contextmanager
def served(scene: Path, *more: str, python: str = "") -> Iterator[Served]:
    """A page about a scene, ended by Ctrl-C."""
    found = Served(scene, *more, python=python)
    try:
        yield found
    finally:
        if found.process.poll() is None:
            found.process.send_signal(signal.SIGINT)
            try:
                found.process.wait(20)
            except subprocess.TimeoutExpired:
                found.kill()
        found.state.cleanup()
        found.process.stdout.close()
        found.process.stderr.close()


@contextmanager
def chromium() -> Iterator:
    """A browser of playwright that drives the installed Chromium."""
    from playwright.sync_api import sync_playwright

    words = ["--no-sandbox", "--use-angle=swiftshader", "--enable-unsafe-swiftshader"]
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=find_chromium(), args=words)
        yield browser
        browser.close()


class Page:
    """A page in a browser, with all that it complained of."""

    def __init__(
        self, browser, address: str, ready: str = "document.querySelector('.foot') !== null", **more
    ) -> None:
        self.complaints: list[str] = []
        self.page = browser.new_page(viewport={"width": 1500, "height": 1000}, **more)
        self.page.on("console", self._heard)
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.goto(address)
        self.until(ready)

    def _heard(self, message) -> None:
        if message.type in ("error", "warning") and "GPU stall" not in message.text:
            self.complaints.append(message.text)

    def value(self, expression: str):
        """Value of an expression of JavaScript."""
        return self.page.evaluate(expression)

    def until(self, expression: str, patience: float = PATIENCE) -> float:
        """Wait until an expression is true; how long that took, s."""
        began = time.monotonic()
        while not self._is(expression):
            if time.monotonic() > began + patience:
                raise TimeoutError(expression)
            time.sleep(0.02)
        return time.monotonic() - began

    def _is(self, expression: str) -> bool:
        from playwright.sync_api import Error

        try:
            return bool(self.page.evaluate(f"Boolean({expression})"))
        except Error as error:
            if "navigation" in str(error):  # from page to page there is nothing to be asked
                return False
            raise

    def line(self, name: str) -> str:
        """What a line of the job card says."""
        return self.page.locator(f"#line-{name} .says").inner_text()

    def open_line(self, name: str):
        """Open a line of the job card; what stands in it."""
        if self.page.locator(f"#line-{name}").get_attribute("open") is None:
            self.page.locator(f"#line-{name} summary").first.click()
        return self.page.locator(f"#line-{name} .inside")

    def hold(self, name: str):
        """What can be taken hold of on the net, such as "from:left@floor"."""
        return self.page.locator(f'#net circle[data-hold="{name}"]')

    def slip(self, at: str):
        """A field of the slip."""
        return self.page.locator(f'#slip [data-at="{at}"]')


def journal(scene: Path) -> list[dict]:
    """All lines of the journal of a scene's draft."""
    lines = (scene.parent / ".raysim-page" / scene.name / "journal").read_text().splitlines()
    return [json.loads(line) for line in lines]


def drag(page: Page, hold: str, right: float, down: float) -> None:
    """Drag what can be taken hold of by so many CSS px."""
    box = page.hold(hold).bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.page.mouse.move(x, y)
    page.page.mouse.down()
    for k in range(1, 5):
        page.page.mouse.move(x + right * k / 4, y + down * k / 4)
    page.page.mouse.up()


def has_no_browser() -> bool:
    """Whether browser tests cannot run here."""
    if find_chromium() is None:
        return True
    try:
        import playwright  # noqa: F401
    except ImportError:
        return True
    return os.name != "posix"
