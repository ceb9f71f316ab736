"""The record: canonical text, the chain over it, and what a closed job writes down.

Records are numbered without gaps per vessel and never edited; a correction is a new record that points at the old one.
Each record is stored as the text it was hashed over, so the chain can be checked from an export alone.
"""

import hashlib
import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from enum import Enum, StrEnum
from typing import ClassVar, TypeVar

from scheduler.domain.base.enums import Test, Trigger
from scheduler.domain.vessel.document import JobKind
from scheduler.errors import Refused

_T = TypeVar("_T")

GENESIS = "0" * 64
"""The previous hash of a vessel's first record."""


def canonical(payload: Mapping[str, object]) -> str:
    """The one text of `payload`: JSON, ASCII only, keys sorted, no spaces, every number a string.

    Numbers are strings because readers differ in what they do to large or fractional ones; the text, not the value, is
    hashed. Instants are written RFC 3339 in UTC with `Z` (fractions only when not zero), dates ISO 8601; text keeps
    its letters as escapes.

    Args:
        payload: values may be text, bool, None, int, float, Decimal, aware datetime, date, an Enum of these, and
            mappings and sequences of them. Keys are ASCII text at every level.

    Raises:
        Refused: NaN or infinity, a datetime without offset, half a surrogate pair, a key that is not ASCII text, or a
            value of another type. The message names the place.

    Source: RFC 8259 (JSON); for ASCII text the result is that of RFC 8785 (JSON Canonicalization Scheme).

    >>> canonical({"running_hours": 1499.5, "done_at": datetime(2026, 11, 25, 7, tzinfo=UTC), "a": [1, True, None]})
    '{"a":["1",true,null],"done_at":"2026-11-25T07:00:00Z","running_hours":"1499.5"}'
    """
    return json.dumps(_plain(payload, ""), ensure_ascii=True, allow_nan=False, sort_keys=True, separators=(",", ":"))


def stamp(text: str, previous_hash: str) -> str:
    """The chain hash: lower-case hex SHA-256 over `previous_hash`, one line feed, then `text`, as ASCII.

    Args:
        text: what `canonical` returned, exactly as stored.
        previous_hash: hash of the record before it, 64 hex digits; `GENESIS` for a vessel's first.

    Source: FIPS 180-4 (SHA-256); the chaining is this project's own.

    >>> stamp("{}", GENESIS)[:16]
    '5649d09ed68c1715'
    """
    return hashlib.sha256(f"{previous_hash}\n{text}".encode("ascii")).hexdigest()


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """One record of a vessel's history. number counts from 1 without gaps; text is what was hashed."""

    number: int
    kind: str
    text: str
    hash: str
    previous_hash: str
    recorded_at: datetime


def record_of(
    *, number: int, kind: str, payload: Mapping[str, object], recorded_at: datetime, previous_hash: str
) -> Record:
    """The record to append. Its number, kind and time go into the hashed text, so none can be changed unseen.

    Raises:
        Refused: as `canonical`, or when the payload itself has a member `number`, `kind` or `recorded_at` that says
            something else.
    """
    envelope: dict[str, object] = {"number": number, "kind": kind, "recorded_at": recorded_at}
    for name, value in envelope.items():
        if name in payload and payload[name] != value:
            raise Refused(f"The record's payload says {name} {payload[name]!r}, the record {value!r}. Leave it out.")
    text = canonical({**payload, **envelope})
    return Record(
        number=number,
        kind=kind,
        text=text,
        hash=stamp(text, previous_hash),
        previous_hash=previous_hash,
        recorded_at=recorded_at,
    )


class Verdict(StrEnum):
    """How a done job stands against its original due point."""

    EARLY = "early"
    IN_WINDOW = "in window"
    WITHIN_LIMIT = "past due within limit"
    POSTPONED = "postponed"
    LATE = "late"
    BREAKDOWN = "breakdown"
    """Not planned: there was no due point to judge it by."""
    NOT_JUDGED = "not judged"
    """Nobody knew when it was last done, so there was no due point to judge it by."""


class HoursSource(StrEnum):
    """Where the running hours at close came from."""

    COUNTER = "counter"
    BY_HAND = "by hand"
    ESTIMATED = "estimated"


@dataclass(frozen=True, slots=True, kw_only=True)
class DuePoint:
    """The original due point of an occurrence; a postponement stands beside it and never replaces it.

    Running seconds are readings of the subject's hours, none without a running-hour interval; instants are those of the
    calendar interval, none without one. At least one of `due_running_seconds` and `calendar_due_at` is given where it is
    planned and known.
    limit_from says where the limit came from, in words. postponed_*: the new limit, none where not postponed.
    """

    trigger: Trigger
    due_running_seconds: int | None = None
    window_opens_running_seconds: int | None = None
    limit_running_seconds: int | None = None
    calendar_due_at: datetime | None = None
    calendar_window_opens_at: datetime | None = None
    calendar_limit_at: datetime | None = None
    limit_from: str = "tolerance of the job kind"
    postponed_to_running_seconds: int | None = None
    postponed_to_at: datetime | None = None
    planned: bool = True
    """False for a breakdown, which has no due point."""
    known: bool = True
    """False where nobody knew when the job was last done: it has no due point either."""


NO_DUE_POINT = DuePoint(trigger=Trigger.CALENDAR, limit_from="not planned", planned=False)
"""Of a breakdown."""
LAST_NOT_KNOWN = DuePoint(trigger=Trigger.CALENDAR, limit_from="last time not known", known=False)
"""Of a job that nobody knew when it was last done."""


def due_point_of(
    kind: JobKind,
    *,
    trigger: Trigger,
    due_running_seconds: int | None,
    calendar_due_at: datetime | None,
    postponed_to_at: datetime | None = None,
    postponed_to_running_seconds: int | None = None,
    limit_from: str = "tolerance of the job kind",
) -> DuePoint:
    """The due point with the window and tolerance of its job kind laid around it."""
    hours, at = due_running_seconds, calendar_due_at
    return DuePoint(
        trigger=trigger,
        due_running_seconds=hours,
        window_opens_running_seconds=None if hours is None else hours - 3600 * kind.window_running_hours,
        limit_running_seconds=None if hours is None else hours + 3600 * kind.tolerance_running_hours,
        calendar_due_at=at,
        calendar_window_opens_at=None if at is None else at - timedelta(days=kind.window_days),
        calendar_limit_at=None if at is None else at + timedelta(days=kind.tolerance_days),
        limit_from=limit_from,
        postponed_to_running_seconds=postponed_to_running_seconds,
        postponed_to_at=postponed_to_at,
    )


def verdict_of(
    point: DuePoint, *, done_at: datetime, running_seconds: int | None, utc_offset_minutes: int = 0
) -> Verdict:
    """The verdict on work done at `done_at`, judged from the original due point.

    The calendar is judged by ship dates: the due day and the limit day count in full. The window is open as soon as
    either trigger opened it; the job is past due, or past its limit, as soon as either trigger is. Past the original
    limit it is `postponed` while every postponed limit given holds, else `late`.

    Args:
        running_seconds: of the subject when done; none where it has no running hours.
        utc_offset_minutes: ship time when done, -720 to 840.

    Raises:
        Refused: the due point has neither hours nor a date, or it has hours only and `running_seconds` is none.
    """

    def reached(seconds: int | None, at: datetime | None, *, beyond: bool) -> bool:
        """A mark is reached (or passed, when `beyond`) by either trigger."""
        by_hours = seconds is not None and running_seconds is not None and running_seconds >= seconds + beyond
        days = None if at is None else _days_after(at, done_at, utc_offset_minutes)
        return by_hours or (days is not None and days >= beyond)

    if not point.planned:
        return Verdict.BREAKDOWN
    if not point.known:
        return Verdict.NOT_JUDGED
    if point.calendar_due_at is None and (point.due_running_seconds is None or running_seconds is None):
        raise Refused(
            "This job cannot be judged: it needs a due date, or a due figure of running hours together with the "
            "running hours at which it was done. Give the running hours; an estimate may be marked as one."
        )
    if not reached(point.due_running_seconds, point.calendar_due_at, beyond=True):
        opened = reached(point.window_opens_running_seconds, point.calendar_window_opens_at, beyond=False)
        on_the_point = reached(point.due_running_seconds, point.calendar_due_at, beyond=False)
        return Verdict.IN_WINDOW if opened or on_the_point else Verdict.EARLY
    limit_seconds = _first_given(point.limit_running_seconds, point.due_running_seconds)
    limit_at = _first_given(point.calendar_limit_at, point.calendar_due_at)
    if not reached(limit_seconds, limit_at, beyond=True):
        return Verdict.WITHIN_LIMIT
    postponed = point.postponed_to_at is not None or point.postponed_to_running_seconds is not None
    if postponed and not reached(point.postponed_to_running_seconds, point.postponed_to_at, beyond=True):
        return Verdict.POSTPONED
    return Verdict.LATE


@dataclass(frozen=True, slots=True, kw_only=True)
class ClosedJob:
    """What a closed job puts on record. A correction is another one whose `corrects` is the number of the old record.

    least_margin_swept_m3_per_h: smallest available minus minimum while the pump was out (calculated), none where no
    pump was out. tags, parts_used, measures: in words, from the steps of the work. lowest_vacuum_kpa: the lowest the plant
    was seen at meanwhile. opened_at: when the subject was taken out, none where it is not known. opened_as_shown: on the
    ship's day that was shown for it.
    """

    KIND: ClassVar[str] = "closed job"

    vessel: str
    position: str | None
    pump_serial: str | None
    job_kind: str
    job_no: str
    due: DuePoint
    done_at: datetime
    utc_offset_minutes: int
    running_seconds: int | None
    hours_source: HoursSource | None
    done_by: str
    checked_by: str | None
    recorded_by: str
    findings: str = ""
    test: Test = Test.NONE
    opened_at: datetime | None = None
    least_margin_swept_m3_per_h: float | None = None
    permit_no: str | None = None
    tags: str = ""
    parts_used: str = ""
    measures: str = ""
    lowest_vacuum_kpa: float | None = None
    corrects: int | None = None
    opened_as_shown: bool = False

    @property
    def verdict(self) -> Verdict:
        """As `verdict_of`; a job that was opened on the date that was shown for it is in its window, though the window as reckoned
        when it was done opens a little later."""
        found = verdict_of(
            self.due,
            done_at=self.done_at,
            running_seconds=self.running_seconds,
            utc_offset_minutes=self.utc_offset_minutes,
        )
        return Verdict.IN_WINDOW if found is Verdict.EARLY and self.opened_as_shown else found

    def payload(self) -> dict[str, object]:
        """The members of its record; absent figures are null, so every closed job has the same members."""
        due = self.due
        return {
            "vessel": self.vessel,
            "position": self.position,
            "pump_serial": self.pump_serial,
            "job_kind": self.job_kind,
            "job_no": self.job_no,
            "trigger": "breakdown" if not due.planned else due.trigger if due.known else due.limit_from,
            "due_running_seconds": due.due_running_seconds,
            "due_at": due.calendar_due_at,
            "window_opens_running_seconds": due.window_opens_running_seconds,
            "window_opens_at": due.calendar_window_opens_at,
            "limit_running_seconds": due.limit_running_seconds,
            "limit_at": due.calendar_limit_at,
            "limit_from": due.limit_from,
            "postponed_to_running_seconds": due.postponed_to_running_seconds,
            "postponed_to_at": due.postponed_to_at,
            "opened_at": self.opened_at,
            "done_at": self.done_at,
            "utc_offset_minutes": self.utc_offset_minutes,
            "running_seconds": self.running_seconds,
            "hours_source": self.hours_source,
            "seconds_from_due": _less(self.running_seconds, due.due_running_seconds),
            "days_from_due": None
            if due.calendar_due_at is None
            else _days_after(due.calendar_due_at, self.done_at, self.utc_offset_minutes),
            "verdict": self.verdict,
            "findings": self.findings,
            "test": self.test,
            "least_margin_swept_m3_per_h": self.least_margin_swept_m3_per_h,
            "done_by": self.done_by,
            "checked_by": self.checked_by,
            "recorded_by": self.recorded_by,
            "permit_no": self.permit_no,
            "tags": self.tags,
            "parts_used": self.parts_used,
            "measures": self.measures,
            "lowest_vacuum_kpa": self.lowest_vacuum_kpa,
            "corrects": self.corrects,
        }


def _days_after(mark: datetime, done_at: datetime, utc_offset_minutes: int) -> int:
    """Ship dates from `mark` to `done_at`, both at the ship time of `done_at`."""
    offset = timedelta(minutes=utc_offset_minutes)
    return ((done_at.astimezone(UTC) + offset).date() - (mark.astimezone(UTC) + offset).date()).days


def _less(value: int | None, other: int | None) -> int | None:
    return None if value is None or other is None else value - other


def _first_given(first: _T | None, second: _T | None) -> _T | None:
    return second if first is None else first


def instant_text(at: datetime) -> str:
    """RFC 3339 in UTC with `Z`; fractions of a second only when there are any."""
    return at.astimezone(UTC).replace(tzinfo=None).isoformat() + "Z"


def _plain(value: object, where: str) -> object:
    """`value` as JSON text, bool, None, dict and list; `where` is its JSON Pointer."""
    if isinstance(value, Enum):
        value = value.value
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, str):
        return _text(value, where)
    if isinstance(value, int):
        return str(int(value))
    if isinstance(value, float | Decimal):
        return _number(value, where)
    if isinstance(value, datetime):
        if value.tzinfo is None:
            raise Refused(f"{where or '/'} is a time without an offset; records hold instants in UTC.")
        return instant_text(value)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Mapping):
        return {_key(key, where): _plain(member, f"{where}/{key}") for key, member in value.items()}
    if isinstance(value, Sequence) and not isinstance(value, bytes | bytearray | memoryview):
        return [_plain(member, f"{where}/{index}") for index, member in enumerate(value)]
    raise Refused(
        f"{where or '/'} is a {type(value).__name__}; a record holds text, numbers, true or false, instants, dates, "
        "lists and mappings of these."
    )


def _key(key: object, where: str) -> str:
    if isinstance(key, str) and key.isascii():
        return str(key)
    raise Refused(f"The key {key!r} in {where or '/'} is not ASCII text; name record members in plain ASCII.")


def _text(value: str, where: str) -> str:
    try:
        value.encode()
    except UnicodeEncodeError:
        raise Refused(f"{where or '/'} holds half a surrogate pair, which is no character; send it again.") from None
    return str(value)


def _number(value: float | Decimal, where: str) -> str:
    finite = value.is_finite() if isinstance(value, Decimal) else math.isfinite(value)
    if not finite:
        raise Refused(f"{where or '/'} is {value}; a record holds finite numbers. Leave it out if it is not known.")
    return repr(float(value)) if isinstance(value, float) else str(value)
