"""The words of one calendar entry: summary, description, status and where it stands, by the state of its job."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from scheduler.domain.base.enums import PAST, JobState, Subject, Trigger
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.due.last_done import JobId
from scheduler.domain.feed.revision import CalendarEntry
from scheduler.domain.feed.scope import OUT
from scheduler.domain.feed.stability import PlannedSlot, ShownFigures
from scheduler.domain.record.closed_job import Verdict
from scheduler.domain.vessel.document import Plant, Vessel
from scheduler.domain.vessel.job_kinds import JobKind, caution_line
from scheduler.domain.vessel.naming import title
from scheduler.shiptime import MONTHS, day_text, instant_of, moment_text, run_text, ship_time

SUMMARY_LETTERS = 120


JOB_ROLE, OUT_ROLE = "job", "pump out"


@dataclass(frozen=True, slots=True, kw_only=True)
class DoneJob:
    """An occurrence that was closed. `position` is the position's id, none for a plant's job or a part ashore."""

    job_id: JobId
    kind_name: str
    position: str | None
    takes_pump_out: bool
    done_at: datetime
    utc_offset_minutes: int
    verdict: Verdict | None = None
    running_seconds: int | None = None
    record_number: int | None = None
    plant: str = ""
    """Its plant's id."""
    done_by: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class WithdrawnJob:
    """An occurrence that will not be done. `shown_on`: the date (or first date) it stood on."""

    job_id: JobId
    kind_name: str
    position: str | None
    takes_pump_out: bool
    withdrawn_at: datetime
    shown_on: date
    reason: str = ""
    plant: str = ""
    """Its plant's id."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PumpOut:
    """A pump that is out, or was: none of the jobs planned. back_at: when plans have it back, none when it is out without end;
    assumed: nobody said when. expected_at: when somebody said, passed or not. to_at: since when it is back."""

    pump: str
    position: str | None
    from_at: datetime
    to_at: datetime | None
    back_at: datetime | None
    assumed: bool
    reason: str
    plant: str
    expected_at: datetime | None = None
    waits_for_test: bool = False
    """It is back, and not proved yet."""


def open_entry(
    vessel: Vessel, plant: Plant, job: DueJob, slot: PlannedSlot | None, quoted: ShownFigures
) -> CalendarEntry:
    """The entry of an open job: timed in its slot, else all-day on its quoted due date."""
    state = job.state
    starts: date | datetime = slot.start_at if slot else quoted.due_on
    ends: date | datetime = slot.end_at if slot else quoted.due_on + timedelta(days=1)
    return _entry(
        vessel,
        plant,
        job.job_id,
        job.position,
        job.kind_name,
        pressing=state.value if state in (*PAST, JobState.NOT_KNOWN) else "",
        lines=[*_open_lines(job, slot, quoted), _caution(plant, job.job_id, job.takes_pump_out)],
        starts=starts,
        ends=ends,
        state=state,
        status="CONFIRMED"
        if slot is not None or state in (*PAST, JobState.POSTPONED, JobState.NOT_KNOWN)
        else "TENTATIVE",
        opaque=slot is not None,
        takes_hours=job.takes_hours,
        quoted=quoted,
    )


def _open_lines(job: DueJob, slot: PlannedSlot | None, quoted: ShownFigures) -> list[str]:
    lines = [f"{job.state.value[:1].upper()}{job.state.value[1:]}{', planned' if slot else ', no slot'}."]
    if slot is not None:
        end_offset = quoted.offset_minutes if quoted.end_offset_minutes is None else quoted.end_offset_minutes
        begin, end = moment_text(slot.start_at, quoted.offset_minutes), moment_text(slot.end_at, end_offset)
        lines.append(f"Planned {begin} to {end} ship time (UTC{_offset(quoted.offset_minutes)}).")
        open_h = round((slot.end_at - slot.start_at) / timedelta(hours=1))
        if open_h > job.takes_hours:
            lines.append(
                f"{open_h} h for {job.takes_hours} h of work: in between are hours without hands (night, other work, no work)."
            )
    if job.state is JobState.NOT_KNOWN:
        return [
            *lines,
            "Nobody has said when it was last done: due now, until the chief engineer sets a first date.",
            _takes(job),
        ]
    if quoted.running_seconds is not None:
        dated = "" if quoted.hours_on is None else f" at {day_text(quoted.hours_on)}"
        left = None if job.due_running_seconds is None else job.due_running_seconds - quoted.running_seconds
        to_go = "" if left is None else f"; {run_text(left)} to go" if left > 0 else f"; {run_text(-left)} over"
        about = ", estimated" if job.estimated else ""
        lines.append(f"Running hours: {_hours(quoted.running_seconds)}{dated}{about}{to_go}.")
    if job.due_running_seconds is not None and job.trigger is Trigger.RUNNING_HOURS:
        about = "" if job.state in PAST else "about "
        lines.append(f"Due: {_hours(job.due_running_seconds)} running h, {about}{day_text(quoted.due_on)}.")
    else:
        lines.append(f"Due: {day_text(quoted.due_on)} by calendar.")
    limit = "none" if quoted.limit_on is None else day_text(quoted.limit_on)
    if job.limit_running_seconds is not None and job.trigger is Trigger.RUNNING_HOURS:
        limit = f"{_hours(job.limit_running_seconds)} running h, about {limit}"
    lines.append(f"Limit: {limit}{' (postponed)' if job.postponed_to else ''}.")
    if quoted.h_per_day_tenths is not None and quoted.early_on is not None and quoted.late_on is not None:
        lines.append(
            f"At {quoted.h_per_day_tenths / 10:.1f} h a day (last {quoted.look_back_days} days): "
            f"early {day_text(quoted.early_on)}, late {day_text(quoted.late_on)}."
        )
    lines.append(_takes(job))
    if slot is not None and slot.least_margin_swept_m3_per_h is not None:
        margin = slot.least_margin_swept_m3_per_h
        side = "below" if margin < 0 else "above"
        lines.append(f"Least margin while open: {abs(margin):.1f} m3/h {side} the minimum (calculated).")
        if margin >= 0 and not slot.covered:
            lines.append("No cover: if one more pump trips meanwhile, capacity is short.")
    if job.renewed_by:
        lines.append(f"Done with job {job.renewed_by}, which is due first and renews it.")
    if not job.first:
        lines.append("Outlook: rests on the job before it being done when due.")
    return lines


def out_key(pump: str, from_at: datetime) -> str:
    """Key of the entry of a pump that is out; not the key of any turn."""
    return f"{OUT}{pump}/{round(from_at.timestamp())}"


def out_entry(vessel: Vessel, plant: Plant, out: PumpOut, offset_minutes: int, at: datetime) -> CalendarEntry:
    """The entry of a pump that is out, from then until plans have it back, or until the end of today while nobody knows."""
    serial = next((pump.serial for pump in plant.pumps if pump.id == out.pump), out.pump)
    place = next((one.name for one in plant.positions if one.id == out.position), serial)
    midnight = datetime.combine(ship_time(at, offset_minutes).date() + timedelta(days=1), time())
    tomorrow = instant_of(midnight, offset_minutes)
    ends = out.to_at or out.back_at or max(tomorrow, out.from_at + timedelta(hours=1))
    back = None if out.back_at is None else ship_time(out.back_at, offset_minutes)
    back_on = "" if back is None else f"{back.day} {MONTHS[back.month - 1]}"
    if out.to_at is not None:
        said, words = "was out", f"Back since {moment_text(out.to_at, offset_minutes)} ship time."
    elif out.waits_for_test:
        said, words = (
            "not proved",
            "It is back and waits for its test: it counts at the provisional derate, not in full.",
        )
    elif out.back_at is None and out.expected_at is not None:
        passed = moment_text(out.expected_at, offset_minutes)
        said, words = (
            "out, back not known",
            f"It was expected back {passed} ship time, which has passed: say when it is back.",
        )
    elif out.back_at is None:
        said, words = "out, back not known", "Nobody has said when it is back: say so on the plant page."
    elif out.assumed:
        said, words = f"out, back {back_on}?", "Nobody has said when it is back: plans assume 14 days from the stop."
    else:
        said, words = f"out, back {back_on}", f"Expected back {moment_text(out.back_at, offset_minutes)} ship time."
    lines = [f"{place}, pump {serial}: out since {moment_text(out.from_at, offset_minutes)} ship time. {words}"]
    if out.reason:
        lines.append(f"Reason: {out.reason}.")
    return CalendarEntry(
        key=out_key(out.pump, out.from_at),
        role=OUT_ROLE,
        summary=short(f"{place} {said}"),
        description="\n".join(lines),
        starts=out.from_at,
        ends=max(ends, out.from_at + timedelta(minutes=1)),
        state=None,
        status="CONFIRMED",
        opaque=False,
        categories=("pump out", place),
        path=f"/plants/{plant.id}",
        location=f"{vessel.name}, {plant.name}",
    )


def _takes(job: DueJob) -> str:
    hands = "1 person" if job.hands == 1 else f"{job.hands} persons"
    return f"Takes: {job.takes_hours} h, {hands}{', pump out' if job.takes_pump_out else ''}."


def done_entry(vessel: Vessel, plant: Plant, job: DoneJob) -> CalendarEntry:
    """The all-day entry of a done job on the ship date it was done."""
    on = ship_time(job.done_at, job.utc_offset_minutes).date()
    at_hours = "" if job.running_seconds is None else f" at {_hours(job.running_seconds)} running h"
    by = f" by {job.done_by}" if job.done_by else ""
    lines = [f"Done{by}: {moment_text(job.done_at, job.utc_offset_minutes)} ship time{at_hours}."]
    if job.verdict is not None:
        lines.append(f"Verdict: {job.verdict.value}.")
    if job.record_number is not None:
        lines.append(f"Record: {job.record_number}.")
    return _entry(
        vessel,
        plant,
        job.job_id,
        job.position,
        job.kind_name,
        pressing="done",
        lines=lines,
        starts=on,
        ends=on + timedelta(days=1),
        state=JobState.DONE,
        status="CONFIRMED",
        completed_at=job.done_at,
    )


def withdrawn_entry(vessel: Vessel, plant: Plant, job: WithdrawnJob) -> CalendarEntry:
    """The cancelled entry of a withdrawn job, on the date it stood on."""
    reason = f": {job.reason}" if job.reason else ""
    return _entry(
        vessel,
        plant,
        job.job_id,
        job.position,
        job.kind_name,
        pressing="withdrawn",
        lines=[f"Withdrawn{reason}."],
        starts=job.shown_on,
        ends=job.shown_on + timedelta(days=1),
        state=JobState.WITHDRAWN,
        status="CANCELLED",
    )


def _entry(
    vessel: Vessel,
    plant: Plant,
    job_id: JobId,
    position: str | None,
    kind_name: str,
    *,
    pressing: str,
    lines: Sequence[str],
    starts: date | datetime,
    ends: date | datetime,
    state: JobState,
    status: str,
    opaque: bool = False,
    takes_hours: int | None = None,
    quoted: ShownFigures | None = None,
    completed_at: datetime | None = None,
) -> CalendarEntry:
    place = place_of(plant, position, job_id)
    at_plant = position is None and job_id.subject == plant.id
    named = title("" if at_plant else place, kind_name, [kind.name for kind in plant.job_kinds], pressing)
    return CalendarEntry(
        key=job_id.key,
        role=JOB_ROLE,
        summary=short(named),
        description="\n".join([*lines, f"Job no. {job_id.key}."]),
        starts=starts,
        ends=ends,
        state=state,
        status=status,
        opaque=opaque,
        categories=(state.value, place, kind_name),
        path=f"/vessels/{vessel.id}/jobs/{job_id.key}",
        location=f"{vessel.name}, {plant.name}",
        takes_hours=takes_hours,
        quoted=quoted,
        completed_at=completed_at,
    )


def place_of(plant: Plant, position: str | None, job_id: JobId) -> str:
    """The position's name; without one the subject, the plant by its name."""
    if position is not None:
        return next((known.name for known in plant.positions if known.id == position), position)
    return plant.name if job_id.subject == plant.id else job_id.subject


def _caution(plant: Plant, job_id: JobId, takes_pump_out: bool) -> str:
    try:
        kind = plant.kind(job_id.kind)
    except KeyError:  # the kind was taken out of the plant since
        code = job_id.kind
        kind = JobKind(code=code, name=code, subject=Subject.PLANT, takes_hours=1, takes_pump_out=takes_pump_out)
    return caution_line(kind)


def short(text: str) -> str:
    """The text on one line, cut to 120 letters."""
    text = " ".join(text.split())
    return text if len(text) <= SUMMARY_LETTERS else text[: SUMMARY_LETTERS - 1] + "…"


def _offset(minutes: int) -> str:
    return f"{'-' if minutes < 0 else '+'}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}"


def _hours(seconds: int) -> str:
    return str(seconds // 3600)
