"""The page that asks for the one-time link."""

from dataclasses import dataclass

from api.pages.shared.frame import Frame
from api.pages.shared.layout import render


@dataclass(frozen=True, slots=True, kw_only=True)
class SignInView:
    """Asks for the one-time link, or, when one was opened, asks to confirm it (token and who it is for)."""

    frame: Frame
    action: str = "/sign-in"
    token: str = ""
    person: str = ""
    says: str = ""
    how: tuple[str, ...] = ()
    """How to get a link on this installation, one sentence each; empty: the general words."""
    opens_after: bool = False
    """A page was asked for that opens after signing in."""


def signin_page(view: SignInView, *, light: str, csrf: str) -> str:
    """Asks for the one-time link; when one was opened, asks to confirm it."""
    return render("signin.html", view.frame, light, csrf, view=view)
