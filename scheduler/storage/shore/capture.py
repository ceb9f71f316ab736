"""What a transaction changes of truth becomes changes of its vessels, in the same transaction: the one write door sees to it.

Rows are gathered by their keys, whatever changed them: objects of a session as they are flushed, statements by what they are about
to reach. At the end each is read as it now is. A vessel that has joined no office costs one look.
"""

import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any, NamedTuple

from sqlalchemy import Connection, Delete, Engine, Insert, Table, Update, and_, event, select, text, tuple_
from sqlalchemy import inspect as inspected
from sqlmodel import Session

from scheduler.domain.shore.columns import one_text
from scheduler.domain.shore.frame import body_of, next_hash
from scheduler.storage.shore.truth import COUNTER, TRUTH, VESSEL_ID, Truth, to_travel
from scheduler.storage.types import METADATA, Instant

MOST_ROWS, MOST_BYTES = 5000, 1_000_000
"""Of one change; what a commit changes beyond it is the next change of the same commit."""
_AT_ONCE = 200
_CAPTURE = "capture"

Place = tuple[Any, ...]
"""Values of a row's key, as stored."""


class Head(NamedTuple):
    """How far a vessel's changes have come."""

    number: int
    hash: str
    joining: bool


class Capture:
    """What one write block changes of truth."""

    def __init__(self, session: Session, now_s: Callable[[], int]) -> None:
        self._session = session
        self._now_s = now_s
        self._joined: frozenset[str] | None = None
        self._flushing = False
        self._touched: dict[tuple[str, str], set[Place]] = {}
        self._renamed: dict[tuple[str, str], str] = {}

    def begin_flush(self) -> None:
        """The statements that follow are those of objects, which are gathered after them."""
        self._flushing = True

    def end_flush(self, objects: Iterable[Any]) -> None:
        """Gather the objects that were added, changed or deleted."""
        self._flushing = False
        for one in objects:
            truth = TRUTH.get(one.__tablename__)
            if truth is None or not self.joined:
                continue
            mapper = inspected(one)
            values = {column.name: prop.key for prop in mapper.mapper.column_attrs for column in prop.columns}
            if mapper.persistent and not mapper.deleted and one not in self._session.deleted:
                changed = {name for name, key in values.items() if mapper.attrs[key].history.has_changes()}
                if one not in self._session.new and not changed - truth.stays:
                    continue
            if truth.once is not None and getattr(one, values[truth.once]) is None:
                continue
            table = one.__table__
            place = tuple(_raw(table, name, getattr(one, values[name])) for name in truth.keys)
            self.touch(truth, getattr(one, values[truth.vessel.name]), place)

    def statement(self, connection: Connection, clause: Update | Delete | Insert) -> None:
        """Gather the rows that a statement is about to reach."""
        table = clause.table
        if not isinstance(table, Table) or self._flushing:
            return
        truth = TRUTH.get(table.name)
        if truth is None or not self.joined:
            return
        if isinstance(clause, Insert):
            raise AssertionError(f"rows of {table.name} are truth: add them to the session, that they may travel")
        if isinstance(clause, Update) and {_name(one) for one in clause._values or {}} & {*truth.keys}:
            return  # who changes keys says so: `moved_places`
        for vessel_id, place in places(connection, truth, clause.whereclause):
            self.touch(truth, vessel_id, place)

    def touch(self, truth: Truth, vessel_id: str, place: Place) -> None:
        """A row has changed, or goes."""
        self._touched.setdefault((vessel_id, truth.name), set()).add(place)

    def renamed(self, vessel_id: str, was: str, now: str) -> None:
        """A counter goes on under another id, with its number and readings."""
        self._renamed[vessel_id, now] = self._renamed.pop((vessel_id, was), was)
        self._touched.get((vessel_id, "counter"), set()).discard((was,))
        self.touch(TRUTH["counter"], vessel_id, (now,))

    @property
    def joined(self) -> frozenset[str]:
        """Vessels that have joined an office; read once, under the lock of the block."""
        if self._joined is None:
            found = self._session.connection().execute(text("SELECT vessel_id FROM shore_line"))
            self._joined = frozenset(row[0] for row in found)
        return self._joined

    def store(self) -> None:
        """Write the changes. Call it once, at the end of the block."""
        self._session.flush()
        if not self._touched:
            return
        connection = self._session.connection()
        every = {vessel_id for vessel_id, _ in self._touched}
        for vessel_id in sorted(self.joined if "" in every else self.joined & every):
            head = line_head(connection, vessel_id)
            if head.joining:
                self._remember(connection, vessel_id)
            else:
                rows, urgent = rows_as_they_are(connection, vessel_id, self._of(vessel_id), self._renamed)
                append(connection, vessel_id, head, rows, self._now_s(), urgent=urgent)

    def _of(self, vessel_id: str) -> dict[str, set[tuple[str, Place]]]:
        """By table, whose rows (hers, people of the whole installation) and where."""
        found: dict[str, set[tuple[str, Place]]] = {}
        for (whose, name), where in self._touched.items():
            if whose == vessel_id or (not whose and name == "person"):
                found.setdefault(name, set()).update((whose, place) for place in where)
        return found

    def _remember(self, connection: Connection, vessel_id: str) -> None:
        rows = [
            {"vessel_id": vessel_id, "name": name, "place": json.dumps([whose, *place], default=str)}
            for name, where in self._of(vessel_id).items()
            for whose, place in where
        ]
        if rows:
            connection.execute(text(TOUCH.format(*(f":{one}" for one in ("vessel_id", "name", "place")))), rows)


TOUCH = "INSERT INTO outbox_touched (vessel_id, name, place) VALUES ({}, {}, {}) ON CONFLICT DO NOTHING"
ADD = (
    "INSERT INTO outbox_change (vessel_id, number, at_s, body, hash, step) "
    "VALUES ({}, {}, {}, {}, {}, (SELECT version_num FROM alembic_version))"
)
FORWARD = "UPDATE shore_line SET number = {}, hash = {}, urgent = CASE WHEN {} = 1 THEN {} ELSE urgent END WHERE vessel_id = {}"
HEAD_COLUMNS = "number, hash, joining"


def look_at_statements(engine: Engine) -> None:
    """Have every statement on the engine looked at, in a block that captures."""

    @event.listens_for(engine, "before_execute")
    def _(connection: Connection, clause: Any, *_: Any) -> None:
        if isinstance(clause, Update | Delete | Insert):
            capture = connection.info.get(_CAPTURE)
            if capture is not None:
                capture.statement(connection, clause)


def gather_moved(session: Session, table: Table, *where: Any) -> None:
    """Gather the rows of a condition for a statement that changes keys: call it before with what was, after with what is now."""
    capture, truth = capture_of(session), TRUTH.get(table.name)
    if capture is not None and truth is not None and capture.joined:
        for vessel_id, place in places(session.connection(), truth, and_(*where)):
            capture.touch(truth, vessel_id, place)


def gather_renamed(session: Session, vessel_id: str, was: str, now: str) -> None:
    """Gather a counter that goes on under another id."""
    capture = capture_of(session)
    if capture is not None and capture.joined:
        capture.renamed(vessel_id, was, now)


class CapturingSession(Session):
    """A session of a write block."""


@event.listens_for(CapturingSession, "before_flush")
def _before_flush(session: Session, *_: Any) -> None:
    capture = session.info.get(_CAPTURE)
    if capture is not None:
        capture.begin_flush()


@event.listens_for(CapturingSession, "after_flush")
def _after_flush(session: Session, _: Any) -> None:
    capture = session.info.get(_CAPTURE)
    if capture is not None:
        capture.end_flush([*session.new, *session.dirty, *session.deleted])


@contextmanager
def captured(session: Session, connection: Connection, now_s: Callable[[], int]) -> Iterator[Capture]:
    """Gathers for the block what the session's transaction changes of truth."""
    capture = Capture(session, now_s)
    session.info[_CAPTURE] = connection.info[_CAPTURE] = capture
    info = connection.info
    try:
        yield capture
    finally:
        session.info.pop(_CAPTURE, None)
        info.pop(_CAPTURE, None)


def capture_of(session: Session) -> Capture | None:
    """What captures this session's transaction, if anything does."""
    return session.info.get(_CAPTURE)


def places(connection: Connection, truth: Truth, where: Any) -> list[tuple[str, Place]]:
    """Whose rows, and where, a condition reaches."""
    table = METADATA.tables[truth.name]
    query = select(truth.vessel, *(truth.plain.c[name] for name in truth.keys)).select_from(truth.plain)
    if where is not None:
        keys = select(*table.primary_key.columns).where(where)
        own = tuple_(*(truth.plain.c[one.name] for one in table.primary_key.columns))
        query = query.where(own.in_(keys))
    return [(row[0], tuple(row[1:])) for row in connection.execute(query)]


def rows_as_they_are(
    connection: Connection,
    vessel_id: str,
    touched: Mapping[str, Iterable[tuple[str, Place]]],
    renamed: Mapping[tuple[str, str], str] | None = None,
) -> tuple[list[bytes], bool]:
    """Canonical texts of the rows of those places, gone ones first, in the order in which they apply; whether any does not wait."""
    gone: list[list[bytes]] = []
    put: list[bytes] = []
    urgent = False
    names = counter_ids(connection, vessel_id)
    for truth in TRUTH.values():
        where = sorted(touched.get(truth.name, ()))
        missing: list[bytes] = []
        for start in range(0, len(where), _AT_ONCE):
            part = where[start : start + _AT_ONCE]
            found = _read(connection, truth, part)
            for whose, place in part:
                values = found.get((whose, place))
                if values is None:
                    key = to_travel(dict(zip(truth.keys, place, strict=True)))
                    if COUNTER in key:
                        key[COUNTER] = names.get(key[COUNTER])
                    if truth.name == "person":
                        key[VESSEL_ID] = whose
                    missing.append(one_text([truth.name, "gone", key]))
                    continue
                if truth.once is not None and values[truth.once] is None:
                    continue
                put.append(put_text(truth, values, names, (renamed or {}).get((vessel_id, str(place[0])))))
        gone.append(missing)
        urgent = urgent or (bool(where) and not truth.quiet)
    return [*(one for some in reversed(gone) for one in some), *put], urgent


def put_text(truth: Truth, stored: Mapping[str, Any], names: Mapping[int, str], was: str | None = None) -> bytes:
    """The canonical text of a row that is there. names: ids of counters by their numbers. was: the id a counter had before."""
    values = to_travel({name: stored[name] for name in truth.travels})
    if COUNTER in values:
        values[COUNTER] = names[values[COUNTER]]
    if truth.name == "counter" and was is not None:
        values["was"] = was
    return one_text([truth.name, "put", values])


def append(
    connection: Connection, vessel_id: str, head: Head, texts: Sequence[bytes], at_s: int, *, urgent: bool
) -> Head:
    """Add changes of these rows, and move the line's head."""
    added = list(numbered(head, texts, at_s))
    if not added:
        return head
    adding = ("vessel_id", "number", "at_s", "body", "hash")
    rows = [dict(zip(adding, (vessel_id, number, at_s, body, its), strict=True)) for number, body, its in added]
    connection.execute(text(ADD.format(*(f":{one}" for one in adding))), rows)
    number, _, its = added[-1]
    moved = {"number": number, "hash": its, "urgent": int(urgent), "as": number, "vessel_id": vessel_id}
    connection.execute(text(FORWARD.format(*(f":{one}" for one in moved))), moved)
    return Head(number, its, head.joining)


def numbered(head: Head, texts: Sequence[bytes], at_s: int) -> Iterator[tuple[int, bytes, str]]:
    """Number, body and hash of the changes that these rows become after the head."""
    number, prev = head.number, head.hash
    for part in _parts(texts):
        number += 1
        body = body_of(at_s, number, part)
        prev = next_hash(prev, body)
        yield number, body, prev


def line_head(connection: Connection, vessel_id: str) -> Head:
    """The head of a line, locked until the transaction ends."""
    lock = "" if connection.dialect.name == "sqlite" else " FOR UPDATE"
    query = text(f"SELECT {HEAD_COLUMNS} FROM shore_line WHERE vessel_id = :vessel_id{lock}")  # noqa: S608
    found = connection.execute(query, {"vessel_id": vessel_id}).one()
    return Head(found[0], found[1], bool(found[2]))


def _parts(texts: Sequence[bytes]) -> Iterator[list[bytes]]:
    part: list[bytes] = []
    size = 0
    for one in texts:
        if part and (len(part) == MOST_ROWS or size + len(one) > MOST_BYTES):
            yield part
            part, size = [], 0
        part.append(one)
        size += len(one) + 1
    if part:
        yield part


def _read(
    connection: Connection, truth: Truth, where: Sequence[tuple[str, Place]]
) -> dict[tuple[str, Place], Mapping[str, Any]]:
    plain = truth.plain
    keys = [truth.vessel, *(plain.c[name] for name in truth.keys)]
    wanted = [(whose, *place) for whose, place in where]
    query = select(*plain.c).where(tuple_(*keys).in_(wanted))
    found: dict[tuple[str, Place], Mapping[str, Any]] = {}
    for row in connection.execute(query).mappings():
        values = dict(row)
        found[values[truth.vessel.name], tuple(values[name] for name in truth.keys)] = values
    return found


def counter_ids(connection: Connection, vessel_id: str) -> dict[int, str]:
    """Ids of a vessel's counters by their numbers."""
    query = text("SELECT no, id FROM counter WHERE vessel_id = :vessel_id")
    return {row[0]: row[1] for row in connection.execute(query, {"vessel_id": vessel_id})}


def _raw(table: Table, name: str, value: Any) -> Any:
    """An attribute of a key as it is stored."""
    kind = table.c[name].type
    return kind.process_bind_param(value, None) if isinstance(kind, Instant) else value  # type: ignore[arg-type]


def _name(column: Any) -> str:
    return getattr(column, "name", str(column))
