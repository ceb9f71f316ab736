"""What the counters show of a run, and in which order a gateway delivers it. Pure.

Counts are cumulative raw integers. The troubles are those of real counters: a register that rolls over, one that stands
still and is replaced, one wild value, one gone silent, a link that was cut, a batch sent again because its answer was
lost on the way.
"""

from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import NamedTuple

from seed_fleet.documents import Json, utc_stamp
from seed_fleet.past_work import PastAct
from seed_fleet.running import HOUR, WATCH_HOURS, Run

HOURLY_DAYS = 14
"""The last days of the past are posted every hour, the days before once a watch."""
BACKFILL_AFTER_DAYS = 3
"""After a cut link the gateway sends what is new first; the backlog follows this much later."""
_AT_A_TIME = 3
"""Deliveries sent one after the other, of a past that is told with its work."""
SPIKE_COUNTS = 523
AGAIN_EVERY = 17
"""One delivery in so many is posted twice, as if its answer had been lost on the way."""


class CounterValue(NamedTuple):
    """A counter's raw value at an instant (RFC 3339, UTC)."""

    counter: str
    observed_at: str
    value: int


@dataclass(frozen=True, slots=True)
class PostedBatch:
    """Readings to post together; twice when `again`. late: backfill after a cut link. at: when they are posted."""

    at: datetime
    readings: tuple[CounterValue, ...]
    again: bool = False
    late: bool = False


@dataclass(frozen=True, slots=True)
class Event:
    """What an engineer posts about a counter, with a key that makes it safe to send twice. at: when."""

    at: datetime
    counter: str
    key: str
    body: Json


def value(run: Run, number: int, at: datetime) -> int | None:
    """The count that counter `number` shows at `at` (not before the start), none when nothing comes from it."""
    register = run.ship.pumps[number].register
    if register.silent_days is not None and at > run.end - timedelta(days=register.silent_days):
        return None
    replaced_at, stuck_at = _replaced_at(run, number), _stuck_at(run, number)
    if replaced_at is not None and at >= replaced_at:
        ran = run.ran_seconds(number, at) - run.ran_seconds(number, replaced_at)
        return ran // register.seconds_per_count
    ran = run.ran_seconds(number, at if stuck_at is None else min(at, stuck_at))
    counts = (_first_seconds(run, number) + ran) // register.seconds_per_count
    if register.spike_days is not None and at == _grid(run, register.spike_days):
        counts += SPIKE_COUNTS
    return counts if register.modulus is None else counts % register.modulus


def observe(run: Run, at: datetime) -> list[CounterValue]:
    """One reading of each counter that answers at `at`, whole second."""
    text = utc_stamp(at)
    values = ((number, value(run, number, at)) for number in range(len(run.ship.pumps)))
    return [CounterValue(run.ship.counter(number), text, counts) for number, counts in values if counts is not None]


def observed_at(run: Run) -> Iterator[datetime]:
    """The instants of the past at which the counters are read."""
    at, hourly_from = run.start, run.end - timedelta(days=HOURLY_DAYS)
    while at <= run.end:
        yield at
        at += HOUR * (1 if at >= hourly_from else WATCH_HOURS)


def value_events(run: Run) -> Iterator[tuple[datetime, Event]]:
    """What the engineers posted about counters, by instant: a replacement, and the hours the dead counter missed."""
    for number in range(len(run.ship.pumps)):
        replaced_at, stuck_at = _replaced_at(run, number), _stuck_at(run, number)
        if replaced_at is None or stuck_at is None:
            continue
        counter, text = run.ship.counter(number), utc_stamp(replaced_at)
        last = value(run, number, replaced_at - timedelta(seconds=1))
        missed = run.ran_seconds(number, replaced_at) - run.ran_seconds(number, stuck_at)
        key = f"seed-{run.seed}-{counter}-{text}"
        stuck = run.clock_aboard(stuck_at)
        why = f"Counter stood still since {stuck.day} {stuck:%b %H:%M}"
        swap: Json = {
            "kind": "replacement",
            "at": text,
            "old_final": last,
            "new_first": 0,
            "reason": f"{why}; renewed.",
        }
        made_good: Json = {
            "kind": "adjustment",
            "at": text,
            "hours": round(missed / 3600),
            "reason": f"{why}; hours it missed taken from the log of the motor starter.",
        }
        yield replaced_at, Event(replaced_at, counter, f"{key}-replacement", swap)
        yield replaced_at, Event(replaced_at, counter, f"{key}-adjustment", made_good)


Delivery = PostedBatch | Event | PastAct
"""What is sent at an instant `at`."""


def deliveries(run: Run, acts: Sequence[PastAct] = (), most_readings: int = 1000) -> list[Delivery]:
    """The whole past in the order in which it is posted. Equal runs give equal deliveries.

    acts: what people did meanwhile, oldest first; each comes after the readings of its counter up to its instant. Of such a past the
        other readings come some weeks at a time, since each delivery is reckoned up by itself.
    """
    cut = None
    if run.ship.link_cut_days is not None:
        cut_from, cut_to = (run.end - timedelta(days=days) for days in run.ship.link_cut_days)
        cut = (cut_from, cut_to) if cut_from >= run.start else None
    told: list[tuple[datetime, Event | PastAct]] = [*value_events(run), *((act.at, act) for act in acts)]
    pending = deque(sorted(told, key=lambda pair: pair[0]))
    steps: list[Delivery] = []
    now = run.start
    fresh: list[CounterValue] = []
    held: list[CounterValue] = []

    def close(readings: list[CounterValue], late: bool = False) -> None:
        while readings:
            again = len(steps) % AGAIN_EVERY == 5
            steps.append(PostedBatch(now, tuple(readings[:most_readings]), again=again, late=late))
            del readings[:most_readings]

    for at in observed_at(run):
        while pending and pending[0][0] <= at:
            act = pending.popleft()[1]
            if not isinstance(act, PastAct):
                close(fresh)
            elif act.counter:
                close([one for one in fresh if one.counter == act.counter])
                fresh = [one for one in fresh if one.counter != act.counter]
            steps.append(act)
        now = at
        if cut is not None and at > cut[1] + timedelta(days=BACKFILL_AFTER_DAYS):
            close(fresh)
            close(held, late=True)
            cut = None
        (held if cut is not None and cut[0] <= at < cut[1] else fresh).extend(observe(run, at))
        if len(fresh) >= most_readings * (_AT_A_TIME if acts else 1):
            close(fresh)
    close(fresh)
    close(held, late=True)
    steps += [act for _, act in pending]
    return steps


def _first_seconds(run: Run, number: int) -> int:
    """What the register stood at at the start, in seconds."""
    register = run.ship.pumps[number].register
    if register.ends_on_count is None or register.modulus is None:
        return register.first_count * register.seconds_per_count
    round_seconds = register.modulus * register.seconds_per_count
    return (register.ends_on_count * register.seconds_per_count - run.ran_seconds(number, run.end)) % round_seconds


def _grid(run: Run, days: int) -> datetime:
    """The instant at which a past counter is read, about that many days before the end."""
    return run.start + (run.end - timedelta(days=days) - run.start) // (HOUR * WATCH_HOURS) * (HOUR * WATCH_HOURS)


def _stuck_at(run: Run, number: int) -> datetime | None:
    days = run.ship.pumps[number].register.stuck_days
    return None if days is None or _grid(run, days) <= run.start else _grid(run, days)


def _replaced_at(run: Run, number: int) -> datetime | None:
    """Between two readings, so that no reading stands at the very instant of the replacement."""
    days = run.ship.pumps[number].register.replaced_days
    return None if days is None or _stuck_at(run, number) is None else _grid(run, days) + HOUR
