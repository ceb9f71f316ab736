"""Signing in and out, day and night, and an error as a page: what stands before and around the pages."""

from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response
from starlette.concurrency import run_in_threadpool

from api.pages.shared import layout
from api.pages.shared.view import ErrorView, Frame, Link, SignInView
from api.server.deps import COOKIE, AskingDep, ContextDep, must_be_own_form
from api.server.page_answers import light_of, page
from scheduler.actions.people import people
from scheduler.errors import NotSignedIn, SchedulerError
from scheduler.parsing import own_path

router = APIRouter(include_in_schema=False)

_THEN, _THEN_S, _LONGEST_THEN = "then", 3600, 500
"""Cookie with the page that was asked for before signing in, and how long it is kept."""


@router.post("/light")
async def light(request: Request) -> Response:
    """Day or night on this device."""
    form = await request.form()
    shown = "night" if form.get("light") == "night" else "day"
    answer = RedirectResponse(own_path(str(form.get("here", "/")), "/"), 303)
    answer.set_cookie("light", shown, max_age=31_536_000, samesite="lax", path="/")
    return answer


@router.get("/sign-in")
def sign_in(request: Request) -> Response:
    """How to sign in."""
    return page(layout.signin_page(SignInView(frame=_outside("Sign in")), light=light_of(request), csrf=""))


@router.get("/enter/{token}")
def entrance(token: str, request: Request) -> Response:
    """Asks to confirm: a link preview that merely fetches the address spends nothing."""
    view = SignInView(frame=_outside("Sign in"), action=f"/enter/{quote(token)}", token=token)
    return page(layout.signin_page(view, light=light_of(request), csrf=""))


@router.post("/enter/{token}")
def enter(token: str, request: Request, context: ContextDep) -> Response:
    """Spend the link and sign in; on to the page that was asked for on this device, if any."""
    secret = people.enter(context, token)
    answer = RedirectResponse(own_path(request.cookies.get(_THEN, ""), "/"), 303)
    answer.delete_cookie(_THEN, path="/")
    answer.set_cookie(
        COOKIE,
        secret,
        max_age=context.settings.session_hours * 3600,
        httponly=True,
        samesite="lax",
        secure=not context.settings.insecure_cookie,
        path="/",
    )
    return answer


@router.post("/sign-out")
async def sign_out(request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Sign this browser out."""
    form = await request.form()
    must_be_own_form(who, form.get("csrf"))
    await run_in_threadpool(people.leave, context, request.cookies.get(COOKIE, ""))
    answer = RedirectResponse("/sign-in", 303)
    answer.delete_cookie(COOKIE, path="/")
    return answer


def _outside(title: str) -> Frame:
    return Frame(title=f"{title} · Leadline", here="/sign-in")


def error_answer(request: Request, error: SchedulerError, status: int) -> Response:
    """An error as a page; who is not signed in is shown how to."""
    shown = light_of(request)
    if isinstance(error, NotSignedIn):
        path = request.url.path
        says = error.says if path.startswith("/enter/") else ""
        is_page = path.startswith(("/vessels/", "/plants/")) and "." not in path.rpartition("/")[2]
        there = quote(path, safe="/:") + (f"?{request.url.query}" if request.url.query else "")
        wanted = request.method == "GET" and is_page and len(there) <= _LONGEST_THEN and there.isascii()
        entrance_view = SignInView(frame=_outside("Sign in"), says=says, wanted=wanted)
        answer = page(layout.signin_page(entrance_view, light=shown, csrf=""), status)
        if wanted:
            secure = request.url.scheme == "https"
            answer.set_cookie(_THEN, there, max_age=_THEN_S, httponly=True, samesite="lax", secure=secure, path="/")
        return answer
    view = ErrorView(
        frame=Frame(title="Not possible · Leadline", here="/"),
        status=status,
        says=error.says,
        faults=error.faults,
        ways=(Link(label="Back to the start", href="/"),),
        request_id=getattr(request.state, "request_id", ""),
    )
    return page(layout.error_page(view, light=shown, csrf=""), status)
