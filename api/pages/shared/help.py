"""Which page of the manual tells about a page."""

import re

MANUAL = "/manual"
HELP: tuple[tuple[str, str], ...] = (
    (r"/plants/[^/]+/plan", "plan"),
    (r"/plants/[^/]+/minimum", "minimum"),
    (r"/plants/[^/]+/signs", "signs"),
    (r"/plants/[^/]+/moved", "dates"),
    (r"/plants/[^/]+/figures", "plant"),
    (r"/plants/[^/]+", "plant"),
    (r"/pumps/[^/]+/record", "pump"),
    (r"/pumps/[^/]+/points", "isolation"),
    (r"/pumps/[^/]+/stopped", "breakdown"),
    (r"/vessels/[^/]+/decide/.+", "postponement"),
    (r"/vessels/[^/]+/requests", "requests"),
    (r"/vessels/[^/]+/find", "find"),
    (r"/vessels/[^/]+/jobs/[^/]+/paper", "paper"),
    (r"/vessels/[^/]+/jobs/.+", "job"),
    (r"/first-run", "first-ship"),
    (r"/vessels/[^/]+/labels", "first-ship"),
    (r"/vessels/[^/]+/clogs", "clogs"),
    (r"/vessels/[^/]+/(notes|decisions|(non-conformities|versions)/.+)", "review"),
    (r"/vessels/[^/]+/handover", "handover"),
    (r"/plants/[^/]+/week", "week"),
    (r"/plants/[^/]+/dock", "dock"),
    (r"/vessels/[^/]+/months/[^/]+", "review"),
    (r"/vessels/[^/]+/calendar", "days"),
    (r"/vessels/[^/]+/counters", "counters"),
    (r"/vessels/[^/]+/hours", "hours"),
    (r"/feeds", "calendar"),
    (r"/sign-in|/enter/.*|/you", "sign-in"),
    (r"/people", "crew"),
    (r"/", "fleet"),
    (r"/ships", "office"),
)
"""(path as a whole, name in the manual); the first that fits."""


def manual_href(here: str) -> str:
    """Where the manual tells about the page at this path; its contents where no page of it does.

    >>> manual_href("/plants/one/plan?days=90"), manual_href("/none")
    ('/manual/plan', '/manual')
    """
    path = here.partition("?")[0]
    found = next((name for pattern, name in HELP if re.fullmatch(pattern, path)), "")
    return f"{MANUAL}/{found}" if found else MANUAL


def anchor_of(title: str) -> str:
    """The anchor of a heading.

    >>> anchor_of("If you are not there, or late")
    'if-you-are-not-there-or-late'
    """
    return re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-")
