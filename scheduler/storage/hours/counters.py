"""Counters, what people say of them, and flags about them."""

import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Self

from sqlalchemy import BigInteger, CheckConstraint, ForeignKeyConstraint, Index, UniqueConstraint
from sqlmodel import Field, Session, col, select

from scheduler.domain.hours.ledger_values import Code, Flag
from scheduler.storage.database import read_once
from scheduler.storage.types import WITHOUT_ROWID, Row


class CounterRow(Row, table=True):
    """A running-hour counter. `no` is its short name in the readings; `id` the one people use.

    seconds_per_count, modulus, resolution_milli (smallest step in thousandths of a count): as first set up; counter
    events say how it counts later. newest_s: newest observed instant, put right by the sender's skew, stamps from the
    future left out. skew_most_s: furthest that a reading was ever put right. dirty_from_s: earliest instant whose ledger
    entries must be derived anew; none when they are up to date.
    """

    __table_args__ = (UniqueConstraint("no", "vessel_id"), CheckConstraint("seconds_per_count > 0", name="scale"))

    no: int | None = Field(default=None, primary_key=True)
    id: str = Field(unique=True)
    vessel_id: str = Field(foreign_key="vessel.id", index=True)
    plant_id: str
    position_id: str
    seconds_per_count: int
    modulus: int | None = Field(default=None, sa_type=BigInteger)
    resolution_milli: int = Field(sa_type=BigInteger)
    quiet_after_hours: int
    newest_s: int | None = Field(default=None, sa_type=BigInteger)
    dirty_from_s: int | None = Field(default=None, sa_type=BigInteger)
    skew_most_s: int = Field(default=0, sa_type=BigInteger, sa_column_kwargs={"server_default": "0"})


class CounterEventRow(Row, table=True):
    """What a person recorded about a counter (replacement, scale change, step decision ...); `detail` is JSON."""

    __table_args__ = (
        ForeignKeyConstraint(["counter_no", "vessel_id"], ["counter.no", "counter.vessel_id"]),
        Index(None, "counter_no", "at_s"),
    )

    vessel_id: str = Field(primary_key=True)
    id: str = Field(primary_key=True)
    counter_no: int
    kind: str
    at_s: int = Field(sa_type=BigInteger)
    detail: str
    actor: str
    reason: str
    recorded_s: int = Field(sa_type=BigInteger)


class FlagRow(Row, table=True):
    """Something about a counter that a person should look at. seconds: how much may be missing, where known.

    facts: JSON, what the sentence about it is made from; none in rows from before there were facts, whose sentence is in `says`.
    """

    __table_args__ = (WITHOUT_ROWID,)

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    counter_no: int = Field(primary_key=True, foreign_key="counter.no")
    code: str = Field(primary_key=True)
    at_s: int = Field(primary_key=True, sa_type=BigInteger)
    says: str = ""
    seconds: int | None = Field(default=None, sa_type=BigInteger)
    facts: str | None = None

    @classmethod
    def of(cls, vessel_id: str, counter_no: int, flag: Flag) -> Self:
        """The row of a flag."""
        facts = json.dumps(dict(flag.facts), separators=(",", ":"))
        return cls(
            vessel_id=vessel_id,
            counter_no=counter_no,
            code=flag.code.value,
            at_s=flag.at_s,
            seconds=flag.seconds,
            facts=facts,
        )

    def flag(self) -> Flag:
        """The flag of a row."""
        facts = {"says": self.says} if self.facts is None else json.loads(self.facts)
        return Flag(Code(self.code), self.at_s, self.seconds or 0, facts)


def counter_rows(session: Session, vessel_id: str) -> list[CounterRow]:
    """A vessel's counters by id."""
    query = select(CounterRow).where(CounterRow.vessel_id == vessel_id).order_by(CounterRow.id)
    return list(read_once(session, (CounterRow, vessel_id), lambda: session.exec(query).all()))


def find_counter(session: Session, counter_id: str) -> CounterRow | None:
    """The counter with that id, or none."""
    return session.exec(select(CounterRow).where(CounterRow.id == counter_id)).first()


def dirty_vessels(session: Session) -> list[str]:
    """Vessels with counters whose ledger must be derived anew."""
    query = select(CounterRow.vessel_id).where(col(CounterRow.dirty_from_s).is_not(None)).distinct()
    return sorted(session.exec(query))


def counter_numbers(rows: Iterable[CounterRow]) -> Mapping[str, int]:
    """Short number of each counter by its id."""
    return {row.id: row.no for row in rows if row.no is not None}


def counter_event_rows(session: Session, counter_no: int, after_s: int = -(2**62)) -> list[CounterEventRow]:
    """A counter's events later than an instant, in order of instant and recording."""
    query = select(CounterEventRow).where(CounterEventRow.counter_no == counter_no, CounterEventRow.at_s > after_s)
    query = query.order_by(col(CounterEventRow.at_s), col(CounterEventRow.recorded_s), CounterEventRow.id)
    return list(read_once(session, (CounterEventRow, counter_no, after_s), lambda: session.exec(query).all()))


def counter_events_of_kinds(session: Session, vessel_id: str, kinds: Sequence[str]) -> list[CounterEventRow]:
    """A vessel's counter events of some kinds, in order of instant and recording."""
    query = select(CounterEventRow).where(CounterEventRow.vessel_id == vessel_id, col(CounterEventRow.kind).in_(kinds))
    query = query.order_by(col(CounterEventRow.at_s), col(CounterEventRow.recorded_s), CounterEventRow.id)
    return list(read_once(session, (CounterEventRow, vessel_id, *kinds), lambda: session.exec(query).all()))


def flag_rows(session: Session, vessel_id: str) -> list[FlagRow]:
    """A vessel's flags, newest first."""
    query = select(FlagRow).where(FlagRow.vessel_id == vessel_id)
    return list(session.exec(query.order_by(col(FlagRow.at_s).desc(), FlagRow.code)))
