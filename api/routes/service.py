"""Health, the words behind problem types, and the API's own manual."""

import re
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response

from api.pages.shared import layout
from api.routes.shared.shapes import AnswerModel, Sentence
from api.server.deps import ContextDep
from api.server.errors import STATUS, slug
from scheduler.actions.care import health
from scheduler.errors import NotFound
from scheduler.version import VERSION

router = APIRouter(include_in_schema=False)


class AliveAnswer(AnswerModel):
    """The process answers. version: of the program."""

    status: str
    version: str


class HealthAnswer(AnswerModel):
    """Whether requests can be served, what was looked at, and what does not stop that."""

    ready: bool
    checks: dict[str, Any]
    remarks: list[Sentence]


class ProblemMeaning(AnswerModel):
    """What a problem type means."""

    type: str
    title: Sentence
    status: int
    meaning: Sentence


@router.get("/livez")
def livez() -> AliveAnswer:
    """The process answers."""
    return AliveAnswer(status="up", version=VERSION)


@router.get("/readyz")
def readyz(request: Request, response: Response, context: ContextDep) -> HealthAnswer:
    """The database answers, the writer runs, the timers do; 503 with the reason when not."""
    state = request.app.state
    found = health.health(context, intake=state.intake.state(), timers=state.timers.trouble() if state.timers else [])
    response.status_code = 200 if found.ready else 503
    return HealthAnswer.model_validate(found.body())


@router.get("/problems/{name}")
def problem_words(name: str) -> ProblemMeaning:
    """What a problem type means."""
    for kind, (status, title) in STATUS.items():
        if slug(kind) == name:
            doc = re.sub(r"\s+", " ", (kind.__doc__ or "").split("\n\n")[0]).strip()
            return ProblemMeaning(type=f"/problems/{name}", title=title, status=status, meaning=doc)
    raise NotFound(f"There is no problem type {name[:60]!r}. Known: {', '.join(slug(kind) for kind in STATUS)}.")


@router.get("/openapi.json")
def openapi(request: Request) -> JSONResponse:
    """The OpenAPI document."""
    return JSONResponse(request.app.openapi())


@router.get("/docs")
def docs() -> Response:
    """The API's manual, from this server alone."""
    return HTMLResponse(layout.docs_page(), headers={"Content-Security-Policy": layout.DOCS_CSP})
