"""The hot door: a batch of cumulative readings."""

import asyncio
import threading
from time import monotonic
from typing import Any, cast

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse
from pydantic_core import from_json
from starlette.concurrency import run_in_threadpool

from api.deps import house_of
from api.doors import DOORS
from scheduler.actions import people
from scheduler.actions.actor import Actor
from scheduler.actions.readings import ReadingDoor
from scheduler.errors import BadRequest, NotSignedIn

router = APIRouter()
_KEY_GOOD_SECONDS = 2.0
_BODY = {
    "type": "object",
    "required": ["readings"],
    "properties": {
        "sent_at": {"type": "string", "format": "date-time", "description": "The sender's clock when sending."},
        "readings": {
            "type": "array",
            "maxItems": 1000,
            "items": {
                "type": "object",
                "required": ["counter", "observed_at", "value"],
                "properties": {
                    "counter": {"type": "string"},
                    "observed_at": {"type": "string", "format": "date-time"},
                    "value": {"type": "number", "minimum": 0, "description": "The counter's own cumulative value."},
                },
            },
        },
    },
}


class KeyRing:
    """Counter keys known to be good a moment ago, so that a busy sender is not looked up at every post."""

    def __init__(self) -> None:
        self._good: dict[str, tuple[float, Actor]] = {}
        self._lock = threading.Lock()

    def get(self, header: str) -> Actor | None:
        """The actor of this header if it was good within two seconds."""
        held = self._good.get(header)
        return held[1] if held and monotonic() - held[0] < _KEY_GOOD_SECONDS else None

    def put(self, header: str, actor: Actor) -> None:
        """Remember a good key for a moment."""
        with self._lock:
            if len(self._good) > 500:
                self._good.clear()
            self._good[header] = monotonic(), actor


async def _actor(request: Request) -> Actor:
    header = request.headers.get("authorization")
    if header is None or not header.lower().startswith("bearer "):
        raise NotSignedIn("Readings need the vessel's counter key: send `Authorization: Bearer ll_...`.")
    ring = cast(KeyRing, request.app.state.key_ring)
    actor = ring.get(header)
    if actor is None:
        actor = await run_in_threadpool(people.who_holds, house_of(request), header[7:].strip())
        actor.must_be(cast(Any, DOORS["POST", "/api/v1/readings"]), "post readings")
        ring.put(header, actor)
    return actor


@router.post(
    "/api/v1/readings",
    status_code=207,
    tags=["readings"],
    summary="Post a batch of cumulative readings",
    openapi_extra={
        "requestBody": {
            "required": True,
            "content": {
                "application/json": {
                    "schema": _BODY,
                    "example": {
                        "readings": [
                            {"counter": "plover-vp1-hours", "observed_at": "2026-11-25T07:00:00Z", "value": 12006}
                        ]
                    },
                }
            },
        }
    },
)
async def post_readings(request: Request) -> JSONResponse:
    """Each item is stored, duplicate, conflict or refused; one bad item never stops the others. Answered after the commit."""
    actor = await _actor(request)
    kind = request.headers.get("content-type", "").split(";")[0].strip().lower()
    if kind != "application/json":
        raise BadRequest("The body must be application/json in UTF-8.")
    raw = await request.body()
    try:
        body = from_json(raw, allow_inf_nan=True)
    except ValueError as error:
        raise BadRequest(f"The body is not JSON ({error}). Send application/json in UTF-8.") from error
    door = cast(ReadingDoor, request.app.state.reading_door)
    if isinstance(body, dict) and isinstance(body.get("readings"), list) and len(body["readings"]) > 20:
        batch = await run_in_threadpool(door.sort_out, actor, body)
        answer = await asyncio.wrap_future(door.submit(actor, batch))
        return JSONResponse(await run_in_threadpool(door.answered, actor, batch, answer), status_code=207)
    batch = door.sort_out(actor, body)
    answer = await asyncio.wrap_future(door.submit(actor, batch))
    return JSONResponse(door.answered(actor, batch, answer), status_code=207)
