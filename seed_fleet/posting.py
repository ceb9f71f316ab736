"""The conductor: documents, then the past, then the present, through the doors of one server."""

import heapq
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import NoReturn

from seed_fleet.counters import Delivery, Event, PostedBatch, deliveries, observe
from seed_fleet.documents import operating_calendar, vessel_document
from seed_fleet.gateway import (
    DemoGateway,
    GaveUpError,
    Server,
    UnreachableError,
    post_event,
    put_calendar,
    send_act,
    send_vessel,
)
from seed_fleet.past_work import PastAct, past_acts
from seed_fleet.running import HOUR, Run

Clock = Callable[[], datetime]
Report = Callable[[int, int, str], None]
"""Told after each step: how much is done, of how much, and what it was."""


@dataclass(frozen=True, slots=True)
class Keys:
    """The office's key, and for each vessel a counter key, an engineer key (of whoever answers for her counters), and one of
    the second engineer where her past work is told."""

    office: str
    counter: Mapping[str, str]
    engineer: Mapping[str, str]
    second: Mapping[str, str]

    def of(self, vessel: str, who: str) -> str:
        """The key of whoever does something aboard or in the office."""
        return {"office": self.office, "chief": self.engineer[vessel], "second": self.second[vessel]}[who]


Pace = Callable[[datetime], None]
"""Asked before each step: returns once the server's clock stands at that instant."""


def put_documents(runs: Sequence[Run], door: Server, keys: Keys, report: Report) -> None:
    """Puts the vessel documents alone, and operating calendars unless their days are still to come, so that keys can be made for the
    vessels.

    Raises:
        GaveUpError: the server refuses one, or stays away.
    """
    for number, run in enumerate(runs, 1):
        new = send_vessel(door, keys.office, vessel_document(run))
        if not run.worked:
            _put_days(run, door, keys)
        report(number, len(runs), f"{run.ship.name}: {'set up' if new else 'there already, left as she stands'}")


def fill(
    runs: Sequence[Run], door: Server, keys: Keys, clock: Clock | None, report: Report, pace: Pace | None = None
) -> list[DemoGateway]:
    """Puts the documents and posts the whole past, step by step as it was. Returns the gateways, their buffers empty.

    clock: gives the sending times, none to name none. pace: for a server whose clock goes with the past.

    Raises:
        GaveUpError: the server refuses, stays away, or already holds other readings of these counters.
    """
    planned = [[(step.at, number, step) for step in deliveries(run, past_acts(run))] for number, run in enumerate(runs)]
    done, total = len(runs), len(runs) + sum(_size(step) for steps in planned for _, _, step in steps)
    if pace is not None:
        pace(min(run.start for run in runs))
    put_documents(runs, door, keys, lambda put, _, what: report(put, total, what))
    gateways = [DemoGateway(door=door, key=keys.counter[run.ship.vessel], clock=clock) for run in runs]
    for at, number, step in heapq.merge(*planned, key=lambda one: one[:2]):
        if pace is not None:
            pace(at)
        what = _send(step, runs[number], gateways[number], door, keys)
        done += _size(step)
        report(done, total, f"{runs[number].ship.name}: {what}")
    if pace is not None:
        pace(max(run.end for run in runs))
        for run in runs:
            _put_days(run, door, keys)
    return gateways


def _put_days(run: Run, door: Server, keys: Keys) -> None:
    calendar = operating_calendar(run)
    if calendar is not None:
        put_calendar(door, keys.office, run.ship.vessel, calendar)


def _send(step: Delivery, run: Run, gateway: DemoGateway, door: Server, keys: Keys) -> str:
    """Sends one step of the past. Returns what it was."""
    vessel = run.ship.vessel
    if isinstance(step, PastAct):
        send_act(door, keys.of(vessel, step.who), step)
        return f"{step.path.rpartition('/')[2]} of {step.at:%Y-%m-%d}"
    if isinstance(step, Event):
        post_event(door, keys.engineer[vessel], step)
        return f"{step.body['kind']} of {step.counter}"
    for _ in range(2 if step.again else 1):
        gateway.take(step.readings)
        gateway.send()
    if gateway.tally["conflict"] or gateway.tally["refused"]:
        raise GaveUpError(
            f"{vessel}: the server holds other readings of these counters, or refuses them "
            f"({dict(gateway.tally)}). Use an empty server, or the same --seed, --until and --years as before."
        )
    return f"backfill up to {step.readings[-1].observed_at}" if step.late else step.readings[-1].observed_at


def live(
    runs: Sequence[Run],
    gateways: Sequence[DemoGateway],
    every_seconds: float,
    door: Server,
    clock: Clock,
    report: Report,
) -> NoReturn:
    """Posts what the counters show, first hourly up to now, then every so many seconds, until something raises."""
    for run, gateway in zip(runs, gateways, strict=True):
        at = run.end + HOUR
        while at < clock():
            gateway.take(observe(run, at))
            at += HOUR
    rounds = 0
    while True:
        for run, gateway in zip(runs, gateways, strict=True):
            gateway.take(observe(run, clock().replace(microsecond=0)))
            try:
                gateway.send()
            except UnreachableError as error:
                print(f"{error} {len(gateway.buffer)} readings wait in the buffer.", file=sys.stderr, flush=True)
        rounds += 1
        waiting = sum(len(gateway.buffer) for gateway in gateways)
        report(rounds, rounds, f"live: round {rounds}, {waiting} waiting")
        door.sleep(every_seconds)


def _size(step: Delivery) -> int:
    return len(step.readings) if isinstance(step, PostedBatch) else 1
