"""Methods of a path: HEAD wherever there is GET, OPTIONS everywhere, and the Allow of what is not possible."""

from collections.abc import Iterator

from starlette.responses import Response
from starlette.routing import compile_path
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.server.access import DOORS

_PATTERNS = [(compile_path(path)[0], method) for method, path in DOORS]
_FILES = "/static/"


def _there(path: str) -> Iterator[str]:
    if path.startswith(_FILES):
        yield "GET"
    yield from (method for pattern, method in _PATTERNS if pattern.match(path))


def allowed(path: str) -> list[str]:
    """The methods that a path takes, in order; none where nothing is there."""
    found = set(_there(path))
    if "GET" in found:
        found.add("HEAD")
    return sorted(found | {"OPTIONS"}) if found else []


class AnyMethod:
    """Answers OPTIONS with Allow, and HEAD as GET without the body. Everything else is passed on as it is."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Plain ASGI."""
        method = scope.get("method")
        if method not in ("HEAD", "OPTIONS") or not (methods := allowed(scope["path"])):
            await self.app(scope, receive, send)
        elif method == "OPTIONS":
            await Response(status_code=204, headers={"Allow": ", ".join(methods)})(scope, receive, send)
        elif "HEAD" not in methods or scope["path"].startswith(("/cal/", _FILES)):
            await self.app(scope, receive, send)
        else:
            await self._as_get(scope, receive, send)

    async def _as_get(self, scope: Scope, receive: Receive, send: Send) -> None:
        async def without_body(message: Message) -> None:
            if message["type"] == "http.response.body":
                message = {**message, "body": b""}
            await send(message)

        await self.app({**scope, "method": "GET"}, receive, without_body)
