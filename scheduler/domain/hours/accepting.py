"""The door for one posted reading: value and instant, or a refusal in words (rules R12, R13, R22).

A refusal is a value, not an exception: one bad reading never stops the others of its batch. What the ledger makes of an
accepted value is its own affair; here only that is refused which cannot be a counter's value at all.
"""

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from math import isfinite
from typing import NamedTuple

from scheduler.domain.hours.ledger_fit import AHEAD_S
from scheduler.domain.hours.ledger_values import Setup

DELTA_KEYS = frozenset(
    {"delta", "deltas", "increment", "increase", "difference", "diff", "hours_since", "since_last", "run_since"}
)
"""Members that give the hours since the last post instead of the counter's value."""

MOST_COUNTS = 10**12
EARLIEST_S = 946_684_800
"""2000-01-01: a stamp before it comes from a clock that was never set, and would make a false baseline."""
LATEST_S = 32_503_680_000
"""3000-01-01: a stamp from then on is no date of a ship, and near the end of the calendar it cannot be reckoned with."""
SKEW_S = AHEAD_S

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_SECOND = timedelta(seconds=1)
_COUNTER_VALUE = "the counter's own cumulative value, a number of 0 or more"


class Refusal(NamedTuple):
    """Why a reading was not taken: a stable code for machines, a sentence for people."""

    code: str
    says: str


class Accepted(NamedTuple):
    """A reading the ledger can use."""

    at_s: int
    value_milli: int


def value_milli(setup: Setup, value: object) -> int | Refusal:
    """The posted value in thousandths of a count (exact to three decimals), or why it is refused.

    Args:
        setup: of the counter it is for.
        value: as the JSON parser gave it.

    >>> value_milli(Setup(3600, None, 1000), 215.6)
    215600
    """
    kind = type(value)
    if kind is int:
        milli: int = value * 1000  # type: ignore[operator]
    elif kind is float and isfinite(value):  # type: ignore[arg-type]
        milli = round(value * 1000)  # type: ignore[operator]
    else:
        return _not_a_number(setup, value)
    if milli < 0 or value < 0:  # type: ignore[operator]
        return Refusal(
            "negative",
            f"{setup.name}: value {_short(value)} is below 0; send {_COUNTER_VALUE}, as the register shows it.",
        )
    modulus = setup.modulus
    if modulus is not None and milli >= modulus * 1000:
        return Refusal(
            "over modulus",
            f"{setup.name}: value {_short(value)} cannot be, it starts again at 0 after {modulus - 1}; check register, type, "
            "word order and the counter's modulus.",
        )
    if milli > MOST_COUNTS * 1000:
        return Refusal(
            "too large",
            f"{setup.name}: value {_short(value)} is more than {MOST_COUNTS} counts; check register, type and word order.",
        )
    return milli


def _not_a_number(setup: Setup, value: object) -> Refusal:
    if isinstance(value, float):
        return Refusal(
            "not finite",
            f"{setup.name}: value {value} is not a figure; leave the reading out when there is none to send.",
        )
    what = "no value" if value is None else f"value {_short(value)} is not a number"
    return Refusal("not a number", f"{setup.name}: {what}; send {_COUNTER_VALUE}, without quotation marks.")


def instant_s(text: object, name: str = "observed_at") -> int | Refusal:
    """Epoch seconds of an RFC 3339 instant, floored to the second, or why it is refused.

    Args:
        name: of the member, for a refusal.

    Source: RFC 3339 section 5.6 (an offset is required; 60 is a leap second, which counts as the next second).

    >>> instant_s("2026-11-03T14:00:00.9+02:00")
    1793707200
    """
    if type(text) is not str:
        return Refusal("bad instant", f"{name} {_short(text)} is not text; {_INSTANT}")
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        return _other_spelling(text, name)
    if at.tzinfo is None:
        return Refusal(
            "no offset",
            f"{name} {_short(text)} has no offset, so the instant is not known; send UTC with a Z at the end, such as "
            "2026-11-03T14:00:00Z.",
        )
    if len(text) < 20 or not text[4] == text[7] == "-" or text[10] not in "Tt " or text[13] != ":":
        return Refusal("bad instant", f"{name} {_short(text)} is not in full; {_INSTANT}")
    return (at - _EPOCH) // _SECOND


_INSTANT = "send date, time and offset as RFC 3339 has them, such as 2026-11-03T14:00:00Z."


def _other_spelling(text: str, name: str) -> int | Refusal:
    """Small letters and the leap second, which the quick way does not read."""
    spelled = text.upper()
    leap = spelled[16:19] == ":60"
    if leap:
        spelled = f"{spelled[:16]}:59{spelled[19:]}"
    if spelled == text:
        return Refusal("bad instant", f"{name} {_short(text)} is not an instant; {_INSTANT}")
    at_s = instant_s(spelled, name)
    return at_s + 1 if leap and isinstance(at_s, int) else at_s


def check_item(setup: Setup, item: Mapping[str, object], skew: int = 0) -> Accepted | Refusal:
    """One item of a batch, `{"observed_at": ..., "value": ...}`: what the ledger can use, or why it is refused.

    A value for an instant in the future is taken: the ledger holds it (R12).

    Args:
        setup: how the counter counted then. skew: as `skew_s` gives it for the batch, seconds.
    """
    if "value" not in item:
        return _not_a_number(setup, None) if DELTA_KEYS.isdisjoint(item) else delta_refusal(setup, item)
    at_s = instant_s(item.get("observed_at"))
    if isinstance(at_s, Refusal):
        return Refusal(at_s.code, f"{setup.name}: {at_s.says}")
    return check(setup, item["value"], at_s, skew)


def check(setup: Setup, value: object, at_s: int, skew: int = 0) -> Accepted | Refusal:
    """The same for a value and an instant already read (epoch seconds)."""
    if skew and not EARLIEST_S <= at_s + skew < LATEST_S:
        return Refusal(
            "clock not set",
            f"{setup.name}: sent_at says the sender's clock is {abs(skew) // 86400} days off, and put right by that the reading "
            "would be from before 2000 or after 2999; set the sender's clock to UTC and send again.",
        )
    if at_s < EARLIEST_S:
        return Refusal(
            "clock not set",
            f"{setup.name}: observed before the year 2000; set the sender's clock to UTC and send again.",
        )
    if at_s >= LATEST_S:
        return Refusal(
            "clock not set",
            f"{setup.name}: observed after the year 2999; set the sender's clock to UTC and send again.",
        )
    milli = value_milli(setup, value)
    return Accepted(at_s, milli) if isinstance(milli, int) else milli


def delta_refusal(setup: Setup, item: Mapping[str, object]) -> Refusal:
    """Hours since the last post are refused: a lost or doubled post would falsify the sum for good (R22)."""
    keys = ", ".join(sorted(DELTA_KEYS.intersection(item)))
    return Refusal(
        "delta",
        f"{setup.name}: {keys} gives hours since the last post, which cannot be checked and is wrong for good once a post is "
        'lost or sent twice; send the counter\'s own cumulative value as "value".',
    )


def skew_s(sent_s: int, received_s: int) -> int:
    """Seconds by which the sender's clock is behind ours, negative ahead; 0 within 5 minutes (R12).

    The stored observation keeps its stamp; what the ledger is given is shifted by this. That takes the clock to have been
    off by as much when the reading was stamped: nothing else is known of it.

    >>> skew_s(1_000, 4_600), skew_s(1_000, 1_200)
    (3600, 0)
    """
    skew = received_s - sent_s
    return skew if abs(skew) > SKEW_S else 0


def _short(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 40 else f"{text[:37]}..."
