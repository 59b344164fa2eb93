"""Who may ask the server: this page alone. Every request passes here first.

Source: OWASP cheat sheets on cross-site request forgery and content security policy [from memory];
DNS rebinding is why the name of the host is looked at.
"""

import secrets
from collections.abc import Awaitable, Callable, Mapping, MutableMapping
from http.cookies import SimpleCookie
from typing import Any

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

OWN_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
    "connect-src 'self'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'"
)
# Of pages of results, which carry script and style inside: they run as if from nowhere, so that
# none of them can speak to this server.
RESULT_POLICY = (
    "sandbox allow-scripts allow-popups allow-modals allow-downloads; default-src 'none'; "
    "script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src data:; frame-ancestors 'none'"
)
FOR_ALL = {
    b"x-content-type-options": b"nosniff",
    b"referrer-policy": b"no-referrer",
    b"cross-origin-resource-policy": b"same-origin",
    b"cross-origin-opener-policy": b"same-origin",
    b"cache-control": b"no-store",
}
KEY = "key"  # in the address that is opened first


class Guard:
    """Lets pass what comes from the page that this server has opened, and refuses all else."""

    def __init__(self, app: App, port: int) -> None:
        self.app, self.port = app, port
        self.token = secrets.token_urlsafe(32)
        self.hosts = {f"127.0.0.1:{port}", f"localhost:{port}"}
        self.cookie = f"raysim-{port}"

    @property
    def address(self) -> str:
        """What the browser has to open; whoever has it may use the page."""
        return f"http://127.0.0.1:{self.port}/?{KEY}={self.token}"

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request or socket."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        headers = {
            name.decode("latin-1"): value.decode("latin-1") for name, value in _single(scope)
        }
        why = self._refusal(scope, headers)
        if why == KEY:
            cookie = f"{self.cookie}={self.token}; Path=/; HttpOnly; SameSite=Strict"
            await _answer(send, 303, "", {b"location": b"/", b"set-cookie": cookie.encode()})
        elif why and scope["type"] == "websocket":
            await receive()
            await send({"type": "websocket.close", "code": 1008})
        elif why:
            await _answer(send, 403, f"{why}\n", {})
        else:
            await self.app(scope, receive, _with_headers(send))

    def _refusal(self, scope: Scope, headers: Mapping[str, str]) -> str:
        """Why a request is refused, KEY where it brings the key, "" where it may pass."""
        host = headers.get("host", "")
        if host not in self.hosts:
            return "This page answers to 127.0.0.1 alone."
        origin = headers.get("origin")
        if origin is not None and origin != f"http://{host}":
            return "Another page asked for this."
        changes = scope["type"] == "websocket" or scope["method"] not in ("GET", "HEAD")
        if changes and origin is None:
            return "It is not said which page asks."
        query = scope.get("query_string", b"").decode("latin-1")
        if scope["path"] == "/" and query.startswith(f"{KEY}="):
            given = query.removeprefix(f"{KEY}=")
            if secrets.compare_digest(given, self.token):
                return KEY
        found = SimpleCookie(headers.get("cookie", "")).get(self.cookie)
        if found is None or not secrets.compare_digest(found.value, self.token):
            return "Open the address that 'raysim open' has printed: its key opens this page."
        return ""


def _single(scope: Scope) -> list[tuple[bytes, bytes]]:
    """Headers of a request; of one that stands twice nothing that could be trusted."""
    names = [name for name, _ in scope["headers"]]
    return [(n, v if names.count(n) == 1 else b"twice") for n, v in scope["headers"]]


async def _answer(send: Send, status: int, text: str, more: dict[bytes, bytes]) -> None:
    kind = {b"content-type": b"text/plain; charset=utf-8"}
    policy = {b"content-security-policy": b"default-src 'none'"}
    headers = [*({**FOR_ALL, **policy, **kind, **more}).items()]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": text.encode()})


def _with_headers(send: Send) -> Send:
    async def sent(message: MutableMapping[str, Any]) -> None:
        if message["type"] == "http.response.start":
            given = dict(message.get("headers", []))
            given.setdefault(b"content-security-policy", OWN_POLICY.encode())
            message = {**message, "headers": [*{**given, **FOR_ALL}.items()]}
        await send(message)

    return sent
