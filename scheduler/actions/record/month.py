"""A month as it is reported: what stands beside its records, what falls due in the next, what is open."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from scheduler.actions.base.context import Context
from scheduler.actions.record.due_next import NextDue, due_next
from scheduler.actions.record.history import ChosenRecords, ExportExtras, export_extras, records_of
from scheduler.actions.record.open_then import open_then
from scheduler.actions.record.period import VesselPeriod, period_of
from scheduler.actions.vessel.document import document_of
from scheduler.actions.vessel.fleet import clock_of
from scheduler.actions.work.carried import carried
from scheduler.domain.record.choice import Choice
from scheduler.domain.record.period import PeriodEntry, PeriodFacts, entry_of, period_facts
from scheduler.errors import Refused
from scheduler.language import gettext
from scheduler.shiptime import ShipOffset, instant_of, ship_time
from scheduler.storage.record import newest_records, record_rows

MONTHS_BEFORE = 11
"""So many months before it say what is usual."""
_MONTH = re.compile(r"(\d{4})-(0[1-9]|1[0-2])")
_FIRST_YEAR = 1980


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthFacts:
    """A month of a vessel. chosen and facts: of the records made in it. period: that month and those before that say what is usual.

    signed: the review of it, none where nobody signed. tests: by pump id, its newest test up to the end of the month. carried: what is
    open now, as a handover carries it; of a month that is over what was open at its end. over: the month is over; next_over: so is
    the one after.
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
    next_over: bool
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
        says = gettext("{month} has not begun yet; give a month that has", month=month)
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
        next_due=tuple(due_next(context, chosen.vessel_id, end_at, after_at, list(map(entry_of, late)))),
        next_over=now_at >= after_at,
        signed=next((one for one in period.reviews if one["month"] == month), None),
        tests=found,
        carried=then,
        over=now_at >= end_at,
    )


def month_bounds(month: str, offset: ShipOffset) -> tuple[datetime, datetime, datetime]:
    """Begin of the month aboard, of the one after, and of the one after that. Raises Refused when it is none."""
    match = _MONTH.fullmatch(month)
    if match is None or not _FIRST_YEAR <= int(match[1]) < 9000:
        says = gettext("a month is expected, as 2026-10")
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
