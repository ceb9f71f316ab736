"""The conductor: documents, then the past, then the present, through the doors of one server."""

import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import NoReturn

from seed_fleet.counters import Event, PostedBatch, deliveries, observe
from seed_fleet.documents import operating_calendar, vessel_document
from seed_fleet.gateway import DemoGateway, GaveUpError, Server, UnreachableError, post_event, put_calendar, send_vessel
from seed_fleet.running import HOUR, Run

Clock = Callable[[], datetime]
Report = Callable[[int, int, str], None]
"""Told after each step: how much is done, of how much, and what it was."""


@dataclass(frozen=True, slots=True)
class Keys:
    """The office's key, and a counter key and an engineer key for each vessel."""

    office: str
    counter: Mapping[str, str]
    engineer: Mapping[str, str]


def put_documents(runs: Sequence[Run], door: Server, keys: Keys, report: Report) -> None:
    """Puts the vessel documents and operating calendars alone, so that keys can be made for the vessels.

    Raises:
        GaveUpError: the server refuses one, or stays away.
    """
    for number, run in enumerate(runs, 1):
        new = send_vessel(door, keys.office, vessel_document(run))
        calendar = operating_calendar(run)
        if calendar is not None:
            put_calendar(door, keys.office, run.ship.vessel, calendar)
        report(number, len(runs), f"{run.ship.name}: {'set up' if new else 'there already, left as she stands'}")


def fill(runs: Sequence[Run], door: Server, keys: Keys, clock: Clock | None, report: Report) -> list[DemoGateway]:
    """Puts the documents and posts the whole past. Returns the gateways, their buffers empty.

    clock: gives the sending times, none to name none.

    Raises:
        GaveUpError: the server refuses, stays away, or already holds other readings of these counters.
    """
    planned = [(run, deliveries(run)) for run in runs]
    done, total = len(runs), len(runs) + sum(_size(step) for _, steps in planned for step in steps)
    put_documents(runs, door, keys, lambda put, _, what: report(put, total, what))
    gateways = []
    for run, steps in planned:
        gateway = DemoGateway(door=door, key=keys.counter[run.ship.vessel], clock=clock)
        gateways.append(gateway)
        for step in steps:
            if isinstance(step, Event):
                post_event(door, keys.engineer[run.ship.vessel], step)
                what = f"{step.body['kind']} of {step.counter}"
            else:
                for _ in range(2 if step.again else 1):
                    gateway.take(step.readings)
                    gateway.send()
                what = f"backfill up to {step.readings[-1].observed_at}" if step.late else step.readings[-1].observed_at
            if gateway.tally["conflict"] or gateway.tally["refused"]:
                raise GaveUpError(
                    f"{run.ship.vessel}: the server holds other readings of these counters, or refuses them "
                    f"({dict(gateway.tally)}). Use an empty server, or the same --seed, --until and --years as before."
                )
            done += _size(step)
            report(done, total, f"{run.ship.name}: {what}")
    return gateways


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


def _size(step: PostedBatch | Event) -> int:
    return 1 if isinstance(step, Event) else len(step.readings)
