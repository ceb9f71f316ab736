"""The views of a pump's record and of what was found, and their pages."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from api.pages.shared import layout
from api.pages.shared.forms import FormState
from api.pages.shared.frame import Frame
from scheduler.domain.base.enums import JobState


@dataclass(frozen=True, slots=True, kw_only=True)
class TableRow:
    """A line of one of the tables; what a table has no column for stays empty."""

    when: str
    what: str
    href: str = ""
    figure: str = ""
    verdict: str = ""
    late: bool = False
    found: str = ""
    test: str = ""
    by: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundJob:
    """An open job with its state in words."""

    name: str
    href: str
    words: str
    state: JobState
    tone: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CurveBlock:
    """A kind's hours over the years."""

    name: str
    picture: Markup


@dataclass(frozen=True, slots=True, kw_only=True)
class PumpView:
    """A pump's record. others: (name, address) of all pumps of the plant, this one's address empty. facts: (what, hours, due)."""

    frame: Frame
    name: str
    serial: str
    others: tuple[tuple[str, str], ...]
    heading: str
    counter: str
    counter_at: str
    hours: str
    hours_at: str
    a_day: str
    capacity: str
    facts: tuple[tuple[str, str, str], ...]
    curves: tuple[CurveBlock, ...]
    ahead: tuple[FoundJob, ...]
    jobs: tuple[TableRow, ...]
    stops: tuple[TableRow, ...]
    tests: tuple[TableRow, ...]
    counters: tuple[TableRow, ...]
    gaps: tuple[str, ...]
    points_href: str
    export_href: str
    photos: int
    hours_say: str = ""
    """What the hours say of this pump; empty for nothing."""
    signs_href: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Hit:
    """A line of what was found: of which pump, what, the text with what was looked for marked, when and by whom."""

    pump: str
    name: str
    href: str
    kind: str
    pieces: tuple[tuple[str, bool], ...]
    when: str
    by: str
    more: int = 0
    """Further records of the same job that show it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FindView:
    """looked_for: as typed. aboard: (name, what, address) of pumps, parts, people and open jobs of that name. cut: there is more."""

    frame: Frame
    action: str
    looked_for: str
    heading: str
    aboard: tuple[tuple[str, str, str], ...] = ()
    hits: tuple[Hit, ...] = ()
    cut: bool = False


def pump_page(view: PumpView, *, light: str, csrf: str) -> str:
    """The page of a pump's record."""
    return layout.render("pump.html", view.frame, light, csrf, view=view)


def find_page(view: FindView, *, light: str, csrf: str) -> str:
    """The page of what was found."""
    return layout.render("find.html", view.frame, light, csrf, view=view)


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthView(FormState):
    """report: as the paper shows it. earlier, later, file: addresses; empty where there is nothing to go to. may_sign: this
    person may, and the month is over."""

    frame: Frame
    report: Mapping[str, Any]
    earlier: str
    later: str
    file: str
    action: str
    may_sign: bool
    done: str = ""
    refused: str = ""
    idempotency_key: str = ""


def month_page(view: MonthView, *, light: str, csrf: str) -> str:
    """The page of a month's report."""
    return layout.render("month.html", view.frame, light, csrf, view=view, r=view.report)
