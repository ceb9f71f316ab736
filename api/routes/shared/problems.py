"""What a door answers when it cannot do what was asked: problem details (RFC 9457), the same form everywhere."""

from collections.abc import Callable, Coroutine, Mapping
from hashlib import sha256
from typing import Any

from fastapi import Request
from fastapi.responses import FileResponse, Response, StreamingResponse
from fastapi.routing import APIRoute
from pydantic import BaseModel, ConfigDict, Field

from api.routes.shared.describing import (
    ETAG,
    LINK,
    Conditions,
    InPages,
    StateTag,
    header_parameters,
    mark_of,
    security_of,
)
from api.routes.shared.shapes import Sentence
from api.server.access import DOORS, NoRole
from api.server.errors import PROBLEM, STATUS


class FaultShown(BaseModel):
    """One part of the input that is wrong."""

    pointer: str = Field(description="RFC 6901, into what was sent", examples=["/readings/0/value"])
    detail: Sentence


class ProblemDocument(BaseModel):
    """A problem document (RFC 9457). Some have members of their own, such as the times that hold."""

    model_config = ConfigDict(extra="allow")

    type: str = Field(description="address of what this kind of problem means", examples=["/problems/not-found"])
    title: Sentence
    status: int = Field(description="the HTTP status", examples=[404])
    detail: Sentence
    request_id: str = Field(default="", description="for whoever keeps the server")
    instance: str = Field(default="", description="the path that was asked for")
    errors: list[FaultShown] = Field(default=[], description="every part of the input that is wrong")


_TITLES = dict(STATUS.values())
_SCHEMA = {PROBLEM: {"schema": {"$ref": "#/components/schemas/ProblemDocument"}}}
_LATER = {
    "Retry-After": {"description": "seconds after which to try again", "schema": {"type": "integer", "minimum": 0}}
}


def problems(*statuses: int) -> dict[int | str, dict[str, Any]]:
    """The statuses as FastAPI's `responses` names them."""
    found: dict[int | str, dict[str, Any]] = {}
    for status in sorted(statuses):
        found[status] = {"description": _TITLES[status], "content": _SCHEMA}
        if status in (429, 503):
            found[status]["headers"] = _LATER
    return found


def usual_problems(method: str, path: str, conditions: Conditions | None = None) -> dict[int | str, dict[str, Any]]:
    """What can come at that door whatever it does; what it alone answers is declared at the route."""
    found = {422, 500, 503}
    roles = DOORS.get((method, path))
    if roles is not NoRole.OPEN:
        found.add(429)
    if not isinstance(roles, NoRole):
        found |= {401, 403}
    if "{" in path:
        found.add(404)
    if method != "GET":
        found |= {400, 404, 409, 413, 428, 507}
    if conditions is not None and conditions.if_match != "none":
        found.add(412)
    return problems(*found)


class JsonRoute(APIRoute):
    """A route that declares its problems and conditions, and leaves out what the answer leaves out."""

    def __init__(self, path: str, endpoint: Callable[..., Any], **more: Any) -> None:
        method = next(iter(more.get("methods") or ("GET",)))
        declared: Mapping[int | str, dict[str, Any]] = more.pop("responses", None) or {}
        conditions = mark_of(endpoint, Conditions)
        self.tagged = method == "GET" and path.startswith("/api/") and mark_of(endpoint, StateTag) is None
        self.tagged &= not _streams(more.get("response_class"))
        more["response_model_exclude_unset"] = True
        more["operation_id"] = endpoint.__name__  # what a generated client calls it
        more["openapi_extra"] = {
            "security": security_of(method, path),
            "parameters": header_parameters(conditions, tagged=self.tagged),
            **(more.pop("openapi_extra", None) or {}),
        }
        answers = {**usual_problems(method, path, conditions), **(UNCHANGED if self.tagged else {}), **declared}
        headers = {**(ETAG if self.tagged else {}), **(LINK if mark_of(endpoint, InPages) else {})}
        if headers:
            answers[200] = {**answers.get(200, {}), "headers": headers}
        super().__init__(path, endpoint, responses=answers, **more)

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        """The framework's, with the ETag of what is answered, and 304 where the asker has that already."""
        answer = super().get_route_handler()
        if not self.tagged:
            return answer

        async def tagged(request: Request) -> Response:
            response = await answer(request)
            if response.status_code != 200:
                return response
            tag = response.headers.setdefault("ETag", f'"{sha256(response.body).hexdigest()[:32]}"')
            response.headers.setdefault("Cache-Control", "private, no-cache")
            asked = request.headers.get("if-none-match", "")
            if asked.strip() != "*" and tag not in {one.strip().removeprefix("W/") for one in asked.split(",")}:
                return response
            kept = {name: response.headers[name] for name in ("ETag", "Cache-Control")}
            return Response(status_code=304, headers=kept)

        return tagged


UNCHANGED: Mapping[int | str, dict[str, Any]] = {
    304: {"description": "As it was: the ETag is among those of If-None-Match."}
}


def _streams(response_class: object) -> bool:
    return isinstance(response_class, type) and issubclass(response_class, StreamingResponse | FileResponse)
