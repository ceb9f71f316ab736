"""What is kept under an id goes on under another one. The history is never changed: it names both."""

import json
import re
from collections.abc import Collection
from typing import Any

from sqlalchemy import String as Text
from sqlalchemy import Table, cast, delete, func, select, type_coerce, update
from sqlmodel import Session, col
from sqlmodel import select as pick

from scheduler.storage.due import PublishedRow
from scheduler.storage.feed import FeedEventRow
from scheduler.storage.hours.counters import CounterRow
from scheduler.storage.hours.readings import ReadingRow
from scheduler.storage.hours.signs import SignTrackRow
from scheduler.storage.plan import PlanRow, PlanStatus, SlotRow
from scheduler.storage.shore.capture import gather_moved, gather_renamed
from scheduler.storage.tables import METADATA
from scheduler.storage.vessel import KindSinceRow

_IDS = ("subject_id", "pump_id", "position_id", "plant_id")
"""Columns that hold the id of a thing."""


_KEYS = ("job_key", "key", "jobs", "slots", "detail")
"""Columns that hold keys of turns, kind:subject:number, alone or in JSON."""


_JSON = frozenset({"jobs", "slots", "detail"})
"""Those of them that hold JSON."""


_PUMPS = frozenset({"pump", "pumps", "tested"})
"""Members of stored plans that name a pump."""


_LEFT_ALONE = frozenset({"asset", "idempotency", "counter_event", "pending_task"})
"""Assets are put anew, what is to be done is asked for anew; the others name no turn."""


_STANDING = frozenset(
    {"counter", "published", "slot", "plan", "kind_since", "feed_event", "part_count", "sign_track", "plant_summary"}
)
"""Tables whose rows come with the document, or with what is worked out from it: they make nothing used."""


def _tables() -> list[Table]:
    return [table for table in METADATA.sorted_tables if "vessel_id" in table.c and table.name not in _LEFT_ALONE]


def used(session: Session, vessel_id: str, ids: Collection[str]) -> set[str]:
    """Those of a vessel's ids under which something is kept that people or counters told, by id or by the key of a turn."""
    found: set[str] = set()
    for table in _tables():
        if table.name in _STANDING:
            continue
        mine = table.c.vessel_id == vessel_id
        for name in _IDS:
            if name in table.c:
                query = select(table.c[name]).where(mine, table.c[name].in_(ids)).distinct()
                found |= {row[0] for row in session.connection().execute(query)}
        for name in _KEYS:
            if name in table.c and name not in _JSON:
                for one in set(ids) - found:
                    keyed = select(table.c.vessel_id).where(mine, table.c[name].contains(f":{one}:", autoescape=True))
                    if session.connection().execute(keyed.limit(1)).first() is not None:
                        found.add(one)
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
    base = session.connection()
    for table in _tables():
        mine = table.c.vessel_id == vessel_id
        for name in _IDS:
            if name in table.c:
                gather_moved(session, table, mine, table.c[name] == was)
                base.execute(update(table).where(mine, table.c[name] == was).values({name: now}))
                gather_moved(session, table, mine, table.c[name] == now)
        for name in _KEYS:
            if name not in table.c:
                continue
            column = cast(table.c[name], Text)
            holds = column.contains(f":{was}:", autoescape=True)
            if name not in _JSON:
                gather_moved(session, table, mine, holds)
                base.execute(
                    update(table).where(mine, holds).values({name: func.replace(column, f":{was}:", f":{now}:")})
                )
                gather_moved(session, table, mine, column.contains(f":{now}:", autoescape=True))
                continue
            keys = list(table.primary_key.columns)
            for row in base.execute(select(*keys, column.label("told")).where(mine, holds)).all():
                this = [key == getattr(row, key.name) for key in keys]
                told = json.dumps(_anew(json.loads(row.told), was, now), ensure_ascii=False)
                base.execute(update(table).where(*this).values({name: type_coerce(told, Text)}))
    shown = col(FeedEventRow.occurrence_key).contains(f":{was}:", autoescape=True)
    base.execute(delete(FeedEventRow).where(col(FeedEventRow.vessel_id) == vessel_id, shown))
    counter = update(CounterRow).where(col(CounterRow.vessel_id) == vessel_id, col(CounterRow.id) == was)
    if base.execute(counter.values(id=now)).rowcount:
        gather_renamed(session, vessel_id, was, now)
    session.expire_all()
    standing = (PlanStatus.TAKEN, PlanStatus.PROPOSED)
    for plan in session.exec(pick(PlanRow).where(PlanRow.vessel_id == vessel_id, col(PlanRow.status).in_(standing))):
        plan.problem, plan.plan = (
            json.dumps(_anew(json.loads(text), was, now), sort_keys=True, separators=(",", ":"))
            for text in (plan.problem, plan.plan)
        )
        session.add(plan)
    session.flush()


def _anew(told: Any, was: str, now: str, member: str = "") -> Any:
    """JSON values with the id put in place where a member names a pump, and in keys of turns; nothing else is touched, however
    like the id it is."""
    if isinstance(told, dict):
        return {name: _anew(value, was, now, name) for name, value in told.items()}
    if isinstance(told, list):
        return [_anew(one, was, now, member) for one in told]
    if not isinstance(told, str):
        return told
    if member in _PUMPS:
        return now if told == was else told
    return re.sub(rf"(?<![\w-])([a-z][a-z0-9_]*):{re.escape(was)}:(?=\d)", rf"\g<1>:{now}:", told)


def forget_plant(session: Session, vessel_id: str, plant_id: str) -> None:
    """Drop what was worked out for a plant that leaves the document: dates, calendar entries, plans."""
    plans = pick(PlanRow.id).where(PlanRow.vessel_id == vessel_id, PlanRow.plant_id == plant_id)
    slots = delete(SlotRow).where(col(SlotRow.vessel_id) == vessel_id, col(SlotRow.plan_id).in_(plans))
    session.connection().execute(slots)
    for row in (PublishedRow, FeedEventRow, KindSinceRow, PlanRow, SignTrackRow):
        session.connection().execute(delete(row).where(col(row.vessel_id) == vessel_id, col(row.plant_id) == plant_id))
