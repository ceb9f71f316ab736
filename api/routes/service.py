"""Health, the words behind problem types, and the API's own manual."""

import re
from typing import Any, cast

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response

from api.pages.shared import layout
from api.server.deps import ContextDep
from api.server.errors import STATUS, slug
from scheduler.actions.care import health
from scheduler.errors import NotFound
from scheduler.version import VERSION

router = APIRouter(include_in_schema=False)


@router.get("/livez")
def livez() -> dict[str, str]:
    """The process answers."""
    return {"status": "up", "version": VERSION}


@router.get("/readyz")
def readyz(request: Request, context: ContextDep) -> Response:
    """The database answers, the writer runs, the timers do; 503 with the reason when not."""
    state = request.app.state
    found = health.health(context, intake=state.intake.state(), timers=state.timers.trouble() if state.timers else [])
    return JSONResponse(found.body(), status_code=200 if found.ready else 503)


@router.get("/problems/{name}")
def problem_words(name: str) -> dict[str, Any]:
    """What a problem type means."""
    for kind, (status, title) in STATUS.items():
        if slug(kind) == name:
            doc = re.sub(r"\s+", " ", (kind.__doc__ or "").split("\n\n")[0]).strip()
            return {"type": f"/problems/{name}", "title": title, "status": status, "meaning": doc}
    raise NotFound(f"There is no problem type {name[:60]!r}. Known: {', '.join(slug(kind) for kind in STATUS)}.")


@router.get("/openapi.json")
def openapi(request: Request) -> dict[str, Any]:
    """The OpenAPI document."""
    return cast(dict[str, Any], request.app.openapi())


@router.get("/docs")
def docs() -> Response:
    """The API's manual, from this server alone."""
    return HTMLResponse(layout.docs_page(), headers={"Content-Security-Policy": layout.DOCS_CSP})
