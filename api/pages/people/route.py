"""Signing in and out, day and night: what stands before the pages."""

from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response
from starlette.concurrency import run_in_threadpool

from api.pages.people.page import SignInView, signin_page
from api.pages.shared.answers import page_answer
from api.pages.shared.forms import form_of
from api.pages.shared.frame import Frame
from api.server.deps import COOKIE, AskingDep, ContextDep
from api.server.try_limiter import address_of, limiter_of
from scheduler.actions.people import people, sessions
from scheduler.errors import NotSignedIn
from scheduler.parsing import own_path

router = APIRouter(include_in_schema=False)

_THEN, _THEN_S, _LONGEST_THEN = "then", 3600, 500
"""Cookie with the page that was asked for before signing in, and how long it is kept."""


@router.post("/light")
async def choose_light(request: Request) -> Response:
    """Day or night on this device."""
    form = await request.form()
    light = "night" if form.get("light") == "night" else "day"
    answer = RedirectResponse(own_path(str(form.get("here", "/")), "/"), 303)
    answer.set_cookie("light", light, max_age=31_536_000, samesite="lax", path="/")
    return answer


@router.get("/sign-in")
def sign_in(request: Request) -> Response:
    """How to sign in."""
    return page_answer(request, None, signin_page, SignInView(frame=_outside("Sign in")))


@router.get("/enter/{token}")
def entrance(token: str, request: Request) -> Response:
    """Asks to confirm: a link preview that merely fetches the address spends nothing."""
    view = SignInView(frame=_outside("Sign in"), action=f"/enter/{quote(token)}", token=token)
    return page_answer(request, None, signin_page, view)


@router.post("/enter/{token}")
def enter(token: str, request: Request, context: ContextDep) -> Response:
    """Spend the link and sign in; on to the page that was asked for on this device, if any."""
    with limiter_of(request).secret_try(address_of(request)):
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
    await form_of(request, who)
    await run_in_threadpool(sessions.leave, context, request.cookies.get(COOKIE, ""))
    answer = RedirectResponse("/sign-in", 303)
    answer.delete_cookie(COOKIE, path="/")
    return answer


def _outside(title: str) -> Frame:
    return Frame(title=f"{title} · Leadline", here="/sign-in")


def sign_in_answer(request: Request, error: NotSignedIn, status: int) -> Response:
    """Who is not signed in is shown how to; a page of the ship that was asked for opens afterwards."""
    path = request.url.path
    is_page = path.startswith(("/vessels/", "/plants/")) and "." not in path.rpartition("/")[2]
    there = quote(path, safe="/:") + (f"?{request.url.query}" if request.url.query else "")
    opens_after = request.method == "GET" and is_page and len(there) <= _LONGEST_THEN and there.isascii()
    says = error.says if path.startswith("/enter/") else ""
    view = SignInView(frame=_outside("Sign in"), says=says, opens_after=opens_after)
    answer = page_answer(request, None, signin_page, view, status)
    if opens_after:
        secure = request.url.scheme == "https"
        answer.set_cookie(_THEN, there, max_age=_THEN_S, httponly=True, samesite="lax", secure=secure, path="/")
    return answer
