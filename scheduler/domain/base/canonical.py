"""Canonical text: the one text of a value, whatever order its members had. What is hashed, and what dates are compared by."""

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import fields
from datetime import UTC, date, datetime
from decimal import Decimal
from enum import Enum
from typing import TYPE_CHECKING

from scheduler.errors import Refused

if TYPE_CHECKING:
    from _typeshed import DataclassInstance


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


def vars_of(value: "DataclassInstance") -> dict[str, object]:
    """The members of a dataclass by name, as they are: `dataclasses.asdict` copies each deeply, ten times as slow.

    >>> from dataclasses import make_dataclass
    >>> vars_of(make_dataclass("Pair", ["a", "b"])(1, "x"))
    {'a': 1, 'b': 'x'}
    """
    return {one.name: getattr(value, one.name) for one in fields(value)}


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
