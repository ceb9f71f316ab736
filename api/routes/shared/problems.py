"""What a door answers when it cannot do what was asked: problem details (RFC 9457), the same form everywhere."""

from collections.abc import Callable, Mapping
from typing import Any

from fastapi.routing import APIRoute
from pydantic import BaseModel, ConfigDict, Field

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


def problems(*statuses: int) -> dict[int | str, dict[str, Any]]:
    """The statuses as FastAPI's `responses` names them."""
    return {status: {"description": _TITLES[status], "content": _SCHEMA} for status in sorted(statuses)}


def usual_problems(method: str, path: str) -> dict[int | str, dict[str, Any]]:
    """What can come at that door whatever it does; what it alone answers is declared at the route."""
    found = {422, 500, 503}
    if not isinstance(DOORS.get((method, path)), NoRole):
        found |= {401, 403, 429}
    if "{" in path:
        found.add(404)
    if method != "GET":
        found |= {400, 404, 409, 413, 428, 507}
    return problems(*found)


class JsonRoute(APIRoute):
    """A route that declares its problems, and leaves out what the answer leaves out."""

    def __init__(self, path: str, endpoint: Callable[..., Any], **more: Any) -> None:
        method = next(iter(more.get("methods") or ("GET",)))
        declared: Mapping[int | str, dict[str, Any]] = more.pop("responses", None) or {}
        more["response_model_exclude_unset"] = True
        super().__init__(path, endpoint, responses={**usual_problems(method, path), **declared}, **more)
