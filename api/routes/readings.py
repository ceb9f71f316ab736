"""The hot door: a batch of cumulative readings."""

import asyncio
from collections.abc import Mapping
from time import monotonic
from typing import Any, cast

from fastapi import APIRouter, Request
from pydantic_core import from_json
from starlette.concurrency import run_in_threadpool

from api.routes.answers.hours import ReadingsAnswer
from api.routes.shared.describing import security_of
from api.routes.shared.problems import problems
from api.server.access import DOORS
from api.server.deps import context_of
from api.server.fast_route import FastAnswer, FastRoute, answering, body_of
from api.server.try_limiter import address_of, limiter_of
from scheduler.actions.base.actor import Actor
from scheduler.actions.hours.readings import Batch, KnownCounters, ReadingDoor, vessel_of
from scheduler.actions.people import people
from scheduler.errors import BadRequest, NotSignedIn
from scheduler.storage.hours.intake import IntakeAnswer, Tell

router = APIRouter(route_class=FastRoute)
_KEY_GOOD_SECONDS = 2.0
BODIES: Mapping[str, Mapping[str, Any]] = {
    "ReadingBody": {
        "type": "object",
        "required": ["counter", "observed_at", "value"],
        "properties": {
            "counter": {"type": "string"},
            "observed_at": {"type": "string", "format": "date-time"},
            "value": {"type": "number", "minimum": 0, "description": "The counter's own cumulative value."},
        },
    },
    "ReadingsBody": {
        "type": "object",
        "required": ["readings"],
        "properties": {
            "sent_at": {"type": "string", "format": "date-time", "description": "The sender's clock when sending."},
            "readings": {"type": "array", "maxItems": 1000, "items": {"$ref": "#/components/schemas/ReadingBody"}},
        },
    },
}
"""What is posted, as schemas: no model reads it, for speed."""


class KeyRing:
    """Counter keys known to be good a moment ago, so that a busy sender is not looked up at every post."""

    def __init__(self) -> None:
        self._good: dict[bytes, tuple[float, Actor]] = {}

    def get(self, header: bytes) -> Actor | None:
        """The actor of this header if it was good within two seconds."""
        held = self._good.get(header)
        return held[1] if held and monotonic() - held[0] < _KEY_GOOD_SECONDS else None

    def put(self, header: bytes, actor: Actor) -> None:
        """Remember a good key for a moment."""
        if len(self._good) > 500:
            self._good.clear()
        self._good[header] = monotonic(), actor


class Counters:
    """The readings' door of an app, and the desk at which its requests wait for the writer."""

    def __init__(self, door: ReadingDoor) -> None:
        self.door = door
        self.keys = KeyRing()
        self._desk: tuple[asyncio.AbstractEventLoop, Tell] | None = None

    async def sorted_out(self, actor: Actor, body: object) -> Batch:
        """The batch sorted out, by what is known of the vessel's counters or, where that is old or too little, anew."""
        vessel_id = vessel_of(actor)
        batch = self.door.sort_out(self.door.known(vessel_id) or await self._looked(vessel_id), body)
        return self.door.sort_out(await self._looked(vessel_id), body) if batch.unsure else batch

    async def _looked(self, vessel_id: str) -> KnownCounters:
        return self.door.remember(await run_in_threadpool(self.door.look, vessel_id))

    def handed_in(self, batch: Batch) -> asyncio.Future[IntakeAnswer]:
        """Hands the batch to the writer; what became of it is there once it is committed."""
        loop = asyncio.get_running_loop()
        if self._desk is None or self._desk[0] is not loop:
            self._desk = loop, answering(loop)
        future: asyncio.Future[IntakeAnswer] = loop.create_future()
        self.door.hand_in(batch, future, self._desk[1])
        return future


async def _actor(request: Request, counters: Counters, header: bytes | None) -> Actor:
    if header is None or not header[:7].lower() == b"bearer ":
        raise NotSignedIn("Readings need the vessel's counter key: send `Authorization: Bearer ll_...`.")
    actor = counters.keys.get(header)
    if actor is None:
        key = header[7:].decode("latin-1").strip()
        with limiter_of(request).secret_try(address_of(request)):
            actor = await run_in_threadpool(people.who_holds, context_of(request), key)
        actor.must_be(cast(Any, DOORS["POST", "/api/v1/readings"]), "post readings")
        counters.keys.put(header, actor)
    return actor


@router.post(
    "/api/v1/readings",
    status_code=207,
    response_model=ReadingsAnswer,
    responses=problems(400, 401, 403, 413, 422, 429, 500, 503, 507),
    tags=["readings"],
    summary="Post a batch of cumulative readings",
    operation_id="post_readings",
    openapi_extra={
        "security": security_of("POST", "/api/v1/readings"),
        "requestBody": {
            "required": True,
            "content": {
                "application/json": {
                    "schema": {"$ref": "#/components/schemas/ReadingsBody"},
                    "example": {
                        "readings": [
                            {"counter": "plover-vp1-hours", "observed_at": "2026-11-25T07:00:00Z", "value": 12006}
                        ]
                    },
                }
            },
        },
    },
)
async def post_readings(request: Request) -> FastAnswer:
    """Each item is stored, duplicate, conflict or refused; one bad item never stops the others. Answered after the commit."""
    counters = cast(Counters, request.app.state.counters)
    told = dict(request.scope["headers"])
    actor = await _actor(request, counters, told.get(b"authorization"))
    kind = told.get(b"content-type", b"")
    if kind != b"application/json" and kind.split(b";")[0].strip().lower() != b"application/json":
        raise BadRequest("The body must be application/json in UTF-8.")
    raw = await body_of(request)
    try:
        body = from_json(raw, allow_inf_nan=True)
    except ValueError as error:
        raise BadRequest(f"The body is not JSON ({error}). Send application/json in UTF-8.") from error
    batch = await counters.sorted_out(actor, body)
    waiting = counters.handed_in(batch)
    foreseen = counters.door.foresee(batch)
    return 207, counters.door.answered(batch, await waiting, foreseen)
