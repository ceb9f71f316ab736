"""What the plant page puts in place: the job list, tubes, lead lines, the margin drawing. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from markupsafe import Markup

from api.pages import drawing
from api.pages.plant.view import PlantView, PumpRow
from api.pages.plant.week import counter_at_due
from api.pages.plant.words import least_words, open_pump_words
from api.pages.shared.job_line import JobLine, TideRow, tide_row, tone_of
from api.pages.shared.margin import minimum_words
from scheduler.domain.base.enums import JobState, Subject
from scheduler.domain.vessel.job_kinds import BREAKDOWN, JobKind
from scheduler.domain.vessel.naming import short_kind
from scheduler.language import gettext as _
from scheduler.wording.due import brief_words, job_rank, meets_at
from scheduler.wording.figures import M3H, NBSP, inner, margin_number, number, short_date
from scheduler.wording.hours import counts_words, unit_name

_HOUR = 3600
WEEKS_DAYS = 28
"""Days that are drawn with a smooth bed; fewer are drawn by the hour."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PumpBlock:
    """A pump: the drawing, what its counter shows, the job that presses most with the counter at which it is due, and a note."""

    position: str
    serial: str
    href: str
    shows: str
    unit: str
    since: str
    since_tone: str
    note: str
    note_tone: str
    picture: Markup
    state: JobState
    down: bool = False
    stopped_href: str = ""
    repair_href: str = ""


def tide_rows(view: PlantView) -> tuple[TideRow, ...]:
    """The job list in time order: slots by their start, jobs without one by the day they must meet. What has neither
    a slot nor a day before the horizon is left out (`beyond` counts it)."""
    order = sorted(
        (j for j in view.jobs if _in_view(j, view)),
        key=lambda j: (j.slot_from_at or meets_at(j.due), job_rank(j.due)),
    )
    return tuple(tide_row(j, view.now_at, view.frame.utc_offset_minutes) for j in order)


def beyond(view: PlantView) -> int:
    """How many open jobs lie after the horizon and have no slot, those that another takes with it left out."""
    return sum(1 for j in view.jobs if not _in_view(j, view) and not _taken_along(j))


def _in_view(job: JobLine, view: PlantView) -> bool:
    return not _taken_along(job) and (job.slot_from_at is not None or meets_at(job.due) < view.horizon_at)


def _taken_along(job: JobLine) -> bool:
    """Ahead, and another job takes it with it before it is due: it stands in no list of its own."""
    return job.due.renewed_by is not None and job.due.state is JobState.AHEAD


def tube_kinds(view: PlantView) -> tuple[JobKind, ...]:
    """At most three kinds to draw: those named by the view, else kinds of parts (shortest interval first), then the
    longest intervals of pumps and positions; shown shortest interval first."""
    kinds: dict[str, JobKind] = {}
    for job in view.jobs:
        if job.kind.interval_running_hours and job.kind.subject is not Subject.PLANT:
            kinds.setdefault(job.kind.code, job.kind)
    if view.tube_kinds:
        return tuple(kinds[code] for code in view.tube_kinds[:3] if code in kinds)
    parts = sorted((k for k in kinds.values() if k.subject is Subject.PART), key=_interval)
    others = sorted(
        (k for k in kinds.values() if k.subject is not Subject.PART), key=lambda k: (-_interval(k)[0], k.code)
    )
    chosen = [*parts[:2], *others, *parts[2:]][:3]
    return tuple(sorted(chosen, key=_interval))


def _interval(kind: JobKind) -> tuple[int, str]:
    return kind.interval_running_hours or 0, kind.code


def tube_figure(kind: JobKind, job: JobLine | None, *, pressing: bool = False) -> drawing.TubeFigure:
    """The tube of a kind; job none or without hours: an empty tube that says so."""
    interval = (kind.interval_running_hours or 1) * _HOUR
    label = short_kind(kind.name)
    due = job.due if job else None
    if due is None or due.since_seconds is None:
        said = _("{name}: no running hours known", name=kind.name)
        return drawing.TubeFigure(
            label=label,
            words=said,
            hours="–",
            share=None,
            window_share=1 - kind.window_running_hours * _HOUR / interval,
            limit_share=1 + kind.tolerance_running_hours * _HOUR / interval,
            state=due.state if due else JobState.AHEAD,
            pressing=pressing,
        )
    interval = due.interval_seconds or interval
    limit_left = due.limit_left_seconds
    over = kind.tolerance_running_hours * _HOUR
    if limit_left is not None and due.running_seconds_left is not None:
        over = limit_left - due.running_seconds_left
    hours = number(due.since_seconds // 3600)
    return drawing.TubeFigure(
        label=label,
        words=_(
            "{name} {hours} of {number} running h, {value}",
            name=kind.name,
            hours=hours,
            number=number(interval // 3600),
            value=due.state.value,
        ),
        hours=hours,
        share=due.since_seconds / interval,
        window_share=1 - kind.window_running_hours * _HOUR / interval,
        limit_share=1 + over / interval,
        state=due.state,
        pressing=pressing,
    )


def pump_block(pump: PumpRow, view: PlantView, kinds: Sequence[JobKind]) -> PumpBlock:
    """What stands beside a pump's tubes."""
    offset = view.frame.utc_offset_minutes
    own = (j for j in view.jobs if j.due.position == pump.position and j.due.first and j.kind.code != BREAKDOWN.code)
    mine = sorted(own, key=lambda j: job_rank(j.due))
    pressing = mine[0] if mine else None
    figures = [
        tube_figure(
            k,
            next((j for j in mine if j.kind.code == k.code), None),
            pressing=pressing is not None and pressing.kind == k,
        )
        for k in kinds
    ]
    note = open_pump_words(pump, view.now_at, offset)
    note_tone = "boot" if pump.down_at(view.now_at) else "brass" if note else ""
    if not note and pump.silent_since_at:
        note, note_tone = _silent_said(pump, offset), "brass"
    per = 3600 if pump.shows is None else pump.shows.seconds_per_count
    return PumpBlock(
        position=pump.position,
        serial=pump.serial,
        href=pump.href,
        shows="–" if pump.shows is None else counts_words(pump.shows.milli),
        unit=_("not read yet") if pump.shows is None else _unit_said(per),
        since=_since_said(pressing, pump, view.now_at, offset),
        since_tone=tone_of(pressing.due.state) if pressing else "",
        note=note,
        note_tone=note_tone,
        picture=drawing.tubes(figures, pump.position) if figures else Markup(""),
        state=pressing.due.state if pressing else JobState.AHEAD,
        down=pump.down_at(view.now_at),
        stopped_href=pump.stopped_href,
        repair_href=pump.repair_href,
    )


def _unit_said(seconds_per_count: int) -> str:
    """A counter's unit as its dial has it; empty for hours.

    >>> _unit_said(3600), _unit_said(360), _unit_said(60)
    ('', '0.1 h', 'minutes')
    """
    return {3600: "", 360: "0.1 h", 36: "0.01 h"}.get(seconds_per_count, unit_name(seconds_per_count))


def _silent_said(pump: PumpRow, offset: int) -> str:
    """Since when its counter is silent, and the hours it is likely to have run since."""
    if pump.silent_since_at is None:
        return ""
    said = _("Counter silent since {short_date}", short_date=short_date(pump.silent_since_at, offset))
    if pump.projected_hours is not None and pump.hours is not None and pump.hours.hours < pump.projected_hours:
        said += _(
            ", about {number}{nbsp}h more by now", number=number(pump.projected_hours - pump.hours.hours), nbsp=NBSP
        )
    return said


def _since_said(pressing: JobLine | None, pump: PumpRow, now_at: datetime, offset: int) -> str:
    """ "since knife 1 539 of 1 500, due at counter 24 761"; of a job by the calendar its state."""
    if pressing is None:
        return _("no open job")
    due, kind = pressing.due, inner(short_kind(pressing.due.kind_name, 20))
    counter = counter_at_due(pressing, pump.shows)
    if due.since_seconds is None or not due.interval_seconds or counter is None:
        return f"{kind} {brief_words(due, now_at, offset)}"
    since, interval = number(due.since_seconds // _HOUR), number(due.interval_seconds // _HOUR)
    return _(
        "{kind} {since} of {interval}{nbsp}h, due at counter {counter}",
        kind=kind,
        since=since,
        interval=interval,
        nbsp=NBSP,
        counter=counter,
    )


def plumbs_of(jobs: Sequence[JobLine], *, figures: bool = False) -> tuple[drawing.Plumb, ...]:
    """A lead line for each slot that takes a pump out; jobs of one pump with the same start share one. figures: with its margin."""
    gathered: dict[tuple[datetime, str], list[JobLine]] = {}
    for job in sorted(jobs, key=lambda j: job_rank(j.due)):
        if job.slot_from_at and job.slot_to_at and job.kind.takes_pump_out:
            gathered.setdefault((job.slot_from_at, job.due.position or ""), []).append(job)
    found = []
    for (start, position), group in sorted(gathered.items()):
        kinds = " + ".join(short_kind(j.due.kind_name).lower() for j in group)
        end = max(j.slot_to_at for j in group if j.slot_to_at)
        margins = [j.margin_m3_per_h for j in group if j.margin_m3_per_h is not None]
        figure = margin_number(min(margins)) if figures and margins else ""
        found.append(drawing.Plumb(from_at=start, to_at=end, label=f"{position} {kinds}".strip(), figure=figure))
    return tuple(found)


def charts(view: PlantView) -> dict[str, Markup]:
    """The margin drawing for wide pages and for a phone: weeks with a smooth bed, or days by the hour. A phone shows its first three
    days by the hour until it is asked for more."""
    plumbs, said = plumbs_of(view.jobs, figures=True), chart_words(view)
    common = {"now_at": view.now_at, "utc_offset_minutes": view.frame.utc_offset_minutes}
    high = max((max(r.minimum_m3_per_h, r.available_m3_per_h) for r in view.margins), default=0.0) or 1.0

    def hours(days: float, back: int, width: int, depth: int) -> Markup:
        return drawing.margin_chart(
            view.margins,
            plumbs,
            from_at=view.now_at - timedelta(hours=back),
            to_at=view.now_at + timedelta(days=days),
            width=width,
            depth=depth,
            name=said,
            rows=5,
            scale=(0.0, high),
            bed_depth=0,
            **common,  # type: ignore[arg-type]
        )

    def weeks(width: int, depth: int, rows: int) -> Markup:
        return drawing.season_chart(
            view.margins,
            plumbs,
            from_at=view.now_at - timedelta(hours=8),
            to_at=view.horizon_at,
            width=width,
            depth=depth,
            name=said,
            rows=rows,
            **common,  # type: ignore[arg-type]
        )

    by_hour = view.days != WEEKS_DAYS
    return {
        "wide": hours(view.days, 6, 802, 126) if by_hour else weeks(802, 126, 4),
        "narrow": hours(view.days, 4, 358, 92)
        if by_hour
        else weeks(358, 92, 4)
        if view.asked_days
        else hours(3, 4, 358, 92),
    }


def chart_words(view: PlantView) -> str:
    """The drawing in words, for those who do not see it."""
    if not view.margins:
        return _("Margin over minimum vacuum capacity: not worked out yet.")
    figure, when = least_words(view)
    minimum = minimum_words(view.margins)
    return _(
        "Margin over minimum vacuum capacity. Least {figure} {m3h}, {when}. Minimum: {minimum}.",
        figure=figure,
        m3h=M3H,
        when=when,
        minimum=minimum,
    )
