"""The words of one calendar entry: summary, description, status and where it stands, by the state of its job."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from scheduler.domain.due import DueJob, Occurrence
from scheduler.domain.fleet import JobKind, Plant, Vessel, caution_line
from scheduler.domain.history import Verdict
from scheduler.domain.quoting import PlannedSlot, Quoted
from scheduler.domain.revision import CalendarEntry
from scheduler.domain.shiptime import ship_time
from scheduler.domain.words import PAST, State, Subject, Trigger

SUMMARY_LETTERS = 120
JOB_ROLE = "job"
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


@dataclass(frozen=True, slots=True, kw_only=True)
class DoneJob:
    """An occurrence that was closed. `position` is the position's id, none for a plant's job or a part ashore."""

    occurrence: Occurrence
    kind_name: str
    position: str | None
    takes_pump_out: bool
    done_at: datetime
    utc_offset_minutes: int
    verdict: Verdict | None = None
    running_seconds: int | None = None
    record_number: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class WithdrawnJob:
    """An occurrence that will not be done. `shown_on`: the date (or first date) it stood on."""

    occurrence: Occurrence
    kind_name: str
    position: str | None
    takes_pump_out: bool
    withdrawn_at: datetime
    shown_on: date
    reason: str = ""


def open_entry(vessel: Vessel, plant: Plant, job: DueJob, slot: PlannedSlot | None, quoted: Quoted) -> CalendarEntry:
    """The entry of an open job: timed in its slot, else all-day on its quoted due date."""
    state = job.state
    prefix = state.value.upper()
    if slot is not None:
        prefix = f"{prefix}, PLANNED" if state in PAST else "PLANNED"
    starts: date | datetime = slot.start_at if slot else quoted.due_on
    ends: date | datetime = slot.end_at if slot else quoted.due_on + timedelta(days=1)
    return _entry(
        vessel,
        plant,
        job.occurrence,
        job.position,
        job.kind_name,
        prefix=prefix,
        lines=[*_open_lines(job, slot, quoted), _caution(plant, job.occurrence, job.takes_pump_out)],
        starts=starts,
        ends=ends,
        state=state,
        status="CONFIRMED" if slot is not None or state in (*PAST, State.POSTPONED, State.NOT_KNOWN) else "TENTATIVE",
        opaque=slot is not None,
        takes_hours=job.takes_hours,
        quoted=quoted,
    )


def _open_lines(job: DueJob, slot: PlannedSlot | None, quoted: Quoted) -> list[str]:
    lines = []
    if slot is not None:
        end_offset = quoted.offset_minutes if quoted.end_offset_minutes is None else quoted.end_offset_minutes
        begin, end = moment(slot.start_at, quoted.offset_minutes), moment(slot.end_at, end_offset)
        lines.append(f"Planned {begin} to {end} ship time (UTC{_offset(quoted.offset_minutes)}).")
    if job.state is State.NOT_KNOWN:
        return [
            *lines,
            "Nobody has said when it was last done: due now, until the chief engineer sets a first date.",
            _takes(job),
        ]
    if quoted.running_seconds is not None:
        dated = "" if quoted.hours_on is None else f" at {day(quoted.hours_on)}"
        lines.append(f"Running hours: {_hours(quoted.running_seconds)}{dated}{', estimated' if job.estimated else ''}.")
    if job.due_running_seconds is not None and job.trigger is Trigger.RUNNING_HOURS:
        about = "" if job.state in PAST else "about "
        lines.append(f"Due: {_hours(job.due_running_seconds)} running h, {about}{day(quoted.due_on)}.")
    else:
        lines.append(f"Due: {day(quoted.due_on)} by calendar.")
    limit = "none" if quoted.limit_on is None else day(quoted.limit_on)
    if job.limit_running_seconds is not None and job.trigger is Trigger.RUNNING_HOURS:
        limit = f"{_hours(job.limit_running_seconds)} running h, about {limit}"
    lines.append(f"Limit: {limit}{' (postponed)' if job.postponed_to else ''}.")
    if quoted.h_per_day_tenths is not None and quoted.early_on is not None and quoted.late_on is not None:
        lines.append(
            f"At {quoted.h_per_day_tenths / 10:.1f} h a day (last {quoted.look_back_days} days): "
            f"early {day(quoted.early_on)}, late {day(quoted.late_on)}."
        )
    lines.append(_takes(job))
    if slot is not None and slot.least_margin_swept_m3_per_h is not None:
        margin = slot.least_margin_swept_m3_per_h
        side = "below" if margin < 0 else "above"
        lines.append(f"Least margin while open: {abs(margin):.1f} m3/h {side} the minimum (calculated).")
    if job.renewed_by:
        lines.append(f"Done with job {job.renewed_by}, which is due first and renews it.")
    if not job.first:
        lines.append("Outlook: rests on the job before it being done when due.")
    return lines


def _takes(job: DueJob) -> str:
    hands = "1 person" if job.hands == 1 else f"{job.hands} persons"
    return f"Takes: {job.takes_hours} h, {hands}{', pump out' if job.takes_pump_out else ''}."


def done_entry(vessel: Vessel, plant: Plant, job: DoneJob) -> CalendarEntry:
    """The all-day entry of a done job on the ship date it was done."""
    on = ship_time(job.done_at, job.utc_offset_minutes).date()
    at_hours = "" if job.running_seconds is None else f" at {_hours(job.running_seconds)} running h"
    lines = [f"Done: {moment(job.done_at, job.utc_offset_minutes)} ship time{at_hours}."]
    if job.verdict is not None:
        lines.append(f"Verdict: {job.verdict.value}.")
    if job.record_number is not None:
        lines.append(f"Record: {job.record_number}.")
    return _entry(
        vessel,
        plant,
        job.occurrence,
        job.position,
        job.kind_name,
        prefix="DONE",
        lines=lines,
        starts=on,
        ends=on + timedelta(days=1),
        state=State.DONE,
        status="CONFIRMED",
    )


def withdrawn_entry(vessel: Vessel, plant: Plant, job: WithdrawnJob) -> CalendarEntry:
    """The cancelled entry of a withdrawn job, on the date it stood on."""
    reason = f": {job.reason}" if job.reason else ""
    return _entry(
        vessel,
        plant,
        job.occurrence,
        job.position,
        job.kind_name,
        prefix="WITHDRAWN",
        lines=[f"Withdrawn{reason}."],
        starts=job.shown_on,
        ends=job.shown_on + timedelta(days=1),
        state=State.WITHDRAWN,
        status="CANCELLED",
    )


def _entry(
    vessel: Vessel,
    plant: Plant,
    occurrence: Occurrence,
    position: str | None,
    kind_name: str,
    *,
    prefix: str,
    lines: Sequence[str],
    starts: date | datetime,
    ends: date | datetime,
    state: State,
    status: str,
    opaque: bool = False,
    takes_hours: int | None = None,
    quoted: Quoted | None = None,
) -> CalendarEntry:
    return CalendarEntry(
        key=occurrence.key,
        role=JOB_ROLE,
        summary=short(f"{prefix} {place_of(plant, position, occurrence)} {kind_name}"),
        description="\n".join([*lines, f"Job no. {occurrence.key}."]),
        starts=starts,
        ends=ends,
        state=state,
        status=status,
        opaque=opaque,
        categories=("maintenance", kind_name),
        path=f"/vessels/{vessel.id}/jobs/{occurrence.key}",
        location=f"{vessel.name}, {plant.name}",
        takes_hours=takes_hours,
        quoted=quoted,
    )


def place_of(plant: Plant, position: str | None, occurrence: Occurrence) -> str:
    """The position's name; without one the subject, the plant by its name."""
    if position is not None:
        return next((known.name for known in plant.positions if known.id == position), position)
    return plant.name if occurrence.subject == plant.id else occurrence.subject


def _caution(plant: Plant, occurrence: Occurrence, takes_pump_out: bool) -> str:
    try:
        kind = plant.kind(occurrence.kind)
    except KeyError:  # the kind was taken out of the plant since
        code = occurrence.kind
        kind = JobKind(code=code, name=code, subject=Subject.PLANT, takes_hours=1, takes_pump_out=takes_pump_out)
    return caution_line(kind)


def short(text: str) -> str:
    """The text on one line, cut to 120 letters."""
    text = " ".join(text.split())
    return text if len(text) <= SUMMARY_LETTERS else text[: SUMMARY_LETTERS - 1] + "…"


def day(on: date) -> str:
    """Like "Fri 27 Nov 2026"."""
    return f"{_DAYS[on.weekday()]} {on.day} {_MONTHS[on.month - 1]} {on.year}"


def moment(at: datetime, offset_minutes: int) -> str:
    """Date and clock at ship time, without the offset."""
    there = ship_time(at, offset_minutes)
    return f"{there.day} {_MONTHS[there.month - 1]} {there.year} {there:%H:%M}"


def _offset(minutes: int) -> str:
    return f"{'-' if minutes < 0 else '+'}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}"


def _hours(seconds: int) -> str:
    return str(seconds // 3600)
