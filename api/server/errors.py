"""Problem details (RFC 9457) for every error: one table of statuses, one form."""

import logging
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from typing import Any, cast

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, Response
from pydantic import ValidationError
from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.server.logs import clean
from api.server.methods import allowed
from scheduler import errors
from scheduler.language import gettext as _
from scheduler.wording.faults import shape_words

log = logging.getLogger("leadline")

STATUS: Mapping[type[errors.SchedulerError], tuple[int, str]] = {
    errors.SchedulerError: (500, "Something went wrong here"),
    errors.BadRequest: (400, "The request cannot be read"),
    errors.NotSignedIn: (401, "Sign in or send a key"),
    errors.NotAllowed: (403, "Not allowed for this role"),
    errors.NotFound: (404, "Not found"),
    errors.Clash: (409, "The state of things forbids it"),
    errors.Gone: (410, "No longer here"),
    errors.Stale: (412, "Changed meanwhile"),
    errors.TooLarge: (413, "Too large"),
    errors.Refused: (422, "It cannot be taken as it stands"),
    errors.MissingCondition: (428, "A condition is missing"),
    errors.TooMany: (429, "Too many tries"),
    errors.Busy: (503, "Try again shortly"),
    errors.StorageFull: (507, "Nothing can be stored now"),
}
PROBLEM = "application/problem+json"
_FAILED = (
    "Something in Leadline failed, and what you sent may not have been stored: look before you send it again. If it stays, give the "
    "request id to whoever keeps the server."
)
ErrorPage = Callable[[Request, errors.SchedulerError, int], Response]
"""Draws an error for a person; the app hands it in."""


def slug(kind: type[errors.SchedulerError]) -> str:
    """Last part of the problem type's address, e.g. `missing-condition`."""
    return "".join(f"-{c.lower()}" if c.isupper() else c for c in kind.__name__).lstrip("-")


def problem(error: errors.SchedulerError, request: Request | None = None) -> JSONResponse:
    """The problem document of one of our errors."""
    status, title = STATUS[type(error)]
    body: dict[str, Any] = {
        "type": f"/problems/{slug(type(error))}",
        "title": title,
        "status": status,
        "detail": error.says,
    }
    if request is not None:
        body["request_id"] = getattr(request.state, "request_id", "")
        if request.url.path.startswith("/api/"):  # elsewhere an address may be a secret
            body["instance"] = request.url.path
    if error.faults:
        body["errors"] = [{"pointer": pointer, "detail": says} for pointer, says in error.faults]
    body.update({k: v for k, v in error.more.items() if k not in body})
    headers = {}
    if status == 401:
        headers["WWW-Authenticate"] = 'Bearer realm="leadline"'
    if "retry_after" in error.more:
        headers["Retry-After"] = str(error.more["retry_after"])
    return JSONResponse(body, status_code=status, media_type=PROBLEM, headers=headers)


def refused_from(error: ValidationError | RequestValidationError, drop: int = 0, body: object = None) -> errors.Refused:
    """Our own 422 from pydantic's findings: JSON Pointers and plain sentences.

    Args:
        drop: leading path parts to leave out. body: what was sent, so that the pointers point into it.
    """
    faults = [(_pointer(found["loc"][drop:], body), shape_words(found)) for found in error.errors()]
    many = _("{count} things are wrong; the first: ", count=len(faults)) if len(faults) > 1 else ""
    first = faults[0] if faults else ("/", "unknown fault")
    return errors.Refused(
        _(
            "{many}{first}: {first_2} Put it right and send the whole again.",
            many=many,
            first=first[0],
            first_2=first[1],
        ),
        faults=faults,
    )


def _pointer(path: Sequence[str | int], body: object) -> str:
    """RFC 6901. The tag of a union stands in pydantic's path but not in what was sent, so it is left out."""
    parts, here = [], body
    for place, part in enumerate(path):
        if isinstance(here, dict) and part not in here and place < len(path) - 1:
            continue
        parts.append(str(part).replace("~", "~0").replace("/", "~1"))
        if isinstance(here, dict):
            here = here.get(part)
        else:
            here = here[part] if isinstance(here, list) and isinstance(part, int) and part < len(here) else None
    return "/" + "/".join(parts)


def install(app: FastAPI) -> None:
    """Make every error of `app` a problem document, or a page where a person asked for one."""

    @app.exception_handler(errors.SchedulerError)
    async def ours(request: Request, error: errors.SchedulerError) -> Response:
        return await problem_shown(request, error)

    @app.exception_handler(RequestValidationError)
    async def shape(request: Request, error: RequestValidationError) -> Response:
        if any(found["type"] == "json_invalid" for found in error.errors()):
            return await problem_shown(
                request, errors.BadRequest("The body is not JSON. Send application/json in UTF-8.")
            )
        sent_as = request.headers.get("content-type", "")
        if any(found["loc"] == ("body",) for found in error.errors()) and "json" not in sent_as:
            came = f"it came as {sent_as:.60}" if sent_as else "none came"
            return await problem_shown(
                request, errors.BadRequest(f"A body in application/json, UTF-8, is needed; {came}.")
            )
        return await problem_shown(request, refused_from(error, drop=1, body=error.body))

    @app.exception_handler(HTTPException)
    async def foreign(request: Request, error: HTTPException) -> Response:
        if error.status_code == 404:
            return await problem_shown(
                request, errors.NotFound(f"There is nothing at {clean(request.url.path)}. See /docs for the doors.")
            )
        method = error.status_code == 405
        headers = dict(error.headers or {}) | ({"Allow": ", ".join(allowed(request.url.path))} if method else {})
        if wants_page(request):
            says = _("This address does not take {method}.", method=request.method) if method else f"{error.detail}."
            return _page(request, errors.SchedulerError(says), error.status_code, headers)
        body = {
            "type": "about:blank",
            "title": str(error.detail),
            "status": error.status_code,
            "detail": f"{request.method} is not possible at {clean(request.url.path)}. See /docs for what is."
            if method
            else f"{error.detail}. See /docs for what is expected here.",
            "request_id": getattr(request.state, "request_id", ""),
        }
        return JSONResponse(body, error.status_code, media_type=PROBLEM, headers=headers)

    app.add_middleware(Unforeseen)


class Unforeseen:
    """Answers a fault of the program. A layer of its own, inside the guard: a handler's answer would go around it."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        started = False

        async def noted(message: Message) -> None:
            nonlocal started
            started = True
            await send(message)

        try:
            await self.app(scope, receive, noted)
        except Exception as error:
            if started:
                raise
            request_id = scope.get("state", {}).get("request_id", "")
            where = clean(f"{scope['method']} {scope['path']}")
            log.error("unforeseen %s at %s, request %s", type(error).__name__, where, request_id, exc_info=error)
            request = Request(scope)
            if wants_page(request):
                with suppress(Exception):  # what failed may be what draws pages
                    await _page(request, errors.SchedulerError(_FAILED), 500)(scope, receive, send)
                    return
            body = {
                "type": "about:blank",
                "title": "Something went wrong here",
                "status": 500,
                "detail": _FAILED,
                "request_id": request_id,
            }
            await JSONResponse(body, 500, media_type=PROBLEM)(scope, receive, send)


def wants_page(request: Request) -> bool:
    """Whether a person looks at the answer: a browser at an address of the pages."""
    return "text/html" in request.headers.get("accept", "") and not request.url.path.startswith(("/api/", "/cal/"))


def _page(
    request: Request, error: errors.SchedulerError, status: int, headers: Mapping[str, str] | None = None
) -> Response:
    answer = cast(ErrorPage, request.app.state.error_page)(request, error, status)
    answer.headers.update(headers or {})
    return answer


async def problem_shown(request: Request, error: errors.SchedulerError) -> Response:
    """A page for a browser, a problem document for everything else."""
    if not wants_page(request):
        return problem(error, request)
    later = {"Retry-After": str(error.more["retry_after"])} if "retry_after" in error.more else None
    return _page(request, error, STATUS[type(error)][0], later)
