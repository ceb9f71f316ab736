"""A month as it is reported: what stands beside its records, what falls due in the next, what is open."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from scheduler.actions.base.context import Context
from scheduler.actions.plan.planning import margins_now
from scheduler.actions.plant_state.load import plant_state
from scheduler.actions.record.history import ChosenRecords, ExportExtras, export_extras, records_of
from scheduler.actions.record.open_then import open_then
from scheduler.actions.record.period import VesselPeriod, period_of
from scheduler.actions.vessel.document import document_of
from scheduler.actions.vessel.fleet import clock_of
from scheduler.actions.work.carried import carried
from scheduler.domain.base.enums import JobState
from scheduler.domain.record.chain import Record
from scheduler.domain.record.choice import Choice
from scheduler.domain.record.period import PeriodEntry, PeriodFacts, entry_of, period_facts
from scheduler.errors import Refused
from scheduler.shiptime import ShipOffset, instant_of, ship_time
from scheduler.storage.record import newest_records, record_rows

MONTHS_BEFORE = 11
"""So many months before it say what is usual."""
_MONTH = re.compile(r"(\d{4})-(0[1-9]|1[0-2])")
_FIRST_YEAR = 1980


@dataclass(frozen=True, slots=True, kw_only=True)
class NextDue:
    """A job that falls due in the month after, or is past due. slot_from_at: as planned, none: no slot. margin: the least in that
    slot, swept m3/h. verdict: how it came out, where that month is over."""

    position: str
    kind: str
    due_at: datetime
    limit_at: datetime | None
    state: JobState | None
    slot_from_at: datetime | None = None
    margin: float | None = None
    verdict: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthFacts:
    """A month of a vessel. chosen and facts: of the records made in it. period: that month and those before that say what is usual.

    signed: the review of it, none where nobody signed. tests: by pump id, its newest test up to the end of the month. carried: what is
    open now, as a handover carries it; of a month that is over what was open at its end. over: the month is over.
    """

    month: str
    begin_at: datetime
    end_at: datetime
    now_at: datetime
    chosen: ChosenRecords
    facts: PeriodFacts
    extras: ExportExtras
    period: VesselPeriod
    next_due: tuple[NextDue, ...]
    signed: Mapping[str, object] | None
    tests: Mapping[str, PeriodEntry]
    carried: Mapping[str, Any]
    over: bool


def month_facts(context: Context, vessel_id: str, month: str) -> MonthFacts:
    """The month's facts.

    Raises:
        NotFound: no such vessel. Refused: no month, or one that has not begun.
    """
    now_at = context.now()
    with context.db.read() as session:
        vessel, _ = document_of(session, vessel_id)
        offset = clock_of(session, vessel_id, now_at)
    begin_at, end_at, after_at = month_bounds(month, offset)
    if begin_at > now_at:
        says = f"{month} has not begun yet; give a month that has"
        raise Refused(f"month: {says}.", faults=[("/month", says)])
    chosen = records_of(context, vessel_id, Choice(from_at=begin_at, to_at=end_at))
    extras = export_extras(context, chosen)
    before = month_bounds(months_on(month, -MONTHS_BEFORE), offset)[0]
    whole = records_of(context, vessel_id, Choice(from_at=before, to_at=end_at))
    period = period_of(context, whole, before)
    with context.db.read() as session:
        found: dict[str, PeriodEntry] = {}
        for record in newest_records(session, vessel_id, "pump tested"):
            entry = entry_of(record)
            if entry.at < end_at and entry.members.get("swept_m3_per_h") is not None:
                found.setdefault(entry.text("pump"), entry)
        late = [one for one in record_rows(session, vessel_id, kind="closed job") if one.recorded_at >= end_at]
        then = open_then(session, vessel, end_at) if now_at >= end_at else carried(session, context, vessel_id)
    return MonthFacts(
        month=month,
        begin_at=begin_at,
        end_at=end_at,
        now_at=now_at,
        chosen=chosen,
        facts=period_facts(chosen),
        extras=extras,
        period=period,
        next_due=tuple(
            _came_due(late, end_at, after_at) if now_at >= after_at else _falls_due(context, chosen.vessel_id, after_at)
        ),
        signed=next((one for one in period.reviews if one["month"] == month), None),
        tests=found,
        carried=then,
        over=now_at >= end_at,
    )


def month_bounds(month: str, offset: ShipOffset) -> tuple[datetime, datetime, datetime]:
    """Begin of the month aboard, of the one after, and of the one after that. Raises Refused when it is none."""
    match = _MONTH.fullmatch(month)
    if match is None or not _FIRST_YEAR <= int(match[1]) < 9000:
        says = "a month is expected, as 2026-10"
        raise Refused(f"month: {says}.", faults=[("/month", says)])
    year, number = int(match[1]), int(match[2])
    starts = [datetime(year + (number - 1 + n) // 12, (number - 1 + n) % 12 + 1, 1, tzinfo=UTC) for n in range(3)]
    first, second, third = (instant_of(one, offset) for one in starts)
    return first, second, third


def last_month(at: datetime, offset: ShipOffset) -> str:
    """The last month that is over aboard."""
    return f"{ship_time(at, offset).replace(day=1) - timedelta(days=1):%Y-%m}"


def months_on(month: str, count: int) -> str:
    """The month so many after one; before it where the count is negative."""
    year, number = map(int, month.split("-"))
    number += count - 1
    return f"{year + number // 12}-{number % 12 + 1:02d}"


def _falls_due(context: Context, vessel_id: str, until: datetime) -> list[NextDue]:
    """What is due before an instant or past due already, first turns alone, soonest first."""
    with context.db.read() as session:
        vessel, _ = document_of(session, vessel_id)
    found = []
    for plant in vessel.plants:
        now = plant_state(context, vessel_id, plant.id)
        margins, stored = margins_now(now, context), now.taken or now.proposed
        times = stored.times() if stored else {}
        for job in (now.as_shown(one) for one in now.jobs if one.first and one.renewed_by is None):
            slot = times.get(job.job_id.key)
            if job.due_at < until:
                found.append(
                    NextDue(
                        position=now.position_name(job.position),
                        kind=job.kind_name,
                        due_at=job.due_at,
                        limit_at=job.limit_at,
                        state=job.state,
                        slot_from_at=slot[0] if slot else None,
                        margin=margins.get(job.job_id.key),
                    )
                )
    return sorted(found, key=lambda one: (one.due_at, one.position, one.kind))


def _came_due(records: list[Record], first: datetime, last: datetime) -> list[NextDue]:
    """What fell due in a month that is over, and how it came out."""
    found = []
    for entry in map(entry_of, records):
        due_at = entry.instant("due_at")
        if due_at is not None and first <= due_at < last:
            found.append(
                NextDue(
                    position=entry.text("position"),
                    kind=entry.text("job_kind"),
                    due_at=due_at,
                    limit_at=entry.instant("limit_at"),
                    state=None,
                    verdict=entry.verdict.value,
                )
            )
    return sorted(found, key=lambda one: (one.due_at, one.position, one.kind))
