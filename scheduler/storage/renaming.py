"""What is kept under an id goes on under another one. The history is never changed: it names both."""

from collections.abc import Collection

from sqlalchemy import String as Text
from sqlalchemy import Table, cast, delete, func, select, update
from sqlmodel import Session, col
from sqlmodel import select as pick

from scheduler.storage.tables import METADATA, CounterRow, FeedEventRow, PlanRow, PlanStatus, ReadingRow

_IDS = ("subject_id", "pump_id", "position_id", "plant_id")
"""Columns that hold the id of a thing."""
_KEYS = ("job_key", "key", "jobs", "slots", "detail")
"""Columns that hold keys of turns, kind:subject:number, alone or in JSON."""
_LEFT_ALONE = frozenset({"asset", "idempotency", "counter_event"})
"""Assets are put anew; the others name no turn."""
_STANDING = frozenset({"counter", "published", "slot", "plan", "kind_since", "feed_event", "part_count"})
"""Tables whose rows come with the document, or with what is worked out from it: they make nothing used."""


def _tables() -> list[Table]:
    return [table for table in METADATA.sorted_tables if "vessel_id" in table.c and table.name not in _LEFT_ALONE]


def used(session: Session, vessel_id: str, ids: Collection[str]) -> set[str]:
    """Those of a vessel's ids under which something is kept that people or counters told."""
    found: set[str] = set()
    for table in _tables():
        for name in _IDS:
            if name in table.c and table.name not in _STANDING:
                query = select(table.c[name]).where(table.c.vessel_id == vessel_id, table.c[name].in_(ids)).distinct()
                found |= {row[0] for row in session.connection().execute(query)}
    counters = pick(CounterRow).where(CounterRow.vessel_id == vessel_id)
    for counter in session.exec(counters):
        own = {counter.id, counter.position_id, counter.plant_id} & set(ids)
        if own - found:
            read = pick(ReadingRow.at_s).where(ReadingRow.counter_no == counter.no).limit(1)
            found |= own if session.exec(read).first() is not None else set()
    return found


def rename(session: Session, vessel_id: str, was: str, now: str) -> None:
    """Everything that is kept of a vessel under one id goes on under another, plans included; its calendar entries come anew."""
    session.flush()
    for table in _tables():
        mine = table.c.vessel_id == vessel_id
        for name in _IDS:
            if name in table.c:
                change = update(table).where(mine, table.c[name] == was).values({name: now})
                session.connection().execute(change)
        for name in _KEYS:
            if name in table.c:
                column = table.c[name]
                new = func.replace(cast(column, Text), f":{was}:", f":{now}:")
                session.connection().execute(
                    update(table).where(mine, column.contains(f":{was}:", autoescape=True)).values({name: new})
                )
    shown = col(FeedEventRow.occurrence_key).contains(f":{was}:", autoescape=True)
    session.connection().execute(delete(FeedEventRow).where(col(FeedEventRow.vessel_id) == vessel_id, shown))
    counter = update(CounterRow).where(col(CounterRow.vessel_id) == vessel_id, col(CounterRow.id) == was)
    session.connection().execute(counter.values(id=now))
    session.expire_all()
    standing = (PlanStatus.TAKEN, PlanStatus.PROPOSED)
    for plan in session.exec(pick(PlanRow).where(PlanRow.vessel_id == vessel_id, col(PlanRow.status).in_(standing))):
        plan.problem, plan.plan = (
            text.replace(f":{was}:", f":{now}:").replace(f'"{was}"', f'"{now}"') for text in (plan.problem, plan.plan)
        )
        session.add(plan)
    session.flush()
