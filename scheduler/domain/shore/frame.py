"""A batch of changes as it travels: one frame, a head line and the changes laid in columns, packed.

A change is what one commit changed, as canonical JSON: `{"at", "number", "rows": [[table, "put"|"gone", {column: value}]]}`. Its hash
chains it to the one before, over the bytes of that text: what the columns give back is the same to the byte.
"""

import hashlib
import json
import zlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any

from scheduler.domain.shore import columns

zstandard: Any
try:
    import zstandard
except ImportError:  # a machine without the wheel: gzip does, a third larger
    zstandard = None

FIRST_HASH = "0" * 64
"""The hash before a vessel's first change."""
FORM = 1
"""The form of a frame."""
PACKED_BYTES = 256_000
"""The most a frame may have as it travels."""
UNPACKED_BYTES = 4_000_000
"""The most it may become, as text and as changes."""
_ZSTD, _GZIP = b"\x28\xb5\x2f\xfd", b"\x1f\x8b"
_WINDOW = 1 << 23
_PIECE = 64
"""Bytes given to zstd at once: a run in 4 bytes can become 128 kB, so 64 become 2 MB at most."""


@dataclass(frozen=True, slots=True)
class Change:
    """What one commit changed. number: from 1 without gaps in a vessel's life; body: canonical text; hash: its chain hash."""

    number: int
    body: bytes
    hash: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeBatch:
    """Changes sent together, in one post.

    Args:
        life: one unbroken existence of the ship's database.
        begins, ends: numbers of the first and the last change; `ends` is `begins - 1` for none.
        prev, head: the hash before the first, and of the last.
        schema: the ship's migration revision.
        sent_at: the ship's clock at the post, unix seconds.
        answered: numbers of the office's requests that the ship has taken in.
    """

    vessel_id: str
    life: str
    begins: int
    ends: int
    prev: str
    head: str
    schema: str
    sent_at: int
    answered: tuple[int, ...] = ()
    changes: tuple[Change, ...] = ()


class BatchFault(StrEnum):
    """Why a frame cannot be read."""

    NOT_PACKED = "not_packed"
    TOO_LARGE = "too_large"
    NOT_A_BATCH = "not_a_batch"
    FORM = "form"
    NUMBER = "number"
    CHAIN = "chain"


class BrokenBatch(Exception):
    """A frame that cannot be read; nothing of it counts. number: of the change at fault, where it is one."""

    def __init__(self, code: BatchFault, number: int | None = None) -> None:
        super().__init__(code, number)
        self.code, self.number = code, number


def canonical_body(at_s: int, number: int, rows: Iterable[Iterable[object]]) -> bytes:
    """The text of a change.

    Args:
        at_s: the ship's clock at the commit, unix seconds.
        rows: `[table, "put", whole row]`, or `[table, "gone", its key]`, in the order in which they apply.

    >>> canonical_body(5, 1, [["ship", "put", {"b": 1, "a": None}]])
    b'{"at":5,"number":1,"rows":[["ship","put",{"a":null,"b":1}]]}'
    """
    return body_of(at_s, number, [columns.one_text(list(row)) for row in rows])


def body_of(at_s: int, number: int, row_texts: Iterable[bytes]) -> bytes:
    """As `canonical_body`, of the canonical texts of its rows."""
    return b'{"at":%d,"number":%d,"rows":[%b]}' % (at_s, number, b",".join(row_texts))


def next_hash(prev: str, body: bytes) -> str:
    """SHA-256, hex, over the hash before, a line feed and the body. Source: FIPS 180-4; the chaining is this project's own."""
    return hashlib.sha256(prev.encode("ascii") + b"\n" + body).hexdigest()


def chained(prev: str, begins: int, bodies: Iterable[bytes]) -> Iterator[Change]:
    """The changes of these bodies, numbered from `begins` and chained on from `prev`."""
    for number, body in enumerate(bodies, begins):
        prev = next_hash(prev, body)
        yield Change(number, body, prev)


def pack(batch: ChangeBatch) -> bytes:
    """The batch as one frame: zstd, or gzip where the library is missing. Bodies are canonical texts (`canonical_body`)."""
    head = {
        "form": FORM,
        "vessel": batch.vessel_id,
        "life": batch.life,
        "from": batch.begins,
        "to": batch.ends,
        "prev": batch.prev,
        "head": batch.head,
        "schema": batch.schema,
        "sent_at": batch.sent_at,
        "answered": list(batch.answered),
    }
    text = columns.one_text(head) + b"\n" + columns.laid_text([change.body for change in batch.changes])
    if zstandard is None:
        return zlib.compress(text, 9, 31)
    return bytes(zstandard.ZstdCompressor(level=19 if len(text) < 262_144 else 9).compress(text))


def unpack(frame: bytes, *, limit_bytes: int = UNPACKED_BYTES) -> ChangeBatch:
    """The batch of a frame, its numbers and its chain from `prev` to `head` proved. Never holds more than some `limit_bytes`.

    Raises:
        BrokenBatch: with what is wrong, and with which change.
    """
    head_line, _, laid = _unpacked(frame, limit_bytes).partition(b"\n")
    head = _head(head_line)
    changes: list[Change] = []
    try:
        changes.extend(chained(head.prev, head.begins, columns.raised(laid, head.begins, limit_bytes)))
    except columns.NotLaid as error:
        raise BrokenBatch(BatchFault.NOT_A_BATCH, head.begins + len(changes)) from error
    except columns.TooMuchLaid as error:
        raise BrokenBatch(BatchFault.TOO_LARGE, head.begins + len(changes)) from error
    if head.begins + len(changes) - 1 != head.ends:
        raise BrokenBatch(BatchFault.NUMBER, head.ends)
    if (changes[-1].hash if changes else head.prev) != head.head:
        raise BrokenBatch(BatchFault.CHAIN, head.ends)
    return replace(head, changes=tuple(changes))


def rows_of(change: Change) -> list[tuple[str, str, dict[str, Any]]]:
    """Table, `put` or `gone`, and values of each row of a change, in order."""
    return [(table, act, values) for table, act, values in json.loads(change.body)["rows"]]


def _unpacked(frame: bytes, limit_bytes: int) -> bytes:
    """What is packed in the frame, read piece by piece: a frame that grows without end is left at the limit."""
    try:
        if frame.startswith(_GZIP):
            stream = zlib.decompressobj(31)
            text = stream.decompress(frame, limit_bytes + 1)
            whole = stream.eof and not stream.unused_data
        elif frame.startswith(_ZSTD) and zstandard is not None:
            text, whole = _of_zstd(frame, limit_bytes), True
        else:
            raise BrokenBatch(BatchFault.NOT_PACKED)
    except BrokenBatch:
        raise
    except Exception as error:  # what a library says of bytes that are none of its own
        raise BrokenBatch(BatchFault.NOT_PACKED) from error
    if len(text) > limit_bytes:
        raise BrokenBatch(BatchFault.TOO_LARGE)
    if not whole:
        raise BrokenBatch(BatchFault.NOT_PACKED)
    return text


def _of_zstd(frame: bytes, limit_bytes: int) -> bytes:
    text = bytearray()
    unpacker = zstandard.ZstdDecompressor(max_window_size=_WINDOW).decompressobj()
    for start in range(0, len(frame), _PIECE):
        text += unpacker.decompress(frame[start : start + _PIECE])
        if len(text) > limit_bytes:
            raise BrokenBatch(BatchFault.TOO_LARGE)
        if unpacker.eof and start + _PIECE >= len(frame) and not unpacker.unused_data:
            return bytes(text)
        if unpacker.eof:
            break
    raise BrokenBatch(BatchFault.NOT_PACKED)


def _head(line: bytes) -> ChangeBatch:
    """The batch without its changes, as the head line says. Raises BrokenBatch."""
    try:
        head = json.loads(line)
        form = head["form"]
        answered = head["answered"]
        texts = [head[name] for name in ("vessel", "life", "prev", "head", "schema")]
        numbers = [head["from"], head["to"], head["sent_at"], *answered]
    except (ValueError, TypeError, KeyError, RecursionError) as error:
        raise BrokenBatch(BatchFault.NOT_A_BATCH) from error
    if form != FORM:
        raise BrokenBatch(BatchFault.FORM)
    if not all(isinstance(one, str) for one in texts) or not isinstance(answered, list):
        raise BrokenBatch(BatchFault.NOT_A_BATCH)
    if not all(type(one) is int and 0 <= one < 2**63 for one in numbers):
        raise BrokenBatch(BatchFault.NOT_A_BATCH)
    if head["from"] < 1 or head["to"] < head["from"] - 1:
        raise BrokenBatch(BatchFault.NUMBER)
    if not all(len(one) == 64 and set(one) <= set("0123456789abcdef") for one in (head["prev"], head["head"])):
        raise BrokenBatch(BatchFault.CHAIN)
    vessel_id, life, prev, last, schema = texts
    return ChangeBatch(
        vessel_id=vessel_id,
        life=life,
        begins=head["from"],
        ends=head["to"],
        prev=prev,
        head=last,
        schema=schema,
        sent_at=head["sent_at"],
        answered=tuple(answered),
    )
