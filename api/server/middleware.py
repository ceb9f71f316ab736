"""The outermost layer: request id, body limit, security headers. Plain ASGI, so that the hot door stays fast."""

import logging
import secrets
from collections.abc import Mapping
from itertools import count

from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.server.errors import problem_shown
from scheduler.errors import Refused, TooLarge
from scheduler.language import in_language, language_asked
from scheduler.settings import Settings

HEADERS: Mapping[str, str] = {
    "Content-Security-Policy": "default-src 'self'; frame-ancestors 'none'; base-uri 'none'; form-action 'self'",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
    "Cross-Origin-Opener-Policy": "same-origin",
}


RAW = [(name.lower().encode(), value.encode()) for name, value in HEADERS.items()]
"""HEADERS as ASGI sends them."""
_PROCESS, _NUMBERS = secrets.token_hex(4), count(1)
"""A request id is the process and a number: a random one for each would cost a system call and Python's lock."""

log = logging.getLogger("leadline.requests")


def new_request_id() -> str:
    """The next request's id."""
    return f"{_PROCESS}{next(_NUMBERS):08x}"


class Guard:
    """Wraps the application. A body over the limit is answered 413, by Content-Length or by counting what arrives.

    short: doors, by method and path, that are called at once instead of through the application's layers.
    """

    def __init__(self, app: ASGIApp, settings: Settings, short: Mapping[tuple[str, str], ASGIApp]) -> None:
        self.app = app
        self.settings = settings
        self.short = short

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        request_id = new_request_id()
        scope.setdefault("state", {})["request_id"] = request_id
        hot = scope["path"] == "/api/v1/readings"
        limit = self.settings.reading_body_limit_bytes if hot else self.settings.body_limit_bytes
        started = False

        async def dressed(message: Message) -> None:
            nonlocal started
            if message["type"] == "http.response.start":
                started = True
                headers = message.setdefault("headers", [])
                there = {name for name, _ in headers}
                headers.extend(pair for pair in RAW if pair[0] not in there)
                headers.append((b"x-request-id", request_id.encode()))
                if not (hot and message["status"] == 207):  # taken as wished, hundreds a second at a busy hour
                    log.info("%s %s %d, request %s", scope["method"], scope["path"], message["status"], request_id)
            await send(message)

        async def refuse() -> None:
            says = f"The body is over {limit} bytes. Send it in smaller parts (a batch of readings: at most 1000)."
            answer = await problem_shown(Request(scope), TooLarge(says, more={"limit_bytes": limit}))
            answer.headers["Connection"] = "close"
            await answer(scope, receive, dressed)

        if "\x00" in scope["path"] or b"%00" in scope["query_string"]:
            says = "The address holds a NUL character (%00). Take it out."
            answer = await problem_shown(Request(scope), Refused(says))
            await answer(scope, receive, dressed)
            return
        length = next((v for k, v in scope["headers"] if k == b"content-length"), None)
        if length is not None and length.isdigit() and int(length) > limit:
            await refuse()
            return
        seen = 0

        async def counted() -> Message:
            nonlocal seen
            message = await receive()
            if message["type"] == "http.request":
                seen += len(message.get("body", b""))
                if seen > limit:
                    raise _Over
            return message

        body = counted if length is None else receive
        try:
            inner = self.short.get((scope["method"], scope["path"]))
            if inner is not None or scope["path"].startswith(("/api/", "/cal/", "/static/")):
                await (inner or self.app)(scope, body, dressed)
            else:
                asked = next((v for k, v in scope["headers"] if k == b"accept-language"), b"")
                with in_language(language_asked(asked.decode("latin-1"))):  # until it is known who asks
                    await self.app(scope, body, dressed)
        except _Over:
            if not started:
                await refuse()


class _Over(BaseException):
    """The chunked body passed the limit. No Exception, so that no layer between makes an answer of its own of it."""
