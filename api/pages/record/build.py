"""From a pump's records and running hours to the view of its page. Pure."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta

from api.pages.drawing.curve import SinceClose, SinceCurve, curve
from api.pages.record.page import CurveBlock, FoundJob, PumpView, TableRow
from api.pages.shared.codes import code_words
from api.pages.shared.frame import Frame
from api.pages.shared.job_line import JobLine, tone_of
from scheduler.actions.plant_state.load import PlantState
from scheduler.actions.record.search import RecordHit
from scheduler.domain.base.enums import JobState, Subject
from scheduler.domain.capacity.notices import STOP_NOTICE, Notified
from scheduler.domain.hours.counter_figure import CounterFigure
from scheduler.domain.hours.daily import DayHours
from scheduler.domain.record.closed_job import ClosedJob, Verdict
from scheduler.domain.record.period import JOB_CHECKED, sheet_check_of, since_curves, thinned
from scheduler.domain.vessel.document import Pump
from scheduler.domain.vessel.job_kinds import BREAKDOWN, JobKind
from scheduler.language import gettext as _
from scheduler.language import marked
from scheduler.shiptime import run_text, ship_time
from scheduler.wording.capacity import notified_words
from scheduler.wording.due import state_alone
from scheduler.wording.figures import M3H, count_words, inner, listed, moment, number, short_date
from scheduler.wording.hours import counter_due_words, figure_words, since_words
from scheduler.wording.names import pump_words
from scheduler.wording.papers import day_on, found_words
from scheduler.wording.record import record_excerpt, record_person

_LATE = (Verdict.WITHIN_LIMIT, Verdict.LATE, Verdict.POSTPONED)
_STOPS = {
    "pump down": marked("out"),
    "pump back": marked("back"),
    "breakdown opened": marked("broke down"),
    "runs after all": marked("ran on"),
    STOP_NOTICE: marked("told of the stop"),
}
_HOUR = 3600


def pump_view(
    now: PlantState,
    pump: Pump,
    hits: Sequence[RecordHit],
    days: Sequence[DayHours],
    jobs: Sequence[JobLine],
    *,
    frame: Frame,
    years: int,
    may_export: bool,
) -> PumpView:
    """The view. hits: what is on record of the pump, newest first. days: hours it ran on each day, oldest first."""
    offset, mine = now.offset_minutes, [line for line in jobs if line.due.pump == pump.id]
    closed = _closes(hits)
    planned = [hit for hit in closed if hit.members.get("verdict") != Verdict.BREAKDOWN]
    hours = now.hours.get((Subject.PUMP, pump.id))
    ran = [day.seconds for day in days[-30:] if day.seconds is not None]
    name = pump_words(now.plant, now.at, pump.id)
    here = now.plant.position_of(pump.id, now.at)
    figure = now.counter_figure(here)
    return PumpView(
        frame=frame,
        name=name,
        serial=pump.serial,
        others=tuple(
            (pump_words(now.plant, now.at, one.id), "" if one.id == pump.id else f"/pumps/{one.id}/record")
            for one in now.plant.pumps
        ),
        heading=_heading(name, planned, len(closed) - len(planned), mine, now, years),
        counter="" if figure is None else figure_words(figure),
        counter_at="" if figure is None else _("read {moment}", moment=moment(figure.at, offset, now.at)),
        hours="" if hours is None or hours.as_of is None else f"{number(hours.hours)} h",
        hours_at=""
        if hours is None or hours.as_of is None
        else _("read {moment}", moment=moment(hours.as_of, offset, now.at)),
        a_day=_(
            "{number} h a day in the last {total} days", number=number(sum(ran) / len(ran) / _HOUR, 1), total=len(ran)
        )
        if ran
        else "",
        capacity=_capacity(pump, now),
        facts=tuple(_since(line, figure) for line in mine if line.due.since_seconds is not None),
        curves=tuple(_curves(now, closed, days, mine)),
        ahead=tuple(_ahead(line, now) for line in sorted(mine, key=lambda one: one.due.due_at)),
        jobs=tuple(_job_row(hit, now) for hit in closed),
        stops=tuple(_stop_row(hit, now) for hit in hits if hit.kind in _STOPS),
        tests=tuple(_test_row(hit, now) for hit in hits if hit.kind == "pump tested"),
        counters=tuple(_counter_row(hit, now) for hit in hits if hit.kind.startswith("counter ")),
        gaps=tuple(_gaps(closed, days, now.plant.job_kinds)),
        points_href=f"/pumps/{pump.id}/points",
        export_href=f"/api/v1/history?vessel={now.vessel.id}&pump={pump.serial}" if may_export else "",
        photos=sum(hit.kind == "photo kept" for hit in hits),
    )


def _closes(hits: Sequence[RecordHit]) -> list[RecordHit]:
    """The closed jobs, each with who checked it, on the spot or later."""
    later = {str(hit.members["checks_record"]): hit.members["checked_by"] for hit in hits if hit.kind == JOB_CHECKED}
    return [
        replace(hit, members={**hit.members, "checked_by": hit.members.get("checked_by") or later.get(str(hit.number))})
        for hit in hits
        if hit.kind == ClosedJob.KIND
    ]


def _heading(
    name: str, planned: Sequence[RecordHit], repairs: int, mine: Sequence[JobLine], now: PlantState, years: int
) -> str:
    since = now.at - timedelta(days=365 * years)
    recent = [hit for hit in planned if _done_at(hit) >= since]
    late = sum(hit.members.get("verdict") in _LATE for hit in recent)
    said = _(
        "{name}: {jobs} in {years} years", name=name, jobs=inner(count_words(len(recent), "job", "jobs")), years=years
    )
    if repairs:
        said += _(" and {repairs} on record", repairs=inner(count_words(repairs, "repair", "repairs")))
    said += f", {inner(count_words(late, 'past due', 'past due'))}" if late else _(", none past due") if recent else ""
    known = [line for line in mine if line.due.state is not JobState.NOT_KNOWN]
    unknown = [inner(line.due.kind_name) for line in mine if line.due.state is JobState.NOT_KNOWN]
    ahead = min(known, key=lambda line: line.due.due_at, default=None)
    said += (
        ""
        if ahead is None
        else _(". {kind_name} is next: {state}", kind_name=ahead.due.kind_name, state=inner(_state(ahead, now)))
    )
    return (
        _("{said}. Nobody said when the last {jobs} was.", said=said, jobs=listed(unknown)) if unknown else f"{said}."
    )


def _capacity(pump: Pump, now: PlantState) -> str:
    counts = now.counts_for().get(pump.id)
    rated = _("rated {number} {m3h} swept", number=number(pump.rated_swept_m3_per_h, 1), m3h=M3H)
    return (
        rated
        if counts is None
        else _("counts for {number} {m3h}, {rated}", number=number(counts.m3_per_h, 1), m3h=M3H, rated=rated)
    )


def _state(line: JobLine, now: PlantState) -> str:
    return state_alone(line.due, now.at, now.offset_minutes)


def _since(line: JobLine, figure: CounterFigure | None) -> tuple[str, str, str]:
    """(kind, hours since it of its interval, at what the counter shows it is due)."""
    due = line.due
    left = due.running_seconds_left
    at = "" if left is None or figure is None else counter_due_words(figure, left)
    return (
        due.kind_name,
        since_words(due.since_seconds or 0, due.interval_seconds),
        _("due at {at}", at=at) if at else "",
    )


def _ahead(line: JobLine, now: PlantState) -> FoundJob:
    due, offset = line.due, now.offset_minutes
    at = _("planned {moment}, ", moment=moment(line.slot_from_at, offset, now.at)) if line.slot_from_at else ""
    return FoundJob(
        name=due.kind_name,
        href=line.href,
        words=_("{at}due {short_date}", at=at, short_date=short_date(due.due_at, offset, now.at)),
        state=due.state,
        tone=tone_of(due.state),
    )


def _done_at(hit: RecordHit) -> datetime:
    return datetime.fromisoformat(
        str(hit.members.get("done_at") or hit.members.get("at") or hit.recorded_at.isoformat())
    )


def _job_row(hit: RecordHit, now: PlantState) -> TableRow:
    members, verdict = hit.members, str(hit.members["verdict"])
    over, days = members.get("seconds_from_due"), members.get("days_from_due")
    if verdict not in (Verdict.IN_WINDOW, Verdict.BREAKDOWN, Verdict.NOT_JUDGED):
        size = run_text(int(over)) if over is not None else f"{abs(int(days))} d" if days is not None else ""
        verdict = f"{code_words(verdict)}, {size}" if size else code_words(verdict)
    else:
        verdict = code_words(verdict)
    running = members.get("running_seconds")
    checked = _(", checked by {name}", name=members["checked_by"]) if members["checked_by"] else ""
    sheet = sheet_check_of(members)
    checked = checked or (f", {sheet}" if sheet else "")
    return TableRow(
        when=short_date(_done_at(hit), now.offset_minutes, now.at),
        what=str(members["job_kind"]),
        href=f"/vessels/{now.vessel.id}/jobs/{members['job_no']}",
        figure="" if running is None else f"{number(int(running) // _HOUR)} h",
        verdict=verdict,
        late=members["verdict"] in _LATE or members["verdict"] == Verdict.BREAKDOWN,
        found=found_words(*(str(members.get(name) or "") for name in ("findings", "measures"))) or "–",
        test=code_words(str(members.get("test") or "–")),
        by=f"{members.get('done_by')}{checked}",
    )


def _kind_code(hit: RecordHit) -> str:
    return str(hit.members["job_no"]).partition(":")[0]


def _stop_row(hit: RecordHit, now: PlantState) -> TableRow:
    return TableRow(
        when=moment(_done_at(hit), now.offset_minutes, now.at),
        what=_(_STOPS[hit.kind]),
        found=notified_words(Notified(hit.members["whom"]))
        if hit.kind == STOP_NOTICE
        else str(hit.members.get("reason") or "–"),
        by=record_person(hit.members),
    )


def _test_row(hit: RecordHit, now: PlantState) -> TableRow:
    members = hit.members
    swept, leak = members.get("swept_m3_per_h"), members.get("leak_free_m3_per_h")
    rated = members.get("rated_swept_m3_per_h")
    share = (
        _(", {number} % of rated", number=number(100 * float(swept) / float(rated)))
        if swept and rated and float(rated)
        else ""
    )
    return TableRow(
        when=moment(_done_at(hit), now.offset_minutes, now.at),
        what=_("Pull-down test"),
        figure=_("{number} {m3h} swept{share}", number=number(float(swept), 1), m3h=M3H, share=share) if swept else "–",
        verdict=code_words(str(members.get("test"))),
        late=members.get("test") != "passed",
        found=_("leak {number} {m3h} of free air", number=number(float(leak), 1), m3h=M3H) if leak else "–",
        by=str(members.get("done_by") or record_person(members)),
    )


def _counter_row(hit: RecordHit, now: PlantState) -> TableRow:
    text = "".join(piece for piece, _ in record_excerpt(hit.members, ()))
    return TableRow(
        when=moment(_done_at(hit), now.offset_minutes, now.at),
        what=code_words(hit.kind.removeprefix("counter ")),
        found=text or "–",
        by=record_person(hit.members),
    )


def _gaps(closed: Sequence[RecordHit], days: Sequence[DayHours], kinds: Sequence[JobKind]) -> list[str]:
    """What the record of this pump lacks, said before it is exported."""
    said = []
    opens = {kind.code for kind in (*kinds, BREAKDOWN) if kind.takes_pump_out}
    alone = [hit for hit in closed if not hit.members["checked_by"] and _kind_code(hit) in opens]
    on_sheet = sum(bool(sheet_check_of(hit.members)) for hit in alone)
    unknown = sum(day.seconds is None for day in days)
    if unknown:
        said.append(
            _(
                "Of {number} days, {number_2} have no running hours: not counted, or it stood in no position.",
                number=number(len(days)),
                number_2=number(unknown),
            )
        )
    laid = sum(day.interpolated for day in days)
    if laid:
        said.append(_("On {number} days the hours are laid over a gap between two readings.", number=number(laid)))
    for what, count in (
        (_("no hours at the close"), sum(hit.members.get("running_seconds") is None for hit in closed)),
        (_("hours estimated"), sum(hit.members.get("hours_source") == "estimated" for hit in closed)),
        (_("not checked by a second person"), len(alone) - on_sheet),
        (_("checked as the sheet on paper says, not by own sign-in"), on_sheet),
        (_("taken from paper"), sum(bool(hit.members.get("from_paper")) for hit in closed)),
    ):
        if count:
            said.append(_("{jobs} {what}.", jobs=count_words(count, "job", "jobs"), what=what))
    return said


def _curves(
    now: PlantState, closed: Sequence[RecordHit], days: Sequence[DayHours], mine: Sequence[JobLine]
) -> list[CurveBlock]:
    found = []
    for kind in sorted(now.plant.job_kinds, key=lambda one: (one.interval_running_hours or 0, one.code)):
        lines = [line for line in mine if line.kind.code == kind.code]
        closes = [hit for hit in closed if _kind_code(hit) == kind.code]
        if kind.interval_running_hours and kind.code != BREAKDOWN.code and (lines or closes) and days:
            block = _curve(now, kind, closes, days, lines)
            found += [block] if block else []
    return found


def _curve(
    now: PlantState, kind: JobKind, closes: Sequence[RecordHit], days: Sequence[DayHours], lines: Sequence[JobLine]
) -> CurveBlock | None:
    """none: nobody knows when it was last done."""
    interval = kind.interval_running_hours or 1
    ends = [(ship_time(_done_at(hit), now.offset_minutes).date(), _since_before(hit, interval), hit) for hit in closes]
    ends = sorted((one for one in ends if one[0] >= days[0].on), key=lambda one: one[0])
    since_now = lines[0].due.since_seconds if lines else None
    runs = since_curves(
        days,
        [(on, since) for on, since, _hit in ends],
        since_now_hours=None if since_now is None else since_now / _HOUR,
    )
    if not runs:
        return None
    name = inner(kind.name)
    said = [
        _("{words} on {day}", words=mark.words, day=day_on(mark.on).replace("\u00a0", " ")) for mark in map(_mark, ends)
    ]
    figure = SinceCurve(
        first=days[0].on,
        last=ship_time(now.at, now.offset_minutes).date(),
        interval_hours=interval,
        window_hours=interval - kind.window_running_hours,
        limit_hours=interval + kind.tolerance_running_hours,
        runs=[thinned(run, 80) for run in runs],
        closes=[_mark(one) for one in ends],
        words=_("Running hours since {name}: {several}", name=name, several="; ".join(said) or _("none on record")),
    )
    return CurveBlock(name=_("{job}, every {hours} h", job=kind.name, hours=number(interval)), picture=curve(figure))


def _mark(one: tuple[date, float, RecordHit]) -> SinceClose:
    on, since, hit = one
    over, verdict = hit.members.get("seconds_from_due"), hit.members.get("verdict")
    hours = "" if over is None else f"{'+' if int(over) > 0 else '−'}{number(abs(int(over)) // _HOUR)} h"
    words = _("in window") if verdict == Verdict.IN_WINDOW else f"{code_words(str(verdict))} {hours}".strip()
    return SinceClose(on=on, since_hours=since, words=words, late=verdict in _LATE)


def _since_before(hit: RecordHit, interval: int) -> float:
    over = hit.members.get("seconds_from_due")
    return interval + (0.0 if over is None else int(over) / _HOUR)
