"""What routes ask for: the context, who is asking, the conditions of a request."""

import hmac
import re
import secrets
from base64 import urlsafe_b64decode, urlsafe_b64encode
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Annotated, Any, cast
from urllib.parse import urlsplit

from fastapi import Depends, Path, Request
from fastapi.responses import Response

from api.server.access import BY_PIN, DOORS, NoRole
from api.server.try_limiter import address_of, limiter_of
from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Context, Hand
from scheduler.actions.people import computers, people, sessions
from scheduler.actions.people.sessions import Browser
from scheduler.actions.plant_state.load import PlantState, plant_state
from scheduler.actions.vessel import fleet, mirror
from scheduler.domain.base.enums import Role
from scheduler.domain.people.authentication import Proof
from scheduler.errors import BadRequest, NotAllowed, NotSignedIn, SchedulerError
from scheduler.language import gettext, speak
from scheduler.storage.vessel import AssetKind

COOKIE, DEVICE, COMPUTER = "leadline", "leadline_device", "leadline_computer"
"""Cookies: of a session; of a browser, to know who shares it; of a shared computer."""
_NAMES = frozenset({"vessel_id", "plant_id", "pump_id", "counter_id"})
_YEARS_S = 10 * 31_536_000
_HOST = re.compile(r"(?:[A-Za-z0-9._-]{1,253}|\[[0-9A-Fa-f:.]{2,45}\])(?::\d{1,5})?")
_ETAG = re.compile(r'\s*(?:W/)?"(\d{1,18})"\s*')


def context_of(request: Request) -> Context:
    """The context this app serves."""
    return cast(Context, request.app.state.context)


def route_of(request: Request) -> tuple[str, str]:
    """(method, route template) of the request, as in the table of doors."""
    return request.method, str(request.scope["route"].path)


@dataclass(frozen=True, slots=True)
class Asking:
    """Who asks; csrf is set for a person at a browser, none for a key, and for a shared computer at which nobody is signed in.

    session_id: as lists of sessions have it. shared: the browser is, or was, a shared computer. heard_at: for a page of a ship that
    writes aboard, when she was last heard: it is read only. None for all else.
    """

    actor: Actor
    csrf: str | None = None
    session_id: str = ""
    shared: bool = False
    heard_at: datetime | None = None


def asking(request: Request, context: "ContextDep") -> Asking:
    """Who asks, if they may pass this door. Runs in a worker thread: it reads the database.

    Raises:
        NotSignedIn: no key and no session, or one that is not known. NotAllowed: the role does not pass here.
    """
    door = DOORS[route_of(request)]
    if isinstance(door, NoRole):  # pragma: no cover - a wiring mistake, held by a test
        raise RuntimeError("an open door asks nobody")
    found = must_be_known(request, context, door)
    names = [value for name, value in request.path_params.items() if name in _NAMES]
    if not names or request.url.path.startswith("/api/"):
        return found
    return replace(found, heard_at=mirror.last_heard(context, names))


def must_be_known(request: Request, context: Context, roles: frozenset[Role]) -> Asking:
    """Who asks, if it is one of these roles. Raises as `asking` does."""
    found = _by_key(request, context) or _by_cookie(request, context) or _looking(request, context)
    if found is None:
        raise NotSignedIn("Nobody is known to be asking. Send `Authorization: Bearer ll_...`, or sign in at a browser.")
    by = found.actor.authentication
    if by is not None and by.proof is Proof.PIN and not _reads(request) and route_of(request) not in BY_PIN:
        raise NotAllowed(
            gettext(
                "By the PIN of a shared computer you record work, and this is more. Choose Someone else, sign in with "
                "your passphrase, and do it again."
            )
        )
    found.actor.must_be(roles, doing(request))
    return found


def doing(request: Request) -> str:
    """What is asked for, as a person says it: "see “Due jobs of a plant”", "open this page"."""
    reading, summary = _reads(request), request.scope["route"].summary
    if summary is None:
        return gettext("open this page") if reading else gettext("do this")
    return f"see “{summary}”" if reading else f"do this: “{summary}”"


def _reads(request: Request) -> bool:
    return request.method in ("GET", "HEAD")


def _by_key(request: Request, context: Context) -> Asking | None:
    header = request.headers.get("authorization")
    if header is None:
        return None
    scheme, _, key = header.partition(" ")
    if scheme.lower() != "bearer":
        raise NotSignedIn("The Authorization header must read `Bearer ll_...`.")
    with limiter_of(request).secret_try(address_of(request)):
        return Asking(people.who_holds(context, key.strip()))


def _by_cookie(request: Request, context: Context) -> Asking | None:
    secret = request.cookies.get(COOKIE)
    found = sessions.at_browser(context, secret) if secret else None
    if found is None:
        return None
    speak(found.language)
    api_change = request.url.path.startswith("/api/") and not _reads(request)
    if api_change and not _token_fits(found.csrf, request.headers.get("x-csrf-token")):
        raise NotAllowed(
            "A change from a browser needs the page's token in the header X-CSRF-Token. Use the page, or a key."
        )
    return Asking(found.actor, found.csrf, found.session_id, COMPUTER in request.cookies)


def speak_as_known(request: Request) -> None:
    """At a door that asks nobody: go on in the language of who is signed in at this browser, where the database says who.

    Without a session, or with a database in trouble, it stays as the browser asks.
    """
    secret = request.cookies.get(COOKIE)
    if secret:
        with suppress(SchedulerError):
            found = sessions.at_browser(context_of(request), secret)
            if found is not None:
                speak(found.language)


def _looking(request: Request, context: Context) -> Asking | None:
    """A shared computer at which nobody is signed in: it shows the ship, and takes nothing."""
    secret = request.cookies.get(COMPUTER, "")
    found = computers.this_computer(context, secret) if secret and _reads(request) else None
    if found is None:
        return None
    actor = Actor(f"computer {found.id}", f"{found.label}, looking only", Role.ENGINEER, found.vessel_id)
    return Asking(actor, shared=True)


def browser_of(request: Request) -> Browser:
    """The browser somebody signs in with: by its own cookie, or one to be given by `sign_in_cookies`."""
    device = request.cookies.get(DEVICE, "")
    return Browser(device if len(device) == 43 else secrets.token_urlsafe(32), request.headers.get("user-agent", ""))


def sign_in_cookies(answer: Response, request: Request, context: Context, secret: str, browser: Browser) -> None:
    """Give the browser its session and its own cookie."""
    for name, value, seconds in (
        (COOKIE, secret, context.settings.session_hours * 3600),
        (DEVICE, browser.device, _YEARS_S),
    ):
        lasting_cookie(answer, request, context, name, value, seconds)


def lasting_cookie(
    answer: Response, request: Request, context: Context, name: str, value: str, seconds: int = _YEARS_S
) -> None:
    """A cookie that scripts and other sites do not get; over https alone where the server is reached by it."""
    settings = context.settings
    by_https = request.url.scheme == "https" or settings.base_url.startswith("https:")
    answer.set_cookie(
        name,
        value,
        max_age=seconds,
        httponly=True,
        samesite="lax",
        secure=by_https or not settings.insecure_cookie,
        path="/",
    )


def must_be_own_origin(request: Request, context: Context) -> None:
    """Raises NotAllowed when a form without a session's token comes from a page of another site: nobody is signed in, or out, by
    what somebody else's page sends. Source: OWASP, Cross-Site Request Forgery Prevention (from memory)."""
    origin = request.headers.get("origin")
    own = {request.headers.get("host", "").casefold(), urlsplit(context.settings.base_url).netloc.casefold()} - {""}
    foreign = origin is not None and urlsplit(origin).netloc.casefold() not in own
    if foreign or request.headers.get("sec-fetch-site") in ("cross-site", "same-site"):
        raise NotAllowed(
            gettext("This form was sent by a page of another site. Open the page of this server and sign in there.")
        )


def masked(token: str) -> str:
    """A page's token as it is written into one page: other letters each time, so that how well the page packs tells nothing of it.

    Source: RFC 7457 section 2.6 on what compressing a secret beside what others chose gives away.
    """
    plain = token.encode()
    mask = secrets.token_bytes(len(plain))
    return urlsafe_b64encode(mask + bytes(a ^ b for a, b in zip(mask, plain, strict=True))).decode()


def _token_fits(wanted: str, given: Any) -> bool:
    if not isinstance(given, str):
        return False
    raw = given.encode(errors="replace")
    try:
        both = urlsafe_b64decode(raw)
    except ValueError:
        both = b""
    mask, packed = both[: len(both) // 2], both[len(both) // 2 :]
    plain = bytes(a ^ b for a, b in zip(mask, packed, strict=False))
    return hmac.compare_digest(wanted.encode(), plain) or hmac.compare_digest(wanted.encode(), raw)


def must_be_own_form(who: Asking, given: Any) -> None:
    """Raises NotAllowed unless the form carries this session's token."""
    if who.csrf is None or not _token_fits(who.csrf, given):
        raise NotAllowed(
            gettext("This form is not from your own page, or you signed in anew since. Load the page again and repeat.")
        )


def version_in(request: Request) -> int | None:
    """The version in If-Match, or none.

    Raises:
        BadRequest: it is there but is not a version of ours.
    """
    text = request.headers.get("if-match")
    if text is None:
        return None
    match = _ETAG.fullmatch(text)
    if match is None:
        raise BadRequest(f'If-Match is {text!r:.60}; expected the version in quotes, such as "3", as the ETag gave it.')
    return int(match[1])


def hand_of(request: Request, who: Asking, asked: Any) -> Hand:
    """The hand action as asked: `asked` is the body as plain JSON values, the route is part of what was asked."""
    return Hand(
        who.actor,
        request.headers.get("idempotency-key"),
        {"route": f"{request.method} {request.url.path}", "body": asked},
    )


def plant_now(context: Context, who: Asking, kind: AssetKind, asset_id: str) -> PlantState:
    """The plant of a plant, pump, position or counter, as it stands.

    Raises:
        NotFound: there is no such thing, or it is out of reach.
    """
    place = fleet.locate(context, who.actor, asset_id, kind)
    return plant_state(context, place.vessel_id, place.plant_id)


def reached_at(request: Request, context: Context) -> str:
    """Address of this server for a link that goes into the answer to this request, and nowhere else.

    The setting, else the Host that the asker used: kept for others it would let anybody plant an address.

    Raises:
        BadRequest: no base_url is set and Host is not a host.
    """
    found = context.settings.shown_base_url()
    if found:
        return found
    host = request.headers.get("host", "")
    if not _HOST.fullmatch(host):
        raise BadRequest(f"Host is {host!r:.60}; expected name:port of this server, or the setting base_url.")
    return f"{request.url.scheme}://{host}"


Number = Annotated[int, Path(ge=0, le=2**31 - 1)]
"""A number in an address, as far as a database counts."""
ContextDep = Annotated[Context, Depends(context_of)]
AskingDep = Annotated[Asking, Depends(asking)]
