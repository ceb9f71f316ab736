"""A ship's rows as she sent them, put into the office's tables; and her mirror emptied, to be built anew."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import groupby
from typing import Any

from sqlalchemy import bindparam, column, delete, select, table, text, update
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
from scheduler.storage.search import index_records
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
    """A ship's truth in the office's tables, within one transaction. `vessel_id` is set here and never read from what was sent.

    Rows of several changes are put together, a table at a time and in their order; one that takes something away, and one of the
    vessel's document, puts what waits. closely: each change by itself, so that the one at fault can be named.
    """

    def __init__(self, session: Session, vessel_id: str, *, closely: bool) -> None:
        self._session, self._vessel, self._closely = session, vessel_id, closely
        self._dialect = session.get_bind().dialect.name
        self._waiting: dict[str, list[dict[str, Any]]] = {}
        self._words: list[tuple[int, str]] = []
        self._numbers: dict[str, int] = dict(
            session.connection()
            .execute(
                select(column("id"), column("no")).select_from(table("counter")).where(column("vessel_id") == vessel_id)
            )
            .all()
        )
        self._head = self._began = chain_head(session, vessel_id)
        self.touched = Touched()

    def take(self, number: int, rows: Rows) -> None:
        """Put the rows of a change: what is gone first, what others refer to before them.

        Raises:
            NotTaken: a record that does not continue the history, an id of another vessel, a row that fits no table.
        """
        gone = [row for row in rows if row[1] == "gone"]
        put = [row for row in rows if row[1] != "gone"]
        try:
            if gone:
                self._put_waiting()
            for name, some in groupby(sorted(gone, key=_order, reverse=True), key=lambda row: row[0]):
                self._gone(TRUTH[name], [values for _, _, values in some])
            for name, some in groupby(sorted(put, key=_order), key=lambda row: row[0]):
                self._put(TRUTH[name], [values for _, _, values in some], number)
            if self._closely or self.touched.document:
                self._put_waiting()
        except _UNFIT as error:
            raise NotTaken(AgainstTaking.ROW, number=number) from error

    def finish(self) -> None:
        """Put what waits; say of each counter from where its ledger is derived anew, and where the history ends. Raises NotTaken."""
        try:
            self._put_waiting()
        except _UNFIT as error:
            raise NotTaken(AgainstTaking.ROW) from error
        if self.touched.counters:
            self._mark_counters()
        if self._head != self._began:
            number, found = self._head
            self._session.merge(ChainHeadRow(vessel_id=self._vessel, number=number, hash=found))
        self._session.flush()

    def _mark_counters(self) -> None:
        """From where each ledger is derived anew, the newest instant and the most that a reading was put right."""
        ask, counter = self._session.connection().execute, METADATA.tables["counter"].c
        query = select(counter.no, counter.dirty_from_s, counter.newest_s, counter.skew_most_s)
        marks = []
        for no, dirty_s, newest_s, skew_s in ask(query.where(counter.no.in_(self.touched.counters))).all():
            first, last, most = self.touched.counters[no]
            marks.append(
                {
                    "of": no,
                    "dirty_from_s": first if dirty_s is None else min(first, dirty_s),
                    "newest_s": newest_s if last is None else last if newest_s is None else max(last, newest_s),
                    "skew_most_s": max(skew_s, most),
                }
            )
        if marks:
            ask(update(METADATA.tables["counter"]).where(counter.no == bindparam("of")), marks)
            for row in [one for one in self._session.identity_map.values() if isinstance(one, CounterRow)]:
                self._session.expire(row)

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
            self._put_waiting()  # her vessel
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
        self._waiting.setdefault(truth.name, []).extend(values for _, _, values in placed)

    def _put_waiting(self) -> None:
        """What others refer to first; within a table as it came."""
        ask = self._session.connection().execute
        for name in sorted(self._waiting, key=_ORDER.__getitem__):
            for names, same in groupby(self._waiting[name], key=lambda values: tuple(sorted(values))):
                ask(_statement(self._dialect, name, names), list(same))
        self._waiting.clear()
        index_records(self._session, self._vessel, self._words)
        self._words.clear()

    def _place(self, truth: Truth, row: Mapping[str, Any]) -> tuple[Any, tuple[str, ...], dict[str, Any]]:
        """The table in which a row stands here, the columns of its key, and its values."""
        if any(isinstance(value, dict | list) for value in row.values()):
            raise TypeError(truth.name)
        if truth.name == "person":
            values = {name: value for name, value in row.items() if name != VESSEL_ID}
            values |= {"person_vessel_id": row[VESSEL_ID], VESSEL_ID: self._vessel}
            return *_stored(truth.name), values
        if row.keys() - truth.travels:
            raise KeyError(truth.name)
        values = from_travel(truth, row)
        if truth.name == "vessel":
            if values["id"] != self._vessel:
                raise NotTaken(AgainstTaking.OTHER_SHIP, other=str(values["id"])[:63])
            return *_stored(truth.name), values
        values[VESSEL_ID] = self._vessel
        if COUNTER in values:
            values[COUNTER] = self._numbers[values[COUNTER]]
        return *_stored(truth.name), values

    def _counter(self, row: Mapping[str, Any]) -> None:
        """A counter keeps its number of this database; `was`: the id it had before."""
        counter_id, was = row["id"], row.get("was")
        there = find_counter(self._session, counter_id)
        if there is not None and there.vessel_id != self._vessel:
            raise NotTaken(AgainstTaking.FOREIGN, ids=[counter_id], other=there.vessel_id)
        values = {name: value for name, value in row.items() if name != "was"}
        if values.keys() - TRUTH["counter"].travels:
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
            self._words.append((row["number"], record_words(json.loads(row["text"]))))


def _order(row: tuple[str, str, Any]) -> int:
    return _ORDER[row[0]]


def _stored(name: str) -> tuple[Any, tuple[str, ...]]:
    """The table in which rows of that name stand here, and the columns of its key."""
    if name == "person":
        return _PEOPLE, (VESSEL_ID, "person_vessel_id", "id")
    truth = TRUTH[name]
    return truth.plain, ("id",) if name == "vessel" else (VESSEL_ID, *truth.keys)


@lru_cache(maxsize=200)
def _statement(dialect: str, name: str, names: tuple[str, ...]) -> Any:
    """The statement that puts rows with these columns: added, or in the place of those that are there."""
    rows, keys = _stored(name)
    statement = (sqlite.insert if dialect == "sqlite" else postgresql.insert)(rows)
    if name in _ADDED:
        return statement
    others = {one: statement.excluded[one] for one in names if one not in keys}
    if others:
        return statement.on_conflict_do_update(index_elements=keys, set_=others)
    return statement.on_conflict_do_nothing(index_elements=keys)


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
