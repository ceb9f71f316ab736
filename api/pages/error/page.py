"""An error as a page: what, which one, what was expected, what to do now."""

from dataclasses import dataclass
from urllib.parse import urlsplit

from fastapi import Request
from fastapi.responses import Response

from api.pages.people.route import sign_in_answer
from api.pages.shared.answers import page_answer
from api.pages.shared.forms import sentences
from api.pages.shared.frame import Frame, Link
from api.pages.shared.help import MANUAL, anchor_of
from api.pages.shared.layout import render
from api.server.errors import STATUS
from scheduler.errors import NotFound, NotSignedIn, SchedulerError
from scheduler.language import gettext as _
from scheduler.language import marked

NOT_HERE = marked("Nothing is here. The address is mistyped, what it led to is gone, or it is of another ship.")
"""Said of a page looked for; what the API says of the same names ids and keys."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ErrorView:
    """An error in words: what, which one, what was expected, what to do now."""

    frame: Frame
    status: int
    says: str
    faults: tuple[str, ...] = ()
    ways: tuple[Link, ...] = ()
    request_id: str = ""
    help_href: str = MANUAL
    """Where the manual says what such an error means."""


def error_page(view: ErrorView, *, light: str, csrf: str) -> str:
    """An error in words and the ways on."""
    return render("error.html", view.frame, light, csrf, view=view)


def _page_before(request: Request) -> tuple[Link, ...]:
    """Where the person came from, if that is a page of this server and another than this one."""
    before = urlsplit(request.headers.get("referer", ""))
    same = before.netloc.casefold() == request.headers.get("host", "").casefold() and before.path != request.url.path
    if not (same and before.path.startswith("/") and not before.path.startswith("//")):
        return ()
    return (Link(label=_("Back to the page before"), href=before.path + (f"?{before.query}" if before.query else "")),)


def _in_sentences(error: SchedulerError) -> tuple[str, tuple[str, ...]]:
    """What it says, and what more its faults say, without the names of members, which are the API's."""
    said = [says for _pointer, says in error.faults]
    if said and error.says.startswith(f"{error.faults[0][0].rpartition('/')[2]}: "):
        return sentences(said), ()
    return error.says, tuple(one for one in said if one.rstrip(".") not in error.says)


def error_answer(request: Request, error: SchedulerError, status: int) -> Response:
    """An error as a page; who is not signed in is shown how to."""
    if isinstance(error, NotSignedIn):
        return sign_in_answer(request, error, status)
    says, faults = _in_sentences(error)
    view = ErrorView(
        frame=Frame(title=_("Not possible · Leadline"), here="/"),
        status=status,
        says=_(NOT_HERE) if isinstance(error, NotFound) and request.method in ("GET", "HEAD") else says,
        faults=faults,
        ways=(*_page_before(request), Link(label=_("Go to the start"), href="/")),
        request_id=getattr(request.state, "request_id", ""),
        help_href=f"{MANUAL}/refused#{anchor_of(STATUS[type(error)][1])}",
    )
    return page_answer(request, None, error_page, view, status)
