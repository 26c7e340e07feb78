"""Who may talk to the desk: this machine's browser, on the address that was printed, in small pieces.

The desk is bound to the loopback address, but every page that is open in the same browser can send requests there, and
every name can be made to lead there. So the address holds a random token, the names of host and origin must be the
desk's own, and sizes are limited before anything is read.
"""

from __future__ import annotations

import secrets
from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

BODY_MOST = 16_000
"""Bytes of a request's body."""

ADDRESS_MOST = 300
"""Bytes of a request's address."""

HEADERS = (
    (b"cache-control", b"no-store"),
    (b"referrer-policy", b"no-referrer"),
    (b"x-content-type-options", b"nosniff"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
)
"""On every answer: nothing is kept, the address with its token goes nowhere, no craft else may hold the answer."""


class Guard:
    """Refuses what is not from the desk's own page before the application sees it.

    Args:
        app: ASGI application.
        port: that the desk listens on.
        token: first part of every address.
    """

    def __init__(self, app: App, port: int, token: str) -> None:
        self.app = app
        self.token = token
        self.hosts = {f"127.0.0.1:{port}".encode(), f"localhost:{port}".encode()}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or refuse it."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self.app(scope, receive, send)
            return
        status, why = self._refusal(scope)
        if status:
            await _refuse(send, status, why)
            return
        body = await _body(receive)
        if body is None:
            await _refuse(send, 413, f"a request holds at most {BODY_MOST} bytes")
            return
        await self.app(scope, _given(body, receive), _with_headers(send))

    def _refusal(self, scope: Scope) -> tuple[int, str]:
        """Status and reason; status 0 where a request may pass."""
        headers: dict[bytes, list[bytes]] = {}
        for name, value in scope["headers"]:
            headers.setdefault(name, []).append(value)
        if len(scope["raw_path"] or b"") + len(scope["query_string"]) > ADDRESS_MOST:
            return 414, "the address is too long"
        [host, *more] = headers.get(b"host", [b""])
        if host not in self.hosts or more:
            return 403, "this host is not the desk"
        origins = headers.get(b"origin", [])
        if any(origin != b"http://" + host for origin in origins) or len(origins) > 1:
            return 403, "this origin is not the desk"
        if headers.get(b"sec-fetch-site", [b"none"])[0] not in (b"none", b"same-origin"):
            return 403, "this site is not the desk"
        if scope["method"] not in ("GET", "POST"):
            return 405, "the desk answers GET and POST"
        if scope["method"] == "POST":
            if not origins:
                return 403, "a change comes from the desk's own page"
            if headers.get(b"content-type", [b""])[0] != b"application/json":
                return 415, "a change is sent as JSON"
        first = scope["path"].split("/")[1] if scope["path"].startswith("/") else ""
        if not secrets.compare_digest(first.encode("utf-8", "replace"), self.token.encode()):
            return 403, "this address is not the desk's: open the one that it printed last"
        said = headers.get(b"content-length", [b"0"])[0]
        if not said.isdigit() or int(said) > BODY_MOST:
            return 413, f"a request holds at most {BODY_MOST} bytes"
        return 0, ""


async def _body(receive: Receive) -> bytes | None:
    """The whole body; None where it is too long, whatever it said about itself."""
    held = bytearray()
    while True:
        message = await receive()
        if message["type"] != "http.request":
            return bytes(held)
        held += message.get("body", b"")
        if len(held) > BODY_MOST:
            return None
        if not message.get("more_body", False):
            return bytes(held)


def _given(body: bytes, receive: Receive) -> Receive:
    """A body that is there already, and then what else comes: that the browser has left."""
    waiting = [{"type": "http.request", "body": body, "more_body": False}]

    async def read() -> MutableMapping[str, Any]:
        return waiting.pop() if waiting else await receive()

    return read


def _with_headers(send: Send) -> Send:
    async def say(message: MutableMapping[str, Any]) -> None:
        if message["type"] == "http.response.start":
            message["headers"] = [*message.get("headers", []), *HEADERS]
        await send(message)

    return say


async def _refuse(send: Send, status: int, why: str) -> None:
    text = f"Refused: {why}.\n".encode()
    headers = [(b"content-type", b"text/plain; charset=utf-8"), (b"connection", b"close"), *HEADERS]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": text})
