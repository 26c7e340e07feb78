"""The desk as a server: the page, its answer, what is changed on it, and the news of it.

Starlette answers, uvicorn listens, on the loopback address alone. Nothing that comes from the browser names a file.
"""

from __future__ import annotations

import asyncio
import json
import secrets
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from ...models.errors import InputError
from ..page.page import html_of
from .desk import Desk
from .guard import Guard
from .one_craft import answered, field_of

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

STILL_THERE_S = 15.0
"""After so long without news something is sent, so that a tab that has gone is noticed."""


def application(desk: Desk, port: int, token: str) -> Guard:
    """The ASGI application of a desk, which opens it when it starts and closes it when it ends.

    Args:
        port: that the server listens on: other hosts and origins are refused.
    """
    from starlette.applications import Starlette
    from starlette.routing import Mount, Route

    @asynccontextmanager
    async def alive(_: Starlette) -> AsyncIterator[None]:
        desk.open()
        watching = asyncio.create_task(desk.watch())
        try:
            yield
        finally:
            watching.cancel()
            desk.close()

    answers = _Answers(desk)
    routes = [
        Route("/", answers.page),
        Route("/news", answers.news),
        Route("/answer", answers.answer),
        Route("/sheets", answers.sheets),
        Route("/scenario", answers.scenario),
        Route("/change", answers.change, methods=["POST"]),
        Route("/undo", answers.undo, methods=["POST"]),
        Route("/cancel", answers.cancel, methods=["POST"]),
        Route("/again", answers.again, methods=["POST"]),
        Route("/make-sheets", answers.make_sheets, methods=["POST"]),
        Route("/period", answers.period, methods=["POST"]),
    ]
    return Guard(Starlette(routes=[Mount(f"/{token}", routes=routes)], lifespan=alive), port, token)


class _Answers:
    """What is answered at each address."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk

    async def page(self, _: Request) -> Response:
        from starlette.responses import HTMLResponse

        once = secrets.token_urlsafe(16)
        policy = (
            f"default-src 'none'; style-src 'unsafe-inline'; script-src 'nonce-{once}'; connect-src 'self'; "
            "img-src data:; base-uri 'none'; form-action 'none'"
        )
        page = html_of(
            "Desk",
            "",
            policy=policy,
            head='<link rel="icon" href="data:,">',
            style=_asset("desk.css"),
            above=_asset("desk.html"),
            script=_asset("desk.js"),
        ).replace("<script>", f'<script nonce="{once}">')
        # a page cannot forbid its framing by itself
        headers = {"content-security-policy": f"{policy}; frame-ancestors 'none'", "x-frame-options": "DENY"}
        return HTMLResponse(page, headers=headers)

    async def news(self, _: Request) -> Response:
        from starlette.responses import StreamingResponse

        async def stream() -> AsyncIterator[str]:
            while True:
                news = self.desk.news
                yield f"data: {json.dumps(self.desk.state())}\n\n"
                await self.desk.wait(news, STILL_THERE_S)

        return StreamingResponse(stream(), media_type="text/event-stream")

    async def answer(self, _: Request) -> Response:
        return _json_text(self.desk.answer or "null")

    async def sheets(self, _: Request) -> Response:
        return _json_text(self.desk.sheets or "null")

    async def scenario(self, _: Request) -> Response:
        from starlette.responses import PlainTextResponse

        return PlainTextResponse(self.desk.scenario_text())

    async def change(self, request: Request) -> Response:
        """A field and what was typed into it; what is wrong with it comes back, and the fields as they stand."""
        given = await _given(request, {"key", "value"})
        if isinstance(given, str):
            return _refused(given)
        try:
            wrong = self.desk.change(given["key"], given["value"])
        except InputError as fault:
            return _refused(str(fault))
        return _json({"wrong": wrong, "fields": self.desk.state()["fields"]})

    async def undo(self, _: Request) -> Response:
        return self._done(self.desk.undo)

    async def cancel(self, _: Request) -> Response:
        return self._done(self.desk.cancel)

    async def again(self, _: Request) -> Response:
        return self._done(self.desk.again)

    async def make_sheets(self, request: Request) -> Response:
        """The rank of a plan, whose sheets then come as news."""
        given = await _given(request, {"rank"})
        if isinstance(given, str):
            return _refused(given)
        if not given["rank"].isdecimal() or len(given["rank"]) > 6:
            return _refused("a rank is a whole number")
        return self._done(lambda: self.desk.make_sheets(int(given["rank"])))

    async def period(self, request: Request) -> Response:
        """The fields of the one-craft form, and the width of a line."""
        given = await _given(request)
        if isinstance(given, str):
            return _refused(given)
        width = given.pop("width", "80")
        columns = min(max(int(width), 60), 120) if width.isdigit() and len(width) < 6 else 80
        try:
            return _json(await asyncio.to_thread(answered, given, columns))
        except InputError as fault:
            return _json({"wrong": fault.problem, "field": field_of(fault)})

    @staticmethod
    def _done(act: Callable[[], None]) -> Response:
        act()
        return _json({})


async def _given(request: Request, keys: set[str] | None = None) -> dict[str, str] | str:
    """Texts by name from the body of a request; in words what is wrong with it."""
    try:
        given = json.loads(await request.body())
    except (ValueError, RecursionError):
        return "the request is no JSON"
    if not isinstance(given, dict) or not all(isinstance(value, str) for value in given.values()):
        return "the request is no list of texts by name"
    if keys is not None and set(given) != keys:
        return f"the request should have {' and '.join(sorted(keys))}"
    return given


def _refused(why: str) -> Response:
    from starlette.responses import PlainTextResponse

    return PlainTextResponse(f"Refused: {why}.\n", status_code=400)


def _json(value: Any) -> Response:
    return _json_text(json.dumps(value))


def _json_text(text: str) -> Response:
    from starlette.responses import Response

    return Response(text, media_type="application/json")


def _asset(name: str) -> str:
    return files(__package__).joinpath(name).read_text(encoding="utf-8")
