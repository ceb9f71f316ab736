"""Today and the next seven days on one printed page."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from api.pages.shared import layout
from api.pages.shared.frame import Frame
from api.pages.shared.job_line import JobLine
from api.pages.shared.margin import MarginStretch, least_said
from scheduler.actions.plant_state.load import PlantState
from scheduler.actions.work.handover_facts import HandoverFacts
from scheduler.domain.base.enums import JobState
from scheduler.language import gettext as _
from scheduler.wording.due import job_name, state_alone
from scheduler.wording.figures import (
    M3H,
    clock,
    count_words,
    day_label,
    day_words,
    inner,
    listed,
    margin_number,
    moment,
    number,
    ship,
    short_date,
)
from scheduler.wording.hours import figure_words, unit_short
from scheduler.wording.names import job_words

DAYS = 8
"""Today and seven more."""
MOST_LINES = 24
"""So many jobs and tests one A4 holds; what is beyond is counted and stands on the plan page."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WeekJob:
    """A planned job. why: how it stands to its due point; counter: the one figure of hours; margin: the least inside it."""

    time: str
    name: str
    href: str
    why: str
    counter: str
    margin: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WeekDay:
    """A ship's day. minimum: what holds on it, where nothing is planned."""

    name: str
    jobs: tuple[WeekJob, ...]
    minimum: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WeekCounter:
    """A counter: what it shows, and a line to write on."""

    position: str
    shows: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WeekView:
    """The page. more: jobs that do not fit on it; trips: if one more pump trips; open: what is not decided; short: parts."""

    frame: Frame
    heading: str
    sub: str
    days: tuple[WeekDay, ...]
    counters: tuple[WeekCounter, ...]
    trips: str
    undecided: tuple[str, ...]
    short: tuple[str, ...]
    unplanned: tuple[str, ...]
    plan_href: str
    more: int = 0


def week_page(view: WeekView, *, light: str, csrf: str) -> str:
    """The page."""
    return layout.render("week.html", view.frame, light, csrf, view=view)


def week_view(
    now: PlantState, frame: Frame, jobs: Sequence[JobLine], margins: Sequence[MarginStretch], facts: HandoverFacts
) -> WeekView:
    """The view. margins: from now on, without gap. jobs: the open ones with their slots."""
    offset = now.offset_minutes
    first = ship(now.at, offset).date()
    planned = sorted(
        (line for line in jobs if line.slot_from_at and (_day(line, now) - first).days < DAYS),
        key=lambda line: (line.slot_from_at, line.href),
    )
    shown = planned[:MOST_LINES]
    days = tuple(_week_day(now, shown, margins, ahead) for ahead in range(DAYS))
    ends_at = now.at + timedelta(days=DAYS - 1)
    inside = [one for one in margins if one.from_at < ends_at]
    least, when = least_said(inside, offset)
    said = count_words(len(planned), "job", "jobs") + _(" in eight days")
    changes = [_("clock {moment}", moment=moment(at, offset)) for at, _minutes in now.clock_changes if at < ends_at]
    return WeekView(
        frame=frame,
        heading=_("{said}. Least margin {least}, {when}.", said=said, least=least, when=when) if least else f"{said}.",
        sub="; ".join(
            [
                _("Printed {moment}, and what is decided after that is not on it", moment=moment(now.at, offset)),
                *changes,
            ]
        ),
        days=days,
        counters=tuple(
            WeekCounter(
                position=position.name,
                shows=_("not read")
                if figure is None
                else f"{figure_words(figure)}, {unit_short(figure.seconds_per_count)}",
            )
            for position in now.plant.positions
            for figure in [now.counter_figure(position.id)]
        ),
        trips=_trips(inside, offset),
        undecided=tuple(
            _(
                "{job_words}, to {moment}",
                job_words=job_words(now.plant, now.at, str(one["job"])),
                moment=moment(datetime.fromisoformat(str(one["to_at"])), offset),
            )
            for one in facts.carries["postponements_asked"]
        ),
        short=tuple(
            _("{part}: {aboard} of {need}", part=one["part"], aboard=one["aboard"], need=one["need"])
            for one in facts.carries["parts_short"]
        ),
        unplanned=tuple(
            f"{job_name(line.due)}: {inner(state_alone(line.due, now.at, offset))}"
            for line in jobs
            if line.slot_from_at is None
            and line.due.state in (JobState.PAST_DUE, JobState.PAST_LIMIT, JobState.NOT_KNOWN)
        )[:6],
        plan_href=f"/plants/{now.plant.id}/plan",
        more=len(planned) - len(shown),
    )


def _day(line: JobLine, now: PlantState) -> date:
    return ship(line.slot_from_at or now.at, now.offset_minutes).date()


def _week_day(now: PlantState, jobs: Sequence[JobLine], margins: Sequence[MarginStretch], ahead: int) -> WeekDay:
    offset = now.offset_minutes
    at = now.at + timedelta(days=ahead)
    on = ship(at, offset).date()
    mine = [line for line in jobs if _day(line, now) == on]
    least = [
        one.minimum_m3_per_h
        for one in margins
        if ship(one.from_at, offset).date() <= on <= ship(one.to_at, offset).date()
    ]
    low, high = (number(min(least)), number(max(least))) if least else ("", "")
    minimum = (
        ""
        if not least
        else _("minimum {low} {m3h}", low=low, m3h=M3H)
        if low == high
        else _("minimum {low} to {high} {m3h}", low=low, high=high, m3h=M3H)
    )
    near = day_words(at, now.at, offset)
    return WeekDay(
        name=f"{short_date(at, offset)}{f', {near}' if ahead < 2 else ''}",
        jobs=tuple(_week_job(line, now) for line in mine),
        minimum=minimum,
    )


def _week_job(line: JobLine, now: PlantState) -> WeekJob:
    offset = now.offset_minutes
    assert line.slot_from_at is not None
    assert line.slot_to_at is not None
    same = ship(line.slot_to_at, offset).date() == ship(line.slot_from_at, offset).date()
    until = clock(line.slot_to_at, offset) if same else moment(line.slot_to_at, offset)
    return WeekJob(
        time=_("{clock} to {until}", clock=clock(line.slot_from_at, offset), until=until),
        name=job_name(line.due),
        href=line.href,
        why=state_alone(line.due, now.at, offset),
        counter=line.counter,
        margin="–" if line.margin_m3_per_h is None else margin_number(line.margin_m3_per_h),
    )


def _trips(margins: Sequence[MarginStretch], offset: int) -> str:
    """By how much the plant would be short, day by day."""
    short = [one for one in margins if one.largest_m3_per_h is not None and one.margin_m3_per_h < one.largest_m3_per_h]
    if not short:
        return _("The others still give the minimum in all eight days.")
    worst: dict[date, float] = {}
    for one in short:
        on = ship(one.from_at, offset).date()
        worst[on] = max(worst.get(on, 0.0), (one.largest_m3_per_h or 0) - one.margin_m3_per_h)
    said = [
        _("{day} by up to {number}").format(day=day_label(on).replace("\u00a0", " "), number=number(math.ceil(by)))
        for on, by in sorted(worst.items())
    ]
    return _("Short {names} {m3h}. Leave the others running in AUTO; do not open them up.", names=listed(said), m3h=M3H)
