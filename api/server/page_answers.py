"""How a page is answered: its policy, never kept by a browser, in the light of this device."""

from fastapi import Request
from fastapi.responses import HTMLResponse

from api.pages.shared import layout


def page(text: str, status: int = 200) -> HTMLResponse:
    """The page with the headers every page has."""
    headers = {"Content-Security-Policy": layout.CSP, "Cache-Control": "private, no-store"}
    return HTMLResponse(text, status, headers=headers)


def light_of(request: Request) -> str:
    """Day or night as chosen on this device; empty: as the system is set."""
    return request.cookies.get("light", "")
