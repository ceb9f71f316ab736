"""Signing in and out, day and night: what stands before the pages."""

from typing import Any, cast
from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response
from starlette.concurrency import run_in_threadpool

from api.pages.people.page import SignInView, signin_page
from api.pages.people.wrong_pins import WrongPins
from api.pages.shared.answers import page_answer
from api.pages.shared.forms import form_of
from api.pages.shared.frame import Frame
from api.server.deps import (
    COMPUTER,
    COOKIE,
    AskingDep,
    ContextDep,
    browser_of,
    context_of,
    must_be_own_origin,
    sign_in_cookies,
)
from api.server.errors import STATUS
from api.server.try_limiter import address_of, limiter_of
from scheduler.actions.base.context import Context
from scheduler.actions.people import computers, people, sessions, signing_in
from scheduler.actions.people.sessions import Browser
from scheduler.errors import NotSignedIn, TooMany
from scheduler.language import gettext as _
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
def sign_in(request: Request, context: ContextDep) -> Response:
    """How to sign in: by name and passphrase, by a link, on a shared computer by PIN. Who is signed in stays so until another is."""
    return _sign_in_page(request, context)


@router.post("/sign-in")
async def sign_in_by_passphrase(request: Request, context: ContextDep) -> Response:
    """Sign in by name and passphrase."""
    must_be_own_origin(request, context)
    form = await request.form()
    name, passphrase = str(form.get("name", "")), str(form.get("passphrase", ""))

    def act() -> Response:
        browser = browser_of(request)
        try:
            with limiter_of(request).passphrase_try(address_of(request), name):
                secret = signing_in.sign_in(context, name, passphrase, browser)
        except (NotSignedIn, TooMany) as error:
            return _sign_in_page(request, context, STATUS[type(error)][0], says=error.says, name=name)
        return _entered(request, context, secret, browser)

    return await run_in_threadpool(act)


@router.post("/sign-in/pin")
async def sign_in_by_pin(request: Request, context: ContextDep) -> Response:
    """On a shared computer: change to somebody by name and PIN."""
    must_be_own_origin(request, context)
    form = await request.form()
    person, pin = str(form.get("person", "")), str(form.get("pin", ""))
    computer, wrong = request.cookies.get(COMPUTER, ""), cast(WrongPins, request.app.state.wrong_pins)

    def act() -> Response:
        browser = browser_of(request)
        try:
            with limiter_of(request).passphrase_try(address_of(request), f"PIN {person}"):
                secret = signing_in.sign_in_by_pin(context, computer, person, pin, browser)
        except (NotSignedIn, TooMany) as error:
            if isinstance(error, NotSignedIn) and wrong.one_more(person):
                signing_in.drop_pin(context, computer, person)
            return _sign_in_page(request, context, STATUS[type(error)][0], pin_says=error.says, picked=person)
        wrong.right(person)
        return _entered(request, context, secret, browser)

    return await run_in_threadpool(act)


@router.get("/enter/{token}")
def entrance(token: str, request: Request) -> Response:
    """Asks to confirm: a link preview that merely fetches the address spends nothing."""
    view = SignInView(frame=_outside(_("Sign in")), action=f"/enter/{quote(token)}", token=token)
    return page_answer(request, None, signin_page, view)


@router.post("/enter/{token}")
def enter(token: str, request: Request, context: ContextDep) -> Response:
    """Spend the link and sign in; on to the page that was asked for on this device, if any."""
    must_be_own_origin(request, context)
    browser = browser_of(request)
    with limiter_of(request).secret_try(address_of(request)):
        secret = people.enter(context, token, browser)
    return _entered(request, context, secret, browser)


def _entered(request: Request, context: Context, secret: str, browser: Browser) -> Response:
    """On with the new session; the one this browser had is over."""
    before = request.cookies.get(COOKIE, "")
    if before:
        sessions.leave(context, before)
    answer = RedirectResponse(own_path(request.cookies.get(_THEN, ""), "/"), 303)
    answer.delete_cookie(_THEN, path="/")
    sign_in_cookies(answer, request, context, secret, browser)
    return answer


def _sign_in_page(request: Request, context: Context, status: int = 200, **members: Any) -> Response:
    computer = computers.this_computer(context, request.cookies.get(COMPUTER, ""))
    view = SignInView(frame=_outside(_("Sign in")), computer=computer, **members)
    return page_answer(request, None, signin_page, view, status)


@router.post("/sign-out")
async def sign_out(request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Sign this browser out."""
    await form_of(request, who)
    await run_in_threadpool(sessions.leave, context, request.cookies.get(COOKIE, ""))
    answer = RedirectResponse("/sign-in", 303)
    answer.delete_cookie(COOKIE, path="/")
    return answer


def _outside(title: str) -> Frame:
    return Frame(title=_("{title} · Leadline", title=title), here="/sign-in")


def sign_in_answer(request: Request, error: NotSignedIn, status: int) -> Response:
    """Who is not signed in is shown how to; a page of the ship that was asked for opens afterwards."""
    path = request.url.path
    is_page = path.startswith(("/vessels/", "/plants/")) and "." not in path.rpartition("/")[2]
    there = quote(path, safe="/:") + (f"?{request.url.query}" if request.url.query else "")
    opens_after = request.method == "GET" and is_page and len(there) <= _LONGEST_THEN and there.isascii()
    says = error.says if path.startswith("/enter/") else ""
    answer = _sign_in_page(request, context_of(request), status, says=says, opens_after=opens_after)
    if opens_after:
        secure = request.url.scheme == "https"
        answer.set_cookie(_THEN, there, max_age=_THEN_S, httponly=True, samesite="lax", secure=secure, path="/")
    return answer
