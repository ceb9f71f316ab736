"""The JSON that the doors answer: fleet, hours, due jobs, capacity. Instants are RFC 3339 UTC, with the ship's offset beside."""

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any

from api.pages.shared.margin import MarginStretch
from scheduler.actions.base.context import instant, maybe
from scheduler.actions.hours.counter_events import CounterBook, EventShown
from scheduler.actions.hours.daily import DailyBook
from scheduler.actions.plant_state.load import PlantState
from scheduler.actions.plant_state.published import MovedDate
from scheduler.actions.vessel.document import VESSEL
from scheduler.actions.vessel.fleet import Version
from scheduler.actions.voyage.days import Preview, StoredDays, change_words, stored_words
from scheduler.domain.base.enums import Subject
from scheduler.domain.checks.diagnosis import Diagnosis
from scheduler.domain.due.explain_date import explain_date
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.hours.running import RunningHours
from scheduler.domain.vessel.document import Vessel, caution_line
from scheduler.storage.hours.readings import IntakeLogRow


def z(at: datetime | None) -> str | None:
    """RFC 3339 in UTC, or none."""
    return None if at is None else at.replace(microsecond=0).isoformat().replace("+00:00", "Z")


def offset_text(minutes: int) -> str:
    """The ship's offset as RFC 3339 writes it."""
    return f"{'-' if minutes < 0 else '+'}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}"


def vessel_json(vessel: Vessel, version: int) -> dict[str, Any]:
    """The vessel's document and its version."""
    return {"version": version, "document": VESSEL.dump_python(vessel, mode="json")}


def version_json(one: Version) -> dict[str, Any]:
    """A stored version of a document, without the document."""
    return {
        "version": one.version,
        "stored_at": z(one.stored_at),
        "by": one.by,
        "reason": one.reason,
        "approved_by": one.approved_by,
        "record": one.record or None,
    }


def hours_json(hours: RunningHours | None, projected: int | None = None) -> dict[str, Any] | None:
    """Running hours as last read, and what they rest on. projected: seconds likely by now, while the counter is silent."""
    if hours is None:
        return None
    return {
        "running_hours": round(hours.hours, 2),
        "projected_running_hours": _h(projected),
        "as_of": z(hours.as_of),
        "estimated": hours.estimated,
    }


def due_json(now: PlantState, job: DueJob) -> dict[str, Any]:
    """A due job in full. Its dates are those published, as page and calendar show them; `reckoned` has those of now."""
    seen, posted = now.as_shown(job), now.posted.get(job.job_id.key)
    forecast, projected = job.forecast, job.projected_seconds_left
    return {
        "job": job.job_id.key,
        "kind": job.job_id.kind,
        "name": job.kind_name,
        "subject": job.job_id.subject,
        "sequence": job.job_id.sequence,
        "position": job.position,
        "position_name": now.position_name(job.position),
        "pump": job.pump,
        "state": job.state.value,
        "open": job.first,
        **_dates_json(seen),
        "published": {**_dates_json(seen), "since": None if posted is None else z(posted.new.since_at)},
        "reckoned": _dates_json(job),
        "days_left": round((seen.due_at - now.at) / timedelta(days=1), 1),
        "calendar_due_at": z(job.calendar_due_at),
        "due_running_hours": _h(job.due_running_seconds),
        "limit_running_hours": _h(job.limit_running_seconds),
        "running_hours_left": _h(job.running_seconds_left),
        "projected_running_hours_left": _h(projected),
        "h_per_day": round(forecast.h_per_day, 2) if forecast else None,
        "hours_as_of": z(job.hours_as_of),
        "estimated": job.estimated,
        "postponed_to": z(job.postponed_to),
        "renewed_by": job.renewed_by,
        "takes_hours": job.takes_hours,
        "hands": job.hands,
        "takes_pump_out": job.takes_pump_out,
        "caution": caution_line(now.plant.kind(job.job_id.kind)),
        "why": why_json(now, job),
    }


def why_json(now: PlantState, job: DueJob) -> dict[str, Any]:
    """What a due date rests on, and the sentence that says it."""
    why = explain_date(now.as_shown(job), now.at, now.offset_minutes)
    return {
        "sentence": why.sentence,
        "to_go": why.to_go,
        "first_reached_by": why.trigger.value,
        "other_at": z(why.other_at),
        "days_left": round(why.days_left, 1),
        "running_hours_left": None if why.running_hours_left is None else round(why.running_hours_left, 2),
        "h_per_day": None if why.h_per_day is None else round(why.h_per_day, 2),
        "h_per_sea_day": None if why.h_per_sea_day is None else round(why.h_per_sea_day, 2),
        "look_back_days": why.look_back_days,
        "past_runs": why.runs,
        "calendar_used": why.calendar_used,
        "standing": why.standing,
        "hours_as_of": z(why.hours_as_of),
        "estimated": why.estimated,
        "may_miss_running_hours": round(why.may_miss_hours, 2),
        "projected": why.projected,
    }


def _dates_json(job: DueJob) -> dict[str, Any]:
    forecast = job.forecast
    return {
        "trigger": job.trigger.value,
        "due_at": z(job.due_at),
        "window_opens_at": z(job.window_opens_at),
        "limit_at": z(job.limit_at),
        "early_at": z(forecast.early_at) if forecast else None,
        "likely_at": z(forecast.likely_at) if forecast else None,
        "late_at": z(forecast.late_at) if forecast else None,
    }


def moved_json(moved: MovedDate) -> dict[str, Any]:
    """Published dates that moved: from which to which, when, and why."""
    return {
        "number": moved.number,
        "job": moved.job,
        "open": moved.open,
        "cause": moved.cause.value,
        "at": z(moved.at),
        "from": {"due_at": z(moved.from_due_at), "early_at": z(moved.from_early_at), "late_at": z(moved.from_late_at)},
        "to": {"due_at": z(moved.to_due_at), "early_at": z(moved.to_early_at), "late_at": z(moved.to_late_at)},
    }


def plant_json(now: PlantState) -> dict[str, Any]:
    """A plant as it stands: pumps with hours and capacity, counters with flags, open jobs in counts."""
    counts_for = now.counts_for()
    numbers: dict[str, int] = {}
    for job in now.jobs:
        if job.first:
            numbers[job.state.value] = numbers.get(job.state.value, 0) + 1
    return {
        "plant": now.plant.id,
        "name": now.plant.name,
        "vessel": now.vessel.id,
        "at": z(now.at),
        "ship_offset": offset_text(now.offset_minutes),
        "hours_as_of": z(now.hours_as_of()),
        "jobs_by_state": numbers,
        "pumps": [
            {
                "pump": pump.id,
                "serial": pump.serial,
                "position": now.plant.position_of(pump.id, now.at),
                "position_name": now.position_name(now.plant.position_of(pump.id, now.at)),
                "state": now.outage_status.get(pump.id, "available"),
                "counts_for_swept_m3_per_h": counts_for[pump.id].m3_per_h if pump.id in counts_for else 0.0,
                "hours": _hours_of(now, Subject.PUMP, pump.id),
                "parts": [
                    {"part": f.part, "hours": _hours_of(now, Subject.PART, f.part)}
                    for f in now.plant.fittings
                    if f.pump == pump.id and f.to_at is None
                ],
            }
            for pump in now.plant.pumps
        ],
        "counters": [
            {
                "counter": c.id,
                "position": c.position,
                "newest_at": z(c.newest_at),
                "silent": c.silent,
                "primary": c.primary,
            }
            for c in now.counters
        ],
        "flags": [{"code": f.code, "at": z(instant(f.at_s)), "says": f.says} for f in now.flags[:50]],
    }


def _hours_of(now: PlantState, subject: Subject, subject_id: str) -> dict[str, Any] | None:
    key = (subject, subject_id)
    return hours_json(now.hours.get(key), now.projected.get(key))


def counter_json(book: CounterBook) -> dict[str, Any]:
    """A counter: how it counts, newest reading, newest ledger entries, flags, what people recorded about it."""
    setup = book.setups[-1][1]
    return {
        "counter": book.row.id,
        "position": book.row.position_id,
        "seconds_per_count": setup.seconds_per_count,
        "modulus": setup.modulus,
        "scales": scales_json(book),
        "newest_at": z(maybe(book.row.newest_s)),
        "newest_value": None if book.newest is None else book.newest[1] / 1000,
        "entries": [
            {
                "at": z(instant(e.at_s)),
                "credit_hours": round(e.credit_s / 3600, 4),
                "verdict": e.verdict,
                "reason": e.reason or None,
            }
            for e in book.entries
        ],
        "flags": [{"code": f.code, "at": z(instant(f.at_s)), "says": f.says} for f in book.flags],
        "events": [event_json(event) for event in book.events],
    }


def daily_json(book: DailyBook) -> dict[str, Any]:
    """Hours of each day of the positions and pumps of a plant."""

    def lines(subject: Subject, named: str, things: Mapping[str, str]) -> list[dict[str, Any]]:
        return [
            {
                named: thing,
                "name": name,
                "hours_as_of": z(book.as_of[subject, thing]),
                "days": [
                    {"on": day.on.isoformat(), "running_hours": _h(day.seconds), "interpolated": day.interpolated}
                    for day in book.days[subject, thing]
                ],
            }
            for thing, name in things.items()
        ]

    return {
        "plant": book.plant.id,
        "positions": lines(Subject.POSITION, "position", {p.id: p.name for p in book.plant.positions}),
        "pumps": lines(Subject.PUMP, "pump", {p.id: p.serial for p in book.plant.pumps}),
    }


def scales_json(book: CounterBook) -> list[dict[str, Any]]:
    """How the counter counted from when to when; from none: since it was set up."""
    ends = [*(from_s for from_s, _ in book.setups[1:]), None]
    return [
        {
            "from": None if n == 0 else z(instant(from_s)),
            "to": z(maybe(to_s)),
            "seconds_per_count": setup.seconds_per_count,
            "modulus": setup.modulus,
            "resolution": setup.resolution_milli / 1000,
        }
        for n, ((from_s, setup), to_s) in enumerate(zip(book.setups, ends, strict=True))
    ]


def event_json(event: EventShown) -> dict[str, Any]:
    """An event of a counter: what, when, by whom, whether it counts."""
    return {
        "id": event.id,
        "kind": event.kind,
        "at": z(event.at),
        "state": event.state,
        "by": event.by,
        "asked_by": event.asked_by,
        "reason": event.reason,
        "recorded_at": z(event.recorded_at),
        "hours": None if event.hours is None else round(event.hours, 4),
        "undoes": event.undoes,
        **{
            name.removesuffix("_milli"): None if event.detail[name] is None else event.detail[name] / 1000
            for name in ("old_final_milli", "new_first_milli", "resolution_milli")
            if name in event.detail
        },
        **{name: event.detail[name] for name in ("seconds_per_count", "modulus") if name in event.detail},
    }


def capacity_json(runs: Sequence[MarginStretch], from_at: datetime, to_at: datetime) -> list[dict[str, Any]]:
    """Available, minimum and margin over time, cut to a period."""
    return [
        {
            "from": z(max(run.from_at, from_at)),
            "to": z(min(run.to_at, to_at)),
            "available_swept_m3_per_h": run.available_m3_per_h,
            "minimum_swept_m3_per_h": run.minimum_m3_per_h,
            "minimum_label": run.minimum_label,
            "margin_swept_m3_per_h": round(run.margin_m3_per_h, 3),
            "open": list(run.open_positions),
            "down_or_not_proved": list(run.down_positions),
        }
        for run in runs
        if run.to_at > from_at and run.from_at < to_at
    ]


def voyage_days_json(vessel_id: str, found: StoredDays) -> dict[str, Any]:
    """An operating calendar: kinds with their weights, stretches by date, its newest changes."""
    return {
        "vessel": vessel_id,
        "version": found.version,
        "today_aboard": found.today.isoformat(),
        "kinds": [{"code": kind.code, "weight": kind.weight} for kind in found.book.kinds],
        "stretches": [
            {
                "from_on": s.from_on.isoformat(),
                "to_on": s.to_on.isoformat(),
                "kind": s.kind,
                "source": s.source.value,
                "note": s.note,
            }
            for s in found.book.spells
        ],
        "changes": [
            {
                "version": row.version,
                "what": row.what,
                "by": row.actor,
                "reason": row.reason,
                "at": z(instant(row.recorded_s)),
                "record": row.record,
            }
            for row in found.versions
        ],
    }


def sheet_json(found: Preview) -> dict[str, Any]:
    """A CSV file as read, and what it would change."""
    laid = found.laid
    return {
        "version": found.version,
        "rows": len(found.sheet.rows),
        "good": laid is not None,
        "faults": [{"row": f.row, "column": f.column, "found": f.found, "says": f.says} for f in found.sheet.faults],
        "changes": [] if laid is None else [change_words(c) for c in laid.changes],
        "kept_as_logged": [] if laid is None else [stored_words(c) for c in laid.kept],
    }


def intake_json(row: IntakeLogRow) -> dict[str, Any]:
    """An item of the intake log."""
    return {
        "received_at": z(instant(row.received_s)),
        "status": str(row.status),
        "counter": row.counter_ref,
        "why": row.why,
        "item": row.item,
    }


def diagnosis_json(one: Diagnosis) -> dict[str, Any]:
    """One thing to look at."""
    return {
        "about": one.about,
        "which": one.which,
        "since": z(one.since_at),
        "says": one.says,
        "do": one.do,
        "note": one.note,
    }


def horizon(now: PlantState, days: int) -> datetime:
    """The end of a look ahead."""
    return now.at + timedelta(days=days)


def _h(seconds: int | None) -> float | None:
    return None if seconds is None else round(seconds / 3600, 2)
