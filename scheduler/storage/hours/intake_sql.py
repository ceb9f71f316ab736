"""How a group of posted readings goes into the database in one transaction, on SQLite and on PostgreSQL."""

import json
from abc import ABC, abstractmethod
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from itertools import chain
from typing import Any, NamedTuple, TypeVar

from scheduler.domain.hours.ledger_fit import AHEAD_S
from scheduler.storage.database import RAISE_REVISION, lock_statement
from scheduler.storage.hours.readings import Unstored
from scheduler.storage.hours.travelling import log_text, reading_texts
from scheduler.storage.shore.capture import ADD, FORWARD, HEAD_COLUMNS, TOUCH, Head, numbered


class Taken(StrEnum):
    """What the door answers for one reading. Refused ones are found before they come here."""

    STORED = "stored"
    DUPLICATE = "duplicate"
    CONFLICT = "conflict"


class PostedReading(NamedTuple):
    """A reading to store: the counter's number, observed instant, value in thousandths of a count, received instant."""

    counter_no: int
    at_s: int
    value_milli: int
    received_s: int


class LogItem(NamedTuple):
    """An item for the intake log: which counter it named, when it came, why it is not stored, and its JSON text."""

    counter_ref: str
    received_s: int
    status: Unstored
    why: str
    item: str


@dataclass(frozen=True, slots=True)
class Post:
    """One request: readings and log items of one vessel. skew_s: how far the sender's clock was behind ours."""

    vessel_id: str
    readings: Sequence[tuple[int, int, int, int]]
    log: Sequence[LogItem] = ()
    skew_s: int = 0


@dataclass(frozen=True, slots=True)
class IntakeAnswer:
    """What became of a request: one door for each reading, in their order; `newest_s` of each counter's row."""

    doors: tuple[Taken, ...]
    newest_s: Mapping[int, int | None]


T = TypeVar("T")
_MOST_ROWS = 512
"""Rows of one statement: what more would bring is lost again in preparing it."""

_Row = tuple[int, int, int, int, str, int]
"""counter_no, at_s, value_milli, received_s, vessel_id, skew_s: the columns of `reading` in order."""
_LogRow = tuple[str, str, int, str, str, str]
"""vessel_id, counter_ref, received_s, status, why, item: the columns of `intake_log`."""
_Span = tuple[int, int | None, int]
"""Of what a counter got: first instant put right, last one not from the future (none), furthest that one was put right."""


class IntakeStore(ABC):
    """Writes groups of posts on one driver connection that is in autocommit between transactions."""

    place = "?"
    lock = ""
    """Ends a query whose rows stay locked."""

    def __init__(self, connection: Any) -> None:
        self.connection = connection

    def write(self, posts: Sequence[Post]) -> list[IntakeAnswer]:
        """Stores the posts, all or none, and returns their answers after the commit. Driver errors come as they are."""
        self.begin(sorted({post.vessel_id for post in posts}))
        rows: list[_Row] = [(*reading, post.vessel_id, post.skew_s) for post in posts for reading in post.readings]
        held = self.insert(rows)
        doors = _doors(rows, held)
        spans = _spans(rows, held)
        newest = self.touch(spans, {row[0] for row in rows} - spans.keys()) if rows else {}
        names = self.names({rows[index][0] for index in held if doors[index] is Taken.CONFLICT})
        conflicts = list(_conflicts(rows, doors, held, names))
        log = [*_given(posts), *conflicts]
        self.log(log)
        self.call_watch(sorted({vessel_id for vessel_id, *_ in conflicts}))
        self.capture([row for index, row in enumerate(rows) if index not in held] if held else rows, log)
        self.bump(sorted({row[4] for index, row in enumerate(rows) if index not in held}))
        self.connection.execute("COMMIT")
        return list(_answers(posts, doors, newest))

    def undo(self) -> bool:
        """Leaves the transaction, if any; false when the connection is of no more use."""
        try:
            self.connection.execute("ROLLBACK") if self.in_transaction() else None
        except Exception:
            return False
        return True

    @abstractmethod
    def begin(self, vessel_ids: list[str]) -> None:
        """Begins a transaction in which no one else writes for these vessels."""

    @abstractmethod
    def in_transaction(self) -> bool:
        """Whether a transaction is open."""

    @abstractmethod
    def insert(self, rows: Sequence[_Row]) -> Mapping[int, int]:
        """Inserts what is new; returns the value held for each row (by its index) whose place was taken."""

    @abstractmethod
    def touch(self, spans: Mapping[int, _Span], others: Iterable[int]) -> dict[int, int | None]:
        """Moves newest_s, dirty_from_s and skew_most_s of the counters by what was stored; returns all their newest_s."""

    @abstractmethod
    def names(self, counter_nos: Iterable[int]) -> dict[int, str]:
        """Ids of counters by their numbers."""

    def capture(self, rows: Sequence[_Row], log: Sequence[_LogRow]) -> None:
        """Makes what was stored into changes of its vessels, of those that have joined an office."""
        vessels = {row[4] for row in rows} | {row[0] for row in log}
        if not vessels:
            return
        found = self.connection.execute(
            f"SELECT vessel_id, {HEAD_COLUMNS} FROM shore_line ORDER BY vessel_id{self.lock}"  # noqa: S608
        )
        for vessel_id, *head in found.fetchall():
            if vessel_id in vessels:
                self._append(
                    vessel_id,
                    Head(*head),
                    [row for row in rows if row[4] == vessel_id],
                    [row for row in log if row[0] == vessel_id],
                )

    def _append(self, vessel_id: str, head: Head, rows: Sequence[_Row], log: Sequence[_LogRow]) -> None:
        if head.joining:
            touched = [(vessel_id, "reading", json.dumps([vessel_id, row[0], row[1]])) for row in rows]
            self.many(TOUCH.format(*[self.place] * 3), touched) if touched else None
            return
        texts = [*reading_texts(rows, self.names({row[0] for row in rows})), *map(log_text, log)]
        at_s = max((row[3] for row in rows), default=0) or max(row[2] for row in log)
        added = [(vessel_id, number, at_s, body, its) for number, body, its in numbered(head, texts, at_s)]
        self.many(ADD.format(*[self.place] * 5), added)
        self.many(FORWARD.format(*[self.place] * 5), [(added[-1][1], added[-1][4], 0, 0, vessel_id)])

    def log(self, found: Sequence[_LogRow]) -> None:
        """Adds to the intake log."""
        if found:
            marks = ", ".join([self.place] * 6)
            self.many(
                "INSERT INTO intake_log (vessel_id, counter_ref, received_s, status, why, item) "  # noqa: S608
                f"VALUES ({marks})",
                found,
            )

    def bump(self, vessel_ids: Sequence[str]) -> None:
        """Raises the revision of each vessel."""
        self.many(RAISE_REVISION.format(self.place), [(one,) for one in vessel_ids]) if vessel_ids else None

    def call_watch(self, vessel_ids: Sequence[str]) -> None:
        """Has the counters of each vessel looked at: a conflict stores nothing that raises her revision."""
        says = f"UPDATE revision SET counters_watch_s = 0 WHERE vessel_id = {self.place}"  # noqa: S608
        self.many(says, [(one,) for one in vessel_ids]) if vessel_ids else None

    def many(self, statement: str, rows: Sequence[tuple[Any, ...]]) -> None:
        """Runs a statement for each row."""
        cursor = self.connection.cursor()
        try:
            cursor.executemany(statement, rows)
        finally:
            cursor.close()


class SqliteIntake(IntakeStore):
    """SQLite: many rows in one statement, which runs without Python's lock; one by one only when some place was taken."""

    HELD = "SELECT value_milli FROM reading WHERE counter_no = ? AND at_s = ?"

    def begin(self, vessel_ids: list[str]) -> None:  # noqa: ARG002 - SQLite has one writer for all
        """Begins as the only writer."""
        self.connection.execute("BEGIN IMMEDIATE")

    def in_transaction(self) -> bool:
        """Whether a transaction is open."""
        return bool(self.connection.in_transaction)

    def insert(self, rows: Sequence[_Row]) -> Mapping[int, int]:
        """As the base says. SQLite tells how many were new, not which: when not all, they are told apart one by one."""
        new = 0
        for part in _parts(rows):
            new += self.connection.execute(_insert(len(part)), list(chain.from_iterable(part))).rowcount
        if new == len(rows):
            return {}
        self.connection.execute("ROLLBACK")
        self.connection.execute("BEGIN IMMEDIATE")
        held = {}
        for index, row in enumerate(rows):
            if self.connection.execute(_insert(1), row).rowcount == 0:
                (held[index],) = self.connection.execute(self.HELD, row[:2]).fetchone()
        return held

    def touch(self, spans: Mapping[int, _Span], others: Iterable[int]) -> dict[int, int | None]:
        """As the base says."""
        newest: dict[int, int | None] = {}
        for part in _parts([(no, *span) for no, span in spans.items()]):
            newest |= dict(self.connection.execute(_touch(len(part)), list(chain.from_iterable(part))).fetchall())
        for no in others:
            newest[no] = self.connection.execute("SELECT newest_s FROM counter WHERE no = ?", (no,)).fetchone()[0]
        return newest

    def names(self, counter_nos: Iterable[int]) -> dict[int, str]:
        """As the base says."""
        ask = "SELECT id FROM counter WHERE no = ?"
        return {no: self.connection.execute(ask, (no,)).fetchone()[0] for no in counter_nos}


class PostgresIntake(IntakeStore):
    """PostgreSQL: the columns go over as six arrays."""

    place = "%s"
    lock = " FOR UPDATE"
    INSERT = (
        "INSERT INTO reading (counter_no, at_s, value_milli, received_s, vessel_id, skew_s) "
        "SELECT * FROM unnest(%s::integer[], %s::bigint[], %s::bigint[], %s::bigint[], %s::text[], %s::bigint[]) "
        "ON CONFLICT (counter_no, at_s) DO NOTHING RETURNING counter_no, at_s"
    )
    HELD = (
        "SELECT counter_no, at_s, value_milli FROM reading "
        "JOIN unnest(%s::integer[], %s::bigint[]) AS wanted (no, at) ON counter_no = wanted.no AND at_s = wanted.at"
    )
    TOUCH = (
        "UPDATE counter SET newest_s = greatest(newest_s, wanted.last), "
        "dirty_from_s = least(dirty_from_s, wanted.first), skew_most_s = greatest(skew_most_s, wanted.most) "
        "FROM unnest(%s::integer[], %s::bigint[], %s::bigint[], %s::bigint[]) AS wanted (no, first, last, most) "
        "WHERE counter.no = wanted.no RETURNING counter.no, counter.newest_s"
    )

    def begin(self, vessel_ids: list[str]) -> None:
        """Begins, and waits for the turn of each vessel."""
        self.connection.execute("BEGIN")
        self.connection.execute(*lock_statement(vessel_ids))

    def in_transaction(self) -> bool:
        """Whether a transaction is open, a failed one included."""
        return int(self.connection.info.transaction_status) != 0

    def insert(self, rows: Sequence[_Row]) -> Mapping[int, int]:
        """As the base says. Of two rows of the group for one place the first in order of arrival goes in."""
        first: dict[tuple[int, int], int] = {}
        for index, row in enumerate(rows):
            first.setdefault((row[0], row[1]), index)
        if not rows:
            return {}
        columns = [list(column) for column in zip(*(rows[index] for index in first.values()), strict=True)]
        new = set(self.connection.execute(self.INSERT, columns).fetchall())
        if len(new) == len(rows):
            return {}
        values = {place: rows[index][2] for place, index in first.items()}
        taken = [place for place in first if place not in new]
        if taken:
            wanted = [list(column) for column in zip(*taken, strict=True)]
            values |= {(no, at): value for no, at, value in self.connection.execute(self.HELD, wanted).fetchall()}
        return {
            index: values[row[:2]] for index, row in enumerate(rows) if row[:2] not in new or first[row[:2]] != index
        }

    def touch(self, spans: Mapping[int, _Span], others: Iterable[int]) -> dict[int, int | None]:
        """As the base says."""
        newest: dict[int, int | None] = {}
        if spans:
            columns = [list(spans), *(list(column) for column in zip(*spans.values(), strict=True))]
            newest = dict(self.connection.execute(self.TOUCH, columns).fetchall())
        rest = list(others)
        if rest:
            found = self.connection.execute("SELECT no, newest_s FROM counter WHERE no = ANY(%s)", (rest,))
            newest |= dict(found.fetchall())
        return newest

    def names(self, counter_nos: Iterable[int]) -> dict[int, str]:
        """As the base says."""
        wanted = list(counter_nos)
        if not wanted:
            return {}
        return dict(self.connection.execute("SELECT no, id FROM counter WHERE no = ANY(%s)", (wanted,)).fetchall())


@cache
def _insert(count: int) -> str:
    """SQLite's statement that stores so many readings at once."""
    return (
        f"INSERT INTO reading (counter_no, at_s, value_milli, received_s, vessel_id, skew_s) "  # noqa: S608
        f"VALUES {_marks(count, 6)} "
        "ON CONFLICT (counter_no, at_s) DO NOTHING"
    )


@cache
def _touch(count: int) -> str:
    """SQLite's statement that moves the marks of so many counters at once, each by (no, *span)."""
    return (
        "UPDATE counter SET newest_s = coalesce(max(newest_s, column3), newest_s, column3), "  # noqa: S608
        "dirty_from_s = min(coalesce(dirty_from_s, column2), column2), skew_most_s = max(skew_most_s, column4) "
        f"FROM (VALUES {_marks(count, 4)}) "
        "WHERE no = column1 RETURNING no, newest_s"
    )


def _marks(count: int, width: int) -> str:
    return ", ".join([f"({', '.join('?' * width)})"] * count)


def _parts(rows: Sequence[T]) -> Iterator[Sequence[T]]:
    """The rows in order, cut into parts whose lengths are powers of two, so that few statements serve all numbers."""
    start = 0
    while start < len(rows):
        size = min(_MOST_ROWS, 1 << ((len(rows) - start).bit_length() - 1))
        yield rows[start : start + size]
        start += size


def _doors(rows: Sequence[_Row], held: Mapping[int, int]) -> list[Taken]:
    if not held:
        return [Taken.STORED] * len(rows)
    return [
        Taken.STORED if index not in held else Taken.DUPLICATE if held[index] == row[2] else Taken.CONFLICT
        for index, row in enumerate(rows)
    ]


def _spans(rows: Sequence[_Row], held: Mapping[int, int]) -> dict[int, _Span]:
    """What each counter got that is new, in order of counter."""
    spans: dict[int, _Span] = {}
    for index, (no, at, _, received, _, skew) in enumerate(rows):
        if index not in held:
            at += skew
            first, last, most = spans.get(no, (at, None, 0))
            if at <= received + AHEAD_S and (last is None or at > last):
                last = at
            spans[no] = (at if at < first else first, last, max(most, abs(skew)))
    return dict(sorted(spans.items()))


def _given(posts: Sequence[Post]) -> Iterator[_LogRow]:
    for post in posts:
        for ref, received_s, status, why, item in post.log:
            yield post.vessel_id, ref, received_s, status.value, why, item


def _conflicts(
    rows: Sequence[_Row], doors: Sequence[Taken], held: Mapping[int, int], names: Mapping[int, str]
) -> Iterator[_LogRow]:
    """Log rows for the readings that found another value at their instant."""
    for index, (no, at, value, received, vessel_id, _) in enumerate(rows if held else ()):
        if doors[index] is Taken.CONFLICT:
            why = f"the counter showed {_counts(held[index])} at that instant already; the first one stays"
            item = json.dumps({"counter": names[no], "at_s": at, "value": _counts(value)})
            yield vessel_id, names[no], received, Unstored.CONFLICT.value, why, item


def _answers(posts: Sequence[Post], doors: Sequence[Taken], newest: Mapping[int, int | None]) -> Iterator[IntakeAnswer]:
    start = 0
    for post in posts:
        end = start + len(post.readings)
        yield IntakeAnswer(
            tuple(doors[start:end]), {no: newest[no] for no in {reading[0] for reading in post.readings}}
        )
        start = end


def _counts(milli: int) -> str:
    """Thousandths as a decimal number: 12006500 is 12006.5."""
    whole, rest = divmod(milli, 1000)
    return f"{whole}.{rest:03d}".rstrip("0") if rest else str(whole)
