"""Health, the words behind problem types, and the API's own manual."""

import re
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response

from api.pages.shared import layout
from api.routes.shared.shapes import AnswerModel, Sentence
from api.server.access import READ
from api.server.deps import AskingDep, ContextDep, must_be_known
from api.server.errors import STATUS, slug
from api.server.metrics import ServerCollector, metrics_registry, metrics_text
from scheduler.actions.base.context import Context
from scheduler.actions.care import health
from scheduler.errors import NotFound
from scheduler.version import VERSION
from scheduler.wording.care import DATABASE_AWAY, diagnosis_words, failed_words

router = APIRouter(include_in_schema=False)


class AliveAnswer(AnswerModel):
    """The process answers. version: of the program."""

    status: str
    version: str


class HealthAnswer(AnswerModel):
    """Whether requests can be served; what failed and does not stop that, in words; with `verbose` what was looked at, and names."""

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
def readyz(request: Request, response: Response, context: ContextDep, verbose: str | None = None) -> HealthAnswer:
    """The database answers, the writer runs, the timers do; 503 with the reason when not. ?verbose needs a key, and names things."""
    if verbose is not None:
        must_be_known(request, context, READ)
    found = _health(request, context)
    response.status_code = 200 if found.ready else 503
    if verbose is None:
        away = [] if found.ready else [DATABASE_AWAY]
        return HealthAnswer(ready=found.ready, checks={}, remarks=[*away, *failed_words(found.failed)])
    remarks = [" ".join(diagnosis_words(one)) for one in found.failed]
    return HealthAnswer(
        ready=found.ready, checks=found.checks, remarks=[found.trouble, *remarks] if found.trouble else remarks
    )


@router.get("/metrics")
def metrics(request: Request, context: ContextDep, _: AskingDep) -> Response:
    """Figures of this server in the Prometheus text format; no label names a ship, a person or a secret."""
    state = request.app.state
    timers = state.timers.state if state.timers else list
    collector = ServerCollector(state.requests, lambda: _health(request, context), state.intake.state, timers)
    body, form = metrics_text(metrics_registry(collector), request.headers.get("accept", ""))
    return Response(body, media_type=form)


def _health(request: Request, context: Context) -> health.Found:
    state = request.app.state
    return health.health(context, intake=state.intake.state(), timers=state.timers.trouble() if state.timers else {})


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
