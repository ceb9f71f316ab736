"""A pump stops: two questions and one button; then what is left, what to leave alone, and whom to tell."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from markupsafe import Markup

from api.pages import drawing
from api.pages.shared.forms import FormState
from api.pages.shared.frame import Frame
from api.pages.shared.layout import render
from scheduler.actions.capacity.stopped import AHEAD_SHOWN, StoppedPump
from scheduler.domain.capacity.may_open import OpenStretch
from scheduler.domain.capacity.notices import Notified, StopNotice
from scheduler.domain.capacity.returning import ASSUMED_AFTER
from scheduler.domain.vessel.document import Plant
from scheduler.domain.vessel.job_kinds import BREAKDOWN, caution_line
from scheduler.language import gettext as _
from scheduler.language import marked
from scheduler.wording.capacity import (
    best_words,
    capacity_left_words,
    leave_words,
    notified_words,
    over_number,
    over_or_short,
)
from scheduler.wording.figures import clock, field_moment, moment, number, short_date
from scheduler.wording.names import pump_words

SEEN = (
    marked("will not start"),
    marked("trips"),
    marked("jammed, hums"),
    marked("runs, no vacuum"),
    marked("leaks"),
    marked("noise, heat, shaking"),
    marked("stopped by hand"),
    marked("not known"),
)
"""What is seen of a pump that stops. Common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StoppedView:
    """The pump's page when it stops and while it is out. stopped: the facts; form: as it was refused. repair_href: of its open
    repair; may_run: it may be said to run after all. newer_href: of a plan that waits to be taken. version: of the expected return."""

    frame: Frame
    plant: Plant
    position: str
    serial: str
    shows: str
    stopped: StoppedPump
    plant_href: str
    out_action: str
    return_action: str
    in_use_action: str
    once: str
    version: int
    repair_href: str = ""
    may_run: bool = False
    notice_action: str = ""
    """Where it is recorded who was told; empty: this person may only read."""
    notices: tuple[StopNotice, ...] = ()
    newer_href: str = ""
    form: FormState = FormState()  # noqa: RUF009 - frozen

    @property
    def offset(self) -> int:
        """The ship's clock."""
        return self.frame.utc_offset_minutes

    def name(self, pump: str) -> str:
        """Of the position it stands in."""
        return pump_words(self.plant, self.stopped.at, pump)

    @property
    def down(self) -> bool:
        """Whether it is recorded as out."""
        return self.stopped.since_at is not None


@dataclass(frozen=True, slots=True)
class BackChoice:
    """A time at which it may be back, as a button: value as it is sent, label, and whether it is what stands."""

    value: str
    label: str
    on: bool = False


def stopped_page(view: StoppedView, *, light: str, csrf: str) -> str:
    """The page, before and after it is recorded."""
    stopped, offset = view.stopped, view.offset
    names = [view.name(pump) for pump in stopped.running]
    return render(
        "stopped.html",
        view.frame,
        light,
        csrf,
        view=view,
        heading=stopped_heading(view),
        sub=_sub(view),
        leave=leave_words(names),
        choices=back_choices(view),
        seen=[(one, _(one)) for one in SEEN],
        assumed=moment((stopped.since_at or stopped.at) + ASSUMED_AFTER, offset),
        chart=_chart(view),
        hours=[_hour_row(one, view) for one in stopped.left],
        least=over_or_short(stopped.least.margin_litres_per_h),
        least_when=_(
            "{clock} to {clock_2}",
            clock=clock(stopped.least.from_at, offset),
            clock_2=clock(stopped.least.to_at, offset),
        ),
        planned=[
            (
                view.name(one.pump),
                _span(one.from_at, one.to_at, offset),
                over_or_short(one.worst.margin_litres_per_h),
                one.worst.holds,
            )
            for one in stopped.planned
        ],
        best=[best_words(view.name(pump), one, offset) for pump, one in stopped.best],
        tell=tells(view),
        patterns=drawing.patterns(),
        caution=caution_line(BREAKDOWN),
        stood=_stood(stopped),
        at_field=field_moment(stopped.at, offset),
    )


def stopped_heading(view: StoppedView) -> str:
    """The answer: what is left without it, and what to leave alone."""
    left = capacity_left_words(view.stopped.left, view.offset)
    if not view.down:
        return _("{position} stopped? Without it: {left}.", position=view.position, left=left)
    leave = leave_words([view.name(pump) for pump in view.stopped.running])
    return (
        f"{leave.removesuffix('.')}: {left}."
        if leave
        else _("{position} is out, and no other pump runs: {left}.", position=view.position, left=left)
    )


def _sub(view: StoppedView) -> str:
    stopped = view.stopped
    if stopped.since_at is None:
        return _("Nothing is recorded yet. Two questions, then one button.")
    said = _(
        "{position} stopped {moment}: {reason}.",
        position=view.position,
        moment=moment(stopped.since_at, view.offset),
        reason=stopped.reason,
    )
    if stopped.back is None:
        return _(
            "{said} The time it was expected back has passed: say when it is back. Until then it is out without end.",
            said=said,
        )
    day = moment(stopped.back.at, view.offset)
    return (
        _("{said} Return not known: plans assume {day}.", said=said, day=day)
        if stopped.back.assumed
        else _("{said} Back {day}, as expected.", said=said, day=day)
    )


def back_choices(view: StoppedView) -> tuple[BackChoice, ...]:
    """In four hours, this time tomorrow, not known; and what stands."""
    stopped, offset = view.stopped, view.offset
    soon, later = stopped.at + timedelta(hours=4), stopped.at + timedelta(hours=24)
    asked = view.form.values.get("back")
    found = [
        BackChoice(field_moment(soon, offset), _("in 4 h, {clock}", clock=clock(soon, offset))),
        BackChoice(field_moment(later, offset), _("tomorrow {clock}", clock=clock(later, offset))),
        BackChoice("unknown", _("not known")),
    ]
    if stopped.expected_at is not None and stopped.expected_at > stopped.at:
        stands = field_moment(stopped.expected_at, offset)
        found.insert(
            0,
            BackChoice(stands, _("as said, {moment}", moment=moment(stopped.expected_at, offset)), asked is None),
        )
    return tuple(BackChoice(one.value, one.label, one.on or one.value == asked) for one in found)


@dataclass(frozen=True, slots=True)
class TellLine:
    """Whom to tell, what, and when they were told: by post, since the ship's own list of names rules."""

    whom: Notified
    label: str
    what: str
    said: str = ""


def tells(view: StoppedView) -> tuple[TellLine, ...]:
    """Whom to tell of this stop; who was told, with the time and by whom, the newest where it was said again."""
    stopped, offset = view.stopped, view.offset
    trip = min(one.after_trip_litres_per_h for one in stopped.left)
    least = stopped.least
    hours = f"{_span(least.from_at, least.to_at, offset)}: {over_or_short(least.margin_litres_per_h)}"
    out = _("{position} is out; {left}", position=view.position, left=capacity_left_words(stopped.left, offset))
    whats = {
        Notified.CHIEF: out,
        Notified.BRIDGE: _("if one more pump trips: {would}", would=_would(trip)),
        Notified(view.plant.second_signer): hours,
        Notified.OFFICE: _("gets it with the record"),
    }
    told = {one.whom: one for one in view.notices}
    whats |= {whom: out for whom in told if whom not in whats}
    return tuple(
        TellLine(
            whom,
            notified_words(whom),
            what,
            _("told {moment} by {by}", moment=moment(told[whom].at, offset), by=told[whom].by) if whom in told else "",
        )
        for whom, what in whats.items()
    )


def _stood(stopped: StoppedPump) -> str:
    """How long it has been out: minutes, from two hours on in hours."""
    minutes = 0 if stopped.since_at is None else int((stopped.at - stopped.since_at).total_seconds() // 60)
    return f"{minutes} min" if minutes < 120 else f"{number(minutes // 60)} h"


def _would(litres_per_h: int) -> str:
    return (
        over_or_short(litres_per_h)
        if litres_per_h < 0
        else _("{over_number} would be left", over_number=over_number(litres_per_h))
    )


def _span(from_at: datetime, to_at: datetime, offset: int) -> str:
    same = short_date(from_at, offset) == short_date(to_at, offset)
    return _("{moment} to {what}", moment=moment(from_at, offset), what=(clock if same else moment)(to_at, offset))


def _hour_row(one: OpenStretch, view: StoppedView) -> tuple[str, str, str, bool]:
    """Hours, minimum, margin, whether it holds."""
    times = _("{clock} to {clock_2}", clock=clock(one.from_at, view.offset), clock_2=clock(one.to_at, view.offset))
    minimum = over_number(-(-one.minimum_litres_per_h // 1000) * 1000)
    return times, f"{minimum} {one.label}", over_or_short(one.margin_litres_per_h), one.holds


def _chart(view: StoppedView) -> Markup:
    return drawing.open_hours_chart(
        view.stopped.left,
        from_at=view.stopped.at,
        to_at=view.stopped.at + AHEAD_SHOWN,
        now_at=view.stopped.at,
        utc_offset_minutes=view.offset,
        width=520,
        depth=110,
        name=_(
            "Margin of the next 24 hours without {position}: {left}.",
            position=view.position,
            left=capacity_left_words(view.stopped.left, view.offset),
        ),
    )
