"""The short way to the busiest door: a route that is called without the framework's machinery around it.

The route stands in the router like any other (its description, its line in the table of doors); the guard hands it the
request at once.
"""

import asyncio
import logging
from collections.abc import Awaitable, Callable, Sequence
from contextlib import suppress
from typing import Any

from fastapi import Request
from fastapi.routing import APIRoute
from starlette.requests import ClientDisconnect
from starlette.types import Receive, Scope, Send

from api.server.errors import problem
from scheduler.errors import SchedulerError
from scheduler.storage.hours.intake import Outcome

log = logging.getLogger("leadline")

FastAnswer = tuple[int, bytes]
"""Status and a body in JSON."""


class FastRoute(APIRoute):
    """A route whose endpoint takes the request alone and answers with a `HotAnswer`."""

    def __init__(self, path: str, endpoint: Callable[..., Any], **said: Any) -> None:
        super().__init__(path, endpoint, **said)
        self._answer: Callable[[Request], Awaitable[FastAnswer]] = endpoint
        self.app = self._call

    async def _call(self, scope: Scope, receive: Receive, send: Send) -> None:
        request = Request(scope, receive, send)
        try:
            status, body = await self._answer(request)
        except SchedulerError as error:
            await problem(error, request)(scope, receive, send)
            return
        except ClientDisconnect:
            return  # nobody is there to be answered
        headers = [(b"content-type", b"application/json"), (b"content-length", b"%d" % len(body))]
        await send({"type": "http.response.start", "status": status, "headers": headers})
        await send({"type": "http.response.body", "body": body})


async def body_of(request: Request) -> bytes:
    """The request's body. Raises ClientDisconnect when the sender goes away before its end."""
    message = await request.receive()
    if message["type"] == "http.request" and not message.get("more_body"):
        return bytes(message.get("body", b""))
    parts = []
    while message["type"] == "http.request":
        parts.append(message.get("body", b""))
        if not message.get("more_body"):
            return b"".join(parts)
        message = await request.receive()
    raise ClientDisconnect


def answering(loop: asyncio.AbstractEventLoop) -> Callable[[Sequence[tuple[Any, Outcome]]], None]:
    """What the writer tells its outcomes to: the loop is woken once for a group, not once for each request."""

    def settle(pairs: Sequence[tuple[asyncio.Future[Any], Outcome]]) -> None:
        for future, outcome in pairs:
            if future.done():
                continue
            if isinstance(outcome, Exception):
                future.set_exception(outcome)
            else:
                future.set_result(outcome)

    def tell(pairs: Sequence[tuple[Any, Outcome]]) -> None:
        with suppress(RuntimeError):  # the loop has ended, and with it whoever waited
            loop.call_soon_threadsafe(settle, pairs)

    return tell
