"""The pages of running hours, rendered."""

from api.pages.hours.view import CountersView, HandView
from api.pages.shared.layout import render


def counters_page(view: CountersView, *, light: str, csrf: str) -> str:
    """The counters of a vessel, each with its questions first, and the intake log."""
    return render("counters.html", view.frame, light, csrf, view=view)


def hand_page(view: HandView, *, light: str, csrf: str) -> str:
    """Hours by hand: all counters on one page, one instant, one button."""
    return render("hand.html", view.frame, light, csrf, view=view)
