"""How a page is answered: its policy, never stored by a browser, in the light of this device and the reader's language."""

import gzip
import re
from typing import Protocol, TypeVar

from fastapi import Request
from fastapi.responses import HTMLResponse

from api.ics.http import takes_gzip
from api.pages.shared.layout import CSP
from api.server.deps import Asking, masked
from scheduler.language import language

_FORM = re.compile(
    r"""<form\b(?=[^>]*\bmethod="post")(?![^>]*(?:\baction="/(?:sign-out|light)"|\bdata-asks\b))[^>]*>.*?</form>""",
    re.DOTALL,
)
"""Forms of a page that change something, but for those that are about who looks, or ask of a ship: hers are left out where she writes
aboard."""
_LEVEL = 4
"""Of gzip: a page of 27 kB takes a millisecond and goes as 7 kB."""
_View = TypeVar("_View", contravariant=True)


class Page(Protocol[_View]):
    """Renders a view as HTML text."""

    def __call__(self, view: _View, /, *, light: str, csrf: str) -> str:
        """light: "day", "night" or empty: as the system is set. csrf: put into every form."""


def page_answer(
    request: Request, who: Asking | None, page: Page[_View], view: _View, status: int = 200
) -> HTMLResponse:
    """The view as a page for this person (none: not signed in), with the headers that every page has."""
    token = (who.csrf if who else None) or ""
    text = page(view, light=request.cookies.get("light", ""), csrf=masked(token) if token else "")
    if who is not None and who.heard_at is not None:
        text = _FORM.sub("", text)
    headers = {
        "Content-Security-Policy": CSP,
        "Cache-Control": "private, no-store",
        "Content-Language": language(),
        "Vary": "Accept-Encoding, Accept-Language, Cookie",
    }
    body = text.encode()
    if takes_gzip(request.headers.get("accept-encoding", "")):
        body = gzip.compress(body, _LEVEL, mtime=0)
        headers["Content-Encoding"] = "gzip"
    return HTMLResponse(body, status, headers=headers)
