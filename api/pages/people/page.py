"""The page to sign in at: by passphrase, by a one-time link, on a shared computer by PIN."""

from dataclasses import dataclass

from api.pages.shared.frame import Frame
from api.pages.shared.layout import render
from scheduler.actions.people.computers import ComputerShown


@dataclass(frozen=True, slots=True, kw_only=True)
class SignInView:
    """Asks for name and passphrase, or, when a link was opened, asks to confirm it (token and who it is for).

    computer: the shared computer this is. name, picked: what was typed or picked before. says, pin_says: what was wrong with it.
    """

    frame: Frame
    action: str = "/sign-in"
    token: str = ""
    person: str = ""
    says: str = ""
    how: tuple[str, ...] = ()
    """How to get a link on this installation, one sentence each; empty: the general words."""
    name: str = ""
    computer: ComputerShown | None = None
    picked: str = ""
    pin_says: str = ""
    opens_after: bool = False
    """A page was asked for that opens after signing in."""


def signin_page(view: SignInView, *, light: str, csrf: str) -> str:
    """Asks for name and passphrase; when a link was opened, asks to confirm it."""
    return render("signin.html", view.frame, light, csrf, view=view)
