"""A small server on loopback whose answers can be spoilt, for what a gateway does when its server is unwell."""

import json
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

import uvicorn
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import JSONResponse, Response, StreamingResponse
from starlette.routing import Route


@dataclass
class Unwell:
    """A small server that keeps what it took, and whose next answers can be spoilt."""

    url: str = ""
    spoil: list[str] = field(default_factory=list)
    always: str = ""
    most_items: int = 1000
    stored: dict[tuple[str, str], int] = field(default_factory=dict)
    bodies: list[dict[str, Any]] = field(default_factory=list)
    headers: list[dict[str, str]] = field(default_factory=list)

    async def __call__(self, request: Request) -> Response:
        body = json.loads(await request.body())
        self.bodies.append(body)
        self.headers.append(dict(request.headers))
        how = self.spoil.pop(0) if self.spoil else self.always
        if how.isdigit():
            return JSONResponse(
                {"title": "Not now", "detail": "The engine room says no."}, int(how), {"Retry-After": "7"}
            )
        if "readings" not in body:
            return JSONResponse({}, 201)
        if len(body["readings"]) > self.most_items:
            return JSONResponse({"title": "Too large"}, 413)
        items = []
        for index, item in enumerate(body["readings"]):
            if how == "half" and index % 2:
                continue
            key = item["counter"], item["observed_at"]
            status = "duplicate" if key in self.stored else "stored"
            items.append({"index": index, "status": "conflict" if how == "conflict" else status})
            self.stored[key] = item["value"]
        if how == "cut":

            async def half_a_body() -> Any:
                yield b'{"items": ['

            return StreamingResponse(half_a_body(), 207, {"Content-Length": "5000"})
        if how == "garbled":
            return Response(b"<html>", 207)
        if how == "nothing":
            items = [{"index": 99, "status": "stored"}, {"index": "0"}, {"status": "stored"}]
        return JSONResponse({"items": items}, 207)

    def recover(self) -> None:
        """Forget everything, as if just started."""
        self.spoil, self.always, self.most_items = [], "", 1000
        self.stored, self.bodies, self.headers = {}, [], []


@contextmanager
def serving() -> Iterator[Unwell]:
    """The server, listening until the end of the block."""
    unwell = Unwell()

    async def endpoint(request: Request) -> Response:
        return await unwell(request)

    app = Starlette(routes=[Route("/{path:path}", endpoint, methods=["PUT", "POST"])])
    live = uvicorn.Server(uvicorn.Config(app, port=0, log_level="critical", lifespan="off", ws="none"))
    started = threading.Event()
    startup = live.startup

    async def startup_then_tell(sockets: Any = None) -> None:
        await startup(sockets)
        started.set()

    live.startup = startup_then_tell  # type: ignore[method-assign]
    thread = threading.Thread(target=live.run)
    thread.start()
    assert started.wait(10)
    unwell.url = f"http://127.0.0.1:{live.servers[0].sockets[0].getsockname()[1]}"
    yield unwell
    live.should_exit = True
    thread.join(10)
    assert not thread.is_alive()
