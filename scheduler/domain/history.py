"""The record: canonical text, the chain over it, and what a closed job writes down.

Records are numbered without gaps per vessel and never edited; a correction is a new record that points at the old one.
Each record is stored as the text it was hashed over, so the chain can be checked from an export alone.
"""

import hashlib
import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from decimal import Decimal
from enum import Enum

from scheduler.errors import Refused

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
