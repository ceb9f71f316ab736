"""The page of what the office asks of a ship."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from api.pages.decisions.page import change_words
from api.pages.shared import layout
from api.pages.shared.forms import FormState
from api.pages.shared.frame import Frame
from scheduler.actions.shore.accepting import RequestAboard
from scheduler.actions.shore.requests import RequestSeen, request_words
from scheduler.domain.shore.asking import ABOARD_STAGES, RequestStage, RequestState
from scheduler.domain.vessel.document import Vessel
from scheduler.language import gettext as _
from scheduler.storage.shore.requests import OfficeRequestRow, ShipRequestRow
from scheduler.wording.figures import count_words, number
from scheduler.wording.names import vessel_job_words
from scheduler.wording.requests import asked_words, stage_words

MOST = 60
"""Requests on the page, the newest."""
FIGURES = (
    ("interval_running_hours", "h"),
    ("interval_days", "days"),
    ("interval_months", "months"),
    ("window_running_hours", "h"),
    ("window_days", "days"),
    ("tolerance_running_hours", "h"),
    ("tolerance_days", "days"),
)
"""Members of a job kind that the form changes, with their unit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RequestLine:
    """A request. changes: what of the document would change. may_withdraw, may_answer: this person may, and it is time for it."""

    number: int
    what: str
    by: str
    asked_at: datetime
    until_at: datetime
    says: str
    open: bool
    changes: tuple[str, ...] = ()
    against: str = ""
    may_withdraw: bool = False
    may_answer: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class RequestsView(FormState):
    """What was asked of a ship. mirrored: she keeps her own records, and this is the office. figures: (path, words) of what the form
    changes; version: of the document they stand in."""

    frame: Frame
    action: str
    decisions_href: str
    ship: str
    mirrored: bool
    lines: tuple[RequestLine, ...]
    may_ask: bool
    figures: tuple[tuple[str, str], ...] = ()
    version: int = 0
    done: str = ""
    refused: str = ""
    idempotency_key: str = ""

    @property
    def heading(self) -> str:
        """What is open."""
        waiting = sum(line.open for line in self.lines)
        if self.mirrored:
            said = count_words(waiting, "request is on its way", "requests are on their way")
            return f"{said}." if waiting else _("Nothing is on its way to {ship}.", ship=self.ship)
        said = count_words(
            waiting, "request of the office waits for an answer", "requests of the office wait for an answer"
        )
        return f"{said}." if waiting else _("The office asks for nothing.")


def lines_of_office(vessel: Vessel, seen: list[RequestSeen], now: datetime, *, office: bool) -> tuple[RequestLine, ...]:
    """Requests as the office knows them. office: this person is of it."""
    return tuple(
        _line(
            vessel,
            one.row,
            now,
            says=request_words(one, now),
            open=one.stage in (RequestStage.SENT, RequestStage.FETCHED, RequestStage.WAITING) and not one.ran_out,
            may_withdraw=office and one.may_withdraw,
        )
        for one in seen
    )


def lines_aboard(vessel: Vessel, taken: list[RequestAboard], now: datetime, *, chief: bool) -> tuple[RequestLine, ...]:
    """Requests as they stand aboard. chief: this person is the chief engineer."""
    return tuple(
        _line(
            vessel,
            one.row,
            now,
            says=stage_words(
                ABOARD_STAGES[one.row.state],
                asked_at=one.row.asked_at,
                now=now,
                record=one.row.record,
                says=one.row.says,
                by=one.row.answered_by,
            ),
            open=one.row.state is RequestState.WAITING,
            changes=tuple(
                change_words(vessel, str(found["at"]), _text(found["was"]), _text(found["now"]))
                for found in one.differences
            ),
            against=one.against,
            may_answer=chief and one.row.state is RequestState.WAITING,
        )
        for one in taken
    )


def _line(vessel: Vessel, row: ShipRequestRow | OfficeRequestRow, now: datetime, **more: Any) -> RequestLine:
    """A request as on both sides, and what is said of it on one of them."""
    return RequestLine(
        number=row.number,
        what=asked_words(row.what, row.arguments, lambda key: vessel_job_words(vessel, now, key)),
        by=row.by,
        asked_at=row.asked_at,
        until_at=row.until_at,
        **more,
    )


def _text(value: object) -> str:
    return (
        "" if value is None else number(value) if isinstance(value, int) and not isinstance(value, bool) else str(value)
    )


def figures_of(vessel: Vessel) -> tuple[tuple[str, str], ...]:
    """(path in the document, words) of each figure that the form changes, as it is now."""
    found = []
    for plant in vessel.plants:
        name = f"{plant.name}, " if len(vessel.plants) > 1 else ""
        minimum = _("minimum {figure} m³/h", figure=number(plant.minimum_swept_m3_per_h))
        found.append((f"{plant.id}//minimum_swept_m3_per_h", f"{name}{minimum}"))
        for kind in plant.job_kinds:
            for member, unit in FIGURES:
                value = getattr(kind, member)
                if value is not None:
                    said = f"{member.replace('_', ' ')}: {number(value)} {unit}"
                    found.append((f"{plant.id}/{kind.code}/{member}", f"{name}{kind.name}, {said}"))
    return tuple(found)


def requests_page(view: RequestsView, *, light: str, csrf: str) -> str:
    """The page."""
    return layout.render("requests.html", view.frame, light, csrf, view=view)
