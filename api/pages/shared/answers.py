"""How a page is answered: its policy, never stored by a browser, in the light of this device and the reader's language."""

import re
from typing import Protocol, TypeVar

from fastapi import Request
from fastapi.responses import HTMLResponse

from api.pages.shared.layout import CSP
from api.server.deps import Asking
from scheduler.language import language

_FORM = re.compile(
    r"""<form\b(?=[^>]*\bmethod="post")(?![^>]*(?:\baction="/(?:sign-out|light)"|\bdata-asks\b))[^>]*>.*?</form>""",
    re.DOTALL,
)
"""Forms of a page that change something, but for those that are about who looks, or ask of a ship: hers are left out where she writes
aboard."""
_View = TypeVar("_View", contravariant=True)


class Page(Protocol[_View]):
    """Renders a view as HTML text."""

    def __call__(self, view: _View, /, *, light: str, csrf: str) -> str:
        """light: "day", "night" or empty: as the system is set. csrf: put into every form."""


def page_answer(
    request: Request, who: Asking | None, page: Page[_View], view: _View, status: int = 200
) -> HTMLResponse:
    """The view as a page for this person (none: not signed in), with the headers that every page has."""
    text = page(view, light=request.cookies.get("light", ""), csrf=(who.csrf if who else None) or "")
    if who is not None and who.heard_at is not None:
        text = _FORM.sub("", text)
    headers = {
        "Content-Security-Policy": CSP,
        "Cache-Control": "private, no-store",
        "Content-Language": language(),
        "Vary": "Accept-Language, Cookie",
    }
    return HTMLResponse(text, status, headers=headers)
