"""When to try again, how much to send, and what an answer means for the buffer. Pure: clock and chance are arguments."""

import json
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from typing import Any, NamedTuple

FIRST_WAIT_SECONDS, LONGEST_WAIT_SECONDS = 1.0, 300.0
LONGEST_ASKED_SECONDS = 3600.0
"""A Retry-After beyond this is cut to it: a garbled header must not silence a ship for a year."""
MOST_ITEMS, MOST_BYTES = 1000, 900_000
"""One post: the server takes 1000 readings and 1 MiB."""

TAKEN = frozenset({"stored", "duplicate"})
NOT_TAKEN = frozenset({"refused", "conflict"})


class Queued(NamedTuple):
    """A reading in the buffer. id: its place in the queue. source: where it came from, in words."""

    id: int
    counter: str
    observed_at: str
    value: str
    source: str = ""


class Aside(NamedTuple):
    """A reading the server will not take. id: in the queue. status: refused or conflict. why: the server's words."""

    id: int
    status: str
    why: str


class Sorted(NamedTuple):
    """What an answer lists: ids the server has, and ids it will not take. What it does not list stays in the buffer."""

    taken: list[int]
    aside: list[Aside]


def wait_seconds(failures: int, asked: float | None, chance: float) -> float:
    """Seconds to the next try.

    Args:
        failures: tries that failed one after the other, 1 or more.
        asked: what the server asked for, in seconds; never less is waited, up to an hour.
        chance: 0 to 1, so that many gateways do not come back at the same instant.

    >>> wait_seconds(1, None, 1.0), wait_seconds(30, None, 0.0), wait_seconds(1, 60, 0.5)
    (1.0, 150.0, 63.0)
    """
    grown = min(FIRST_WAIT_SECONDS * 2.0 ** min(failures - 1, 30), LONGEST_WAIT_SECONDS) * (0.5 + chance / 2)
    if asked is None:
        return grown
    return max(grown, min(asked, LONGEST_ASKED_SECONDS) * (1 + chance / 10))


def asked_seconds(header: str | None, now: datetime) -> float | None:
    """Seconds that a Retry-After header asks for, 0 or more; none when there is none, or none that can be read.

    Source: RFC 9110 section 10.2.3 (seconds, or an HTTP date).

    >>> asked_seconds("Wed, 25 Nov 2026 07:01:00 GMT", datetime(2026, 11, 25, 7, tzinfo=UTC))
    60.0
    """
    if header is None:
        return None
    text = header.strip()
    if text.isascii() and text.isdigit():
        return float(text[:9])
    try:
        at = parsedate_to_datetime(text)
    except (ValueError, IndexError, TypeError):
        return None
    return max(0.0, ((at if at.tzinfo else at.replace(tzinfo=UTC)) - now).total_seconds())


def cut(queued: Iterable[Queued], most_items: int) -> list[Queued]:
    """As many from the front as go into one post: at least one when there is any."""
    batch: list[Queued] = []
    size = 0
    for one in queued:
        size += len(item_text(one))
        if batch and (len(batch) >= most_items or size > MOST_BYTES):
            break
        batch.append(one)
    return batch


def item_text(one: Queued) -> str:
    """The reading as it stands in the body. The value is put in as it was read, digit for digit."""
    return f'{{"counter": {json.dumps(one.counter)}, "observed_at": "{one.observed_at}", "value": {one.value}}}'


def post_body(batch: Sequence[Queued], sent_at: str) -> bytes:
    """The post's body."""
    return f'{{"sent_at": "{sent_at}", "readings": [{", ".join(map(item_text, batch))}]}}'.encode()


def sort_answer(batch: Sequence[Queued], answer: object) -> Sorted:
    """What the answer to this batch lists. A garbled answer, or a status not known, lists nothing.

    Args:
        answer: the body as the JSON parser gave it. An index listed twice counts as first listed.
    """
    sorted_out = Sorted([], [])
    seen: set[int] = set()
    for item in _items(answer):
        index, status = item.get("index"), item.get("status")
        if type(index) is not int or not 0 <= index < len(batch) or index in seen:
            continue
        if status in TAKEN:
            sorted_out.taken.append(batch[index].id)
        elif status in NOT_TAKEN:
            sorted_out.aside.append(Aside(batch[index].id, str(status), str(item.get("why") or "no reason given")))
        else:
            continue
        seen.add(index)
    return sorted_out


def _items(answer: object) -> list[dict[str, Any]]:
    items = answer.get("items") if isinstance(answer, dict) else None
    return [item for item in items if isinstance(item, dict)] if isinstance(items, list) else []
