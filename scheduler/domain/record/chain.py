"""The record: canonical text, the chain over it, and what a closed job writes down.

Records are numbered without gaps per vessel and never edited; a correction is a new record that points at the old one.
Each record is stored as the text it was hashed over, so the chain can be checked from an export alone.
"""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from scheduler.domain.base.canonical import canonical
from scheduler.errors import Refused

GENESIS = "0" * 64
"""The previous hash of a vessel's first record."""


def chain_hash(text: str, previous_hash: str) -> str:
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
        hash=chain_hash(text, previous_hash),
        previous_hash=previous_hash,
        recorded_at=recorded_at,
    )
