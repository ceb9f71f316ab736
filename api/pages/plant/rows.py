"""What the plant page puts in place: the job list, tubes, lead lines, the margin drawing. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from markupsafe import Markup

from api.pages import drawing
from api.pages.plant.view import PlantView, PumpRow
from api.pages.plant.words import least_words, open_pump_words
from api.pages.shared.forms import FormState
from api.pages.shared.job_line import JobLine, TideRow, tide_row, tone_of
from api.pages.shared.margin import minimum_words
from scheduler.domain.base.enums import JobState, Subject
from scheduler.domain.vessel.job_kinds import BREAKDOWN, JobKind
from scheduler.domain.vessel.naming import short_kind
from scheduler.wording.due import due_words, job_rank, limit_left_seconds, meets_at, state_alone
from scheduler.wording.figures import M3H, NBSP, moment, number, short_date

_HOUR = 3600


@dataclass(frozen=True, slots=True, kw_only=True)
class PumpBlock:
    """A pump under its head: the drawing, the sign and what is to be said."""

    position: str
    serial: str
    href: str
    hours: str
    note: str
    note_tone: str
    picture: Markup
    state: JobState
    words: str
    tone: str
    out_action: str = ""
    repair_href: str = ""
    return_action: str = ""
    in_use_action: str = ""
    form: FormState = field(default_factory=FormState)


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
        said = f"{kind.name}: no running hours known"
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
    limit_left = limit_left_seconds(due)
    over = kind.tolerance_running_hours * _HOUR
    if limit_left is not None and due.running_seconds_left is not None:
        over = limit_left - due.running_seconds_left
    hours = number(due.since_seconds // 3600)
    return drawing.TubeFigure(
        label=label,
        words=f"{kind.name} {hours} of {number(interval // 3600)} running h, {due.state.value}",
        hours=hours,
        share=due.since_seconds / interval,
        window_share=1 - kind.window_running_hours * _HOUR / interval,
        limit_share=1 + over / interval,
        state=due.state,
        pressing=pressing,
    )


def pump_block(pump: PumpRow, view: PlantView, kinds: Sequence[JobKind]) -> PumpBlock:
    """What stands in a pump's column: hours, three tubes, and a sentence on its most pressing job."""
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
        note, note_tone = f"Counter silent since {short_date(pump.silent_since_at, offset)}", "brass"
    hours = "no hours read" if pump.hours is None else f"{number(pump.hours.hours, 1)}{NBSP}h"
    return PumpBlock(
        position=pump.position,
        serial=pump.serial,
        href=pump.href,
        hours=_hours_said(pump, hours, offset),
        note=note,
        note_tone=note_tone,
        picture=drawing.tubes(figures, pump.position) if figures else Markup(""),
        state=pressing.due.state if pressing else JobState.AHEAD,
        words=_pump_says(pressing, view.now_at, offset),
        tone=tone_of(pressing.due.state) if pressing else "",
        out_action=pump.out_action,
        repair_href=pump.repair_href,
        return_action=pump.return_action,
        in_use_action=pump.in_use_action,
        form=pump.form,
    )


def _hours_said(pump: PumpRow, hours: str, offset: int) -> str:
    """The pump's hours; of a silent counter those it is likely to have by now, and what was read last."""
    if pump.projected_hours is not None and pump.hours is not None and pump.hours.as_of is not None:
        now = number(pump.projected_hours)
        return f"about {now}{NBSP}h now, last read {hours} {moment(pump.hours.as_of, offset)}"
    return f"about {hours}" if pump.hours is not None and pump.hours.estimated else hours


def _pump_says(pressing: JobLine | None, now_at: datetime, offset: int) -> str:
    if pressing is None:
        return "No open job"
    due, kind = pressing.due, short_kind(pressing.due.kind_name, 20)
    if due.state is JobState.AHEAD:
        return f"Nothing due before {short_date(due.due_at, offset)}"
    if due.state is JobState.WINDOW_OPEN:
        return f"{kind} {due_words(due, now_at, offset)}"
    words = state_alone(due, now_at, offset)
    return f"{kind} {words[:1].lower()}{words[1:]}"


def plumbs_of(jobs: Sequence[JobLine]) -> tuple[drawing.Plumb, ...]:
    """A lead line for each slot that takes a pump out; jobs of one pump with the same start share one."""
    gathered: dict[tuple[datetime, str], list[JobLine]] = {}
    for job in sorted(jobs, key=lambda j: job_rank(j.due)):
        if job.slot_from_at and job.slot_to_at and job.kind.takes_pump_out:
            gathered.setdefault((job.slot_from_at, job.due.position or ""), []).append(job)
    found = []
    for (start, position), group in sorted(gathered.items()):
        kinds = " + ".join(short_kind(j.due.kind_name).lower() for j in group)
        end = max(j.slot_to_at for j in group if j.slot_to_at)
        found.append(drawing.Plumb(from_at=start, to_at=end, label=f"{position} {kinds}".strip()))
    return tuple(found)


def charts(view: PlantView) -> dict[str, Markup]:
    """The margin drawing: one for wide pages, and two strips of half the time for a phone, at one scale."""
    plumbs, said = plumbs_of(view.jobs), chart_words(view)
    middle = view.now_at + (view.horizon_at - view.now_at) / 2
    common = {"now_at": view.now_at, "utc_offset_minutes": view.frame.utc_offset_minutes}
    scale = drawing.scale_of(view.margins)

    def strip(a: datetime, b: datetime, width: int, depth: int, name: str, rows: int) -> Markup:
        return drawing.margin_chart(
            view.margins,
            plumbs,
            from_at=a,
            to_at=b,
            width=width,
            depth=depth,
            name=name,
            rows=rows,
            scale=scale,
            **common,  # type: ignore[arg-type]
        )

    return {
        "wide": strip(view.now_at - timedelta(hours=12), view.horizon_at, 802, 206, said, 4),
        "first": strip(view.now_at - timedelta(hours=8), middle, 358, 110, f"{said} First half.", 4),
        "second": strip(middle, view.horizon_at, 358, 110, "Second half of the same.", 4),
    }


def chart_words(view: PlantView) -> str:
    """The drawing in words, for those who do not see it."""
    if not view.margins:
        return "Margin over minimum vacuum capacity: not worked out yet."
    figure, when = least_words(view)
    minimum = minimum_words(view.margins)
    return f"Margin over minimum vacuum capacity. Least {figure} {M3H}, {when}. Minimum: {minimum}."
