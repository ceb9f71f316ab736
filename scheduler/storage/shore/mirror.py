"""A ship's rows as she sent them, put into the office's tables; and her mirror emptied, to be built anew."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import groupby
from typing import Any

from sqlalchemy import column, delete, select, table, text, update
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.exc import DataError, IntegrityError, ProgrammingError
from sqlmodel import Session

from scheduler.domain.hours.ledger_fit import AHEAD_S
from scheduler.domain.record.chain import chain_hash
from scheduler.domain.record.search import record_words
from scheduler.domain.shore.taking import AgainstTaking, NotTaken, Rows
from scheduler.storage.hours.counters import CounterRow, find_counter
from scheduler.storage.record import ChainHeadRow, chain_head
from scheduler.storage.search import TABLE as RECORD_INDEX
from scheduler.storage.search import index_record
from scheduler.storage.shore.truth import COUNTER, TRUTH, VESSEL_ID, Truth, from_travel
from scheduler.storage.types import METADATA

_ORDER = {name: place for place, name in enumerate(TRUTH)}
_READINGS = "reading"
_ADDED = frozenset({_READINGS, "hand_reading", "intake_log", "record"})
"""Tables whose rows are added once and never change."""
_PEOPLE = table(
    "ship_person",
    *map(column, ("vessel_id", "person_vessel_id", "id", "name", "rank", "role", "created_s", "withdrawn_s")),
)
_UNFIT = (KeyError, ValueError, TypeError, AttributeError, OverflowError, IntegrityError, DataError, ProgrammingError)
_CACHES = ("ledger_entry", "ledger_checkpoint", "day_ends", "flag", "sign_track")
"""Caches that rest on counters, emptied before them."""


@dataclass(slots=True)
class Touched:
    """What was put: whether the vessel's document was, and of each counter the first instant at which its hours may be others, its
    newest instant that is not from the future, and the most that a reading was put right."""

    document: bool = False
    counters: dict[int, tuple[int, int | None, int]] = field(default_factory=dict)

    def reading(self, no: int, at_s: int, received_s: int, skew_s: int) -> None:
        """A reading was put."""
        right_s = at_s + skew_s
        self._counter(no, right_s, right_s if right_s <= received_s + AHEAD_S else None, abs(skew_s))

    def event(self, no: int, at_s: int) -> None:
        """An event was put, or the counter itself."""
        self._counter(no, at_s, None, 0)

    def _counter(self, no: int, first: int, last: int | None, most: int) -> None:
        known_first, known_last, known_most = self.counters.get(no, (first, None, 0))
        newest = last if known_last is None else known_last if last is None else max(last, known_last)
        self.counters[no] = min(first, known_first), newest, max(most, known_most)


class Mirror:
    """A ship's truth in the office's tables, within one transaction. `vessel_id` is set here and never read from what was sent."""

    def __init__(self, session: Session, vessel_id: str) -> None:
        self._session, self._vessel = session, vessel_id
        self._insert = sqlite.insert if session.get_bind().dialect.name == "sqlite" else postgresql.insert
        self._numbers: dict[str, int] = dict(
            session.connection()
            .execute(
                select(column("id"), column("no")).select_from(table("counter")).where(column("vessel_id") == vessel_id)
            )
            .all()
        )
        self._head = chain_head(session, vessel_id)
        self.touched = Touched()

    def take(self, number: int, rows: Rows) -> None:
        """Put the rows of a change: what is gone first, what others refer to before them.

        Raises:
            NotTaken: a record that does not continue the history, an id of another vessel, a row that fits no table.
        """
        gone = [row for row in rows if row[1] == "gone"]
        put = [row for row in rows if row[1] != "gone"]
        try:
            for name, some in groupby(sorted(gone, key=_order, reverse=True), key=lambda row: row[0]):
                self._gone(TRUTH[name], [values for _, _, values in some])
            for name, some in groupby(sorted(put, key=_order), key=lambda row: row[0]):
                self._put(TRUTH[name], [values for _, _, values in some], number)
        except _UNFIT as error:
            raise NotTaken(AgainstTaking.ROW, number=number) from error

    def finish(self) -> None:
        """Say of each counter from where its ledger is derived anew, and where the history ends."""
        for no, (first, last, most) in sorted(self.touched.counters.items()):
            row = self._session.get(CounterRow, no, populate_existing=True)
            assert row is not None
            row.dirty_from_s = first if row.dirty_from_s is None else min(first, row.dirty_from_s)
            row.newest_s = row.newest_s if last is None else last if row.newest_s is None else max(last, row.newest_s)
            row.skew_most_s = max(row.skew_most_s, most)
            self._session.add(row)
        number, found = self._head
        if number:
            self._session.merge(ChainHeadRow(vessel_id=self._vessel, number=number, hash=found))
        self._session.flush()

    def _gone(self, truth: Truth, keys: Sequence[Mapping[str, Any]]) -> None:
        if truth.name in _ADDED or truth.name == "vessel":
            raise KeyError(truth.name)
        ask = self._session.connection().execute
        for one in keys:
            rows, names, values = self._place(truth, one)
            if truth.name == "counter":
                no = self._numbers.pop(values["id"], None)
                for cache in _CACHES[:-1]:
                    ask(delete(METADATA.tables[cache]).where(METADATA.tables[cache].c[COUNTER] == no))
            mine = [rows.c[name] == values[name] for name in names]
            if truth.name == "counter_event":
                found = ask(select(rows.c[COUNTER], rows.c.at_s).where(*mine)).first()
                if found is not None:
                    self.touched.event(*found)
            ask(delete(rows).where(*mine))

    def _put(self, truth: Truth, given: Sequence[Mapping[str, Any]], number: int) -> None:
        if truth.name == "counter":
            for row in given:
                self._counter(row)
            return
        self.touched.document |= truth.name == "vessel"
        if truth.name == "plan":  # a plant has one taken plan: the one before it steps back first
            given = sorted(given, key=lambda row: row["status"] != "superseded")
        placed = [self._place(truth, row) for row in given]
        if truth.name == "record":
            self._records([values for _, _, values in placed], number)
        for _, _, values in placed:
            if truth.name == _READINGS:
                self.touched.reading(values[COUNTER], values["at_s"], values["received_s"], values["skew_s"])
            elif truth.name == "counter_event":
                self.touched.event(values[COUNTER], values["at_s"])
        for names, some in groupby(placed, key=lambda one: sorted(one[2])):
            same = list(some)
            rows, keys, _ = same[0]
            statement = self._insert(rows)
            others = {name: statement.excluded[name] for name in names if name not in keys}
            if truth.name not in _ADDED and others:
                statement = statement.on_conflict_do_update(index_elements=keys, set_=others)
            elif truth.name not in _ADDED:
                statement = statement.on_conflict_do_nothing(index_elements=keys)
            self._session.connection().execute(statement, [values for _, _, values in same])

    def _place(self, truth: Truth, row: Mapping[str, Any]) -> tuple[Any, tuple[str, ...], dict[str, Any]]:
        """The table in which a row stands here, the columns of its key, and its values."""
        if any(isinstance(value, dict | list) for value in row.values()):
            raise TypeError(truth.name)
        if truth.name == "person":
            values = {name: value for name, value in row.items() if name != VESSEL_ID}
            values |= {"person_vessel_id": row[VESSEL_ID], VESSEL_ID: self._vessel}
            return _PEOPLE, (VESSEL_ID, "person_vessel_id", "id"), values
        if set(row) - set(truth.travels):
            raise KeyError(truth.name)
        values = from_travel(truth, row)
        if truth.name == "vessel":
            if values["id"] != self._vessel:
                raise NotTaken(AgainstTaking.OTHER_SHIP, other=str(values["id"])[:63])
            return truth.plain, ("id",), values
        values[VESSEL_ID] = self._vessel
        if COUNTER in values:
            values[COUNTER] = self._numbers[values[COUNTER]]
        return truth.plain, (VESSEL_ID, *truth.keys), values

    def _counter(self, row: Mapping[str, Any]) -> None:
        """A counter keeps its number of this database; `was`: the id it had before."""
        counter_id, was = row["id"], row.get("was")
        there = find_counter(self._session, counter_id)
        if there is not None and there.vessel_id != self._vessel:
            raise NotTaken(AgainstTaking.FOREIGN, ids=[counter_id], other=there.vessel_id)
        values = {name: value for name, value in row.items() if name != "was"}
        if set(values) - set(TRUTH["counter"].travels):
            raise KeyError("counter")
        no = self._numbers.pop(was, None) if was is not None else self._numbers.get(counter_id)
        if no is None:
            new = CounterRow(**values, vessel_id=self._vessel)
            self._session.add(new)
            self._session.flush()
            no = new.no
            assert no is not None
        else:
            counters = METADATA.tables["counter"]
            self._session.connection().execute(update(counters).where(counters.c.no == no).values(**values))
            self._session.expire_all()
        self._numbers[counter_id] = no

    def _records(self, rows: list[dict[str, Any]], change: int) -> None:
        """Each record continues the vessel's history."""
        rows.sort(key=lambda row: int(row["number"]))
        for row in rows:
            number, before = self._head
            holds = (row["number"], row["previous_hash"]) == (number + 1, before)
            if not holds or chain_hash(row["text"], before) != row["hash"]:
                raise NotTaken(AgainstTaking.RECORD_CHAIN, number=change, record=row["number"])
            self._head = row["number"], row["hash"]
            index_record(self._session, self._vessel, row["number"], record_words(json.loads(row["text"])))


def _order(row: tuple[str, str, Any]) -> int:
    return _ORDER[row[0]]


def empty_mirror(session: Session, vessel_id: str) -> None:
    """Take away all that was put of a ship, and what was worked out from it, but for her document; her line says `LineState.ANEW`."""
    given = {"vessel_id": vessel_id}
    for name in (
        *_CACHES,
        "ship_person",
        "asset",
        *(one for one in reversed(list(TRUTH)) if one not in ("vessel", "person")),
        "chain_head",
    ):
        session.connection().execute(text(f"DELETE FROM {name} WHERE vessel_id = :vessel_id"), given)  # noqa: S608 - names of ours
    session.connection().execute(text(f"DELETE FROM {RECORD_INDEX} WHERE vessel_id = :vessel_id"), given)  # noqa: S608
    session.expire_all()
