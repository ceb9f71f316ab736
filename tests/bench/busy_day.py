"""A fleet's whole traffic on one server, driven from another process, and what came of it: answers, delays, memory.

In a minute: 50 counters post a reading each, 20 people open six pages each, 200 calendar programs fetch, a plan is made and
the history exported. `pace` makes minutes shorter. Beside it a bare endpoint is asked as often as the readings' door.
"""

import asyncio
import itertools
import time
from collections import Counter as Tally
from collections.abc import AsyncIterator, Awaitable, Callable, Iterator
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from statistics import quantiles
from typing import Any

import httpx

from api.server.app import open_context
from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Context
from scheduler.actions.feed import addresses
from scheduler.actions.people import people
from scheduler.actions.vessel import changes
from scheduler.actions.vessel.document import VESSEL
from scheduler.domain.base.enums import Role
from scheduler.settings import Settings
from seed_fleet.documents import vessel_document
from seed_fleet.running import Run
from seed_fleet.ships import AVOCET, PLOVER, ShipPlan

POSTS, PAGES, FETCHES, PLANS, EXPORTS = 50, 60, 200, 0.5, 1
"""So many a minute."""
PEOPLE, PROGRAMS = 20, 200
FORMS = ("jsonl", "csv", "xlsx", "summary")
ME = Actor("bench", "bench", Role.ADMIN)
SHIPS = (
    PLOVER,
    AVOCET,
    *(replace(AVOCET, key=f"avocet{n}", name=f"Demo Avocet {n}", imo=f"02468{n}{2 * n % 10}") for n in range(1, 8)),
)
COUNTERS = [(ship, number) for ship in SHIPS for number in range(len(ship.pumps))][:POSTS]


def pages_of(ship: ShipPlan) -> list[tuple[str, str]]:
    """The pages that people open: what each is called here, and its address."""
    plant, vessel = f"/plants/{ship.key}-plant", f"/vessels/{ship.vessel}"
    return [
        ("plant", plant),
        *((end, f"{plant}/{end}") for end in ("plan", "figures", "minimum", "moved")),
        *((end, f"{vessel}/{end}") for end in ("counters", "hours", "notes", "calendar")),
        ("job", f"{vessel}/jobs/overhaul:{ship.pump(0)}:1"),
        ("first", "/"),
        ("pump", f"/pumps/{ship.pump(0)}/record"),
    ]


@dataclass(slots=True)
class Fleet:
    """What a caller needs of the database that was set up: keys of counters and chiefs by vessel, sign-in links, feeds."""

    counter_keys: dict[str, str] = field(default_factory=dict)
    chief_keys: dict[str, str] = field(default_factory=dict)
    links: list[tuple[ShipPlan, str]] = field(default_factory=list)
    feeds: list[str] = field(default_factory=list)


def set_up(database: str) -> Fleet:
    """Nine invented ships with 51 counters and a month of readings, 20 people, 200 calendar addresses."""
    from scheduler.storage.hours.intake import Intake

    fleet = Fleet()
    context = open_context(Settings(database=database))
    try:
        with Intake(context.db, context.clock) as intake:
            for ship in SHIPS:
                _add_ship(context, intake, ship, fleet)
        for number in range(PEOPLE):
            ship = SHIPS[number % len(SHIPS)]
            fleet.links.append((ship, people.make_link(context, f"chief-{ship.key}")))
        for number in range(PROGRAMS):
            ship = SHIPS[number % len(SHIPS)]
            made = addresses.make_address(context, ME, person_id=f"chief-{ship.key}", vessel_id=ship.vessel)
            fleet.feeds.append(made.secret)
    finally:
        context.db.close()
    return fleet


def _add_ship(context: Context, intake: Any, ship: ShipPlan, fleet: Fleet) -> None:
    from scheduler.storage.hours.counters import counter_rows

    run = Run(ship, 1, datetime.now(UTC), 0.1)
    changes.put_vessel(context, ME, VESSEL.validate_python(vessel_document(run)), if_new=True)
    person, vessel = f"chief-{ship.key}", ship.vessel
    people.add_person(
        context, ME, person_id=person, name=f"Chief of {ship.name}", rank="chief", role=Role.CHIEF, vessel_id=vessel
    )
    fleet.counter_keys[vessel] = people.add_key(context, ME, role=Role.COUNTER, label="gateway", vessel_id=vessel)
    fleet.chief_keys[vessel] = people.add_key(
        context, ME, role=Role.CHIEF, label="chief", vessel_id=vessel, person_id=person
    )
    with context.db.read() as session:
        numbers = {row.id: row.no for row in counter_rows(session, vessel)}
    end_s = int(run.end.timestamp())
    for place, pump in enumerate(ship.pumps):
        number = numbers[ship.counter(place)]
        rows = [
            (
                number,
                at_s,
                1000
                * (100 + run.ran_seconds(place, datetime.fromtimestamp(at_s, UTC)) // pump.register.seconds_per_count),
                at_s,
            )
            for at_s in range(end_s - 30 * 86400, end_s, 4 * 3600)
        ]
        intake.submit(vessel, rows).result(60)


@dataclass(slots=True)
class Measured:
    """What came of it. seconds: of each answer, by door. memory: (minute of the whole, resident MB). faults: what was no success."""

    seconds: dict[str, list[float]] = field(default_factory=dict)
    memory: list[tuple[float, float]] = field(default_factory=list)
    faults: Tally[str] = field(default_factory=Tally)

    def percentile_ms(self, door: str, percent: int) -> float:
        """The delay that so many answers in a hundred keep to."""
        return 1000 * quantiles(self.seconds[door] * 2, n=100, method="inclusive")[percent - 1]

    def p99_ms(self, door: str) -> float:
        """The delay that one answer in a hundred exceeds."""
        return self.percentile_ms(door, 99)

    def lines(self) -> Iterator[str]:
        """Each door's delays, and how many times those of the bare endpoint they are; the slowest first."""
        yield "door | answers | p50 ms | p99 ms | p50, p99 of bare"
        bare = [self.percentile_ms("bare", percent) for percent in (50, 99)]
        for door in sorted(self.seconds, key=self.p99_ms, reverse=True):
            own = [self.percentile_ms(door, percent) for percent in (50, 99)]
            ratios = ", ".join(f"{ms / plain:.1f}" for ms, plain in zip(own, bare, strict=True))
            yield f"{door} | {len(self.seconds[door])} | {own[0]:.0f} | {own[1]:.0f} | {ratios}"

    def mb_at(self, minute: float) -> float:
        """Resident memory about that minute: the median of the samples within a twentieth of the whole."""
        near = sorted(mb for at, mb in self.memory if abs(at - minute) <= self.memory[-1][0] / 20)
        return near[len(near) // 2]


def resident_mb(pid: int) -> float:
    """Memory of the server and of its timers' process now. Source: proc(5), the files status (VmRSS), children and cmdline."""
    children = Path(f"/proc/{pid}/task").glob("*/children")
    own = [one for file in children for one in file.read_text().split() if "timers_process" in _command_of(one)]
    found = 0.0
    for one in (str(pid), *own):
        line = next(line for line in Path(f"/proc/{one}/status").read_text().splitlines() if line.startswith("VmRSS"))
        found += int(line.split()[1]) / 1024
    return found


def _command_of(pid: str) -> str:
    try:
        return Path(f"/proc/{pid}/cmdline").read_text()
    except OSError:  # ended meanwhile
        return ""


Ask = tuple[str, Callable[[], Awaitable[httpx.Response]]]
"""The door, and what asks at it."""


async def drive(ours: str, bare: str, pid: int, fleet: Fleet, *, minutes: float, pace: float) -> Measured:
    """All of it for so many minutes of traffic, `pace` times as quick as life."""
    found = Measured()
    limits = httpx.Limits(max_connections=None, max_keepalive_connections=PEOPLE + PROGRAMS + 20)
    began = ends = 0.0

    async def every(a_minute: float, asks: Iterator[Ask]) -> None:
        gap = 60 / a_minute / pace
        due = time.monotonic()
        async with asyncio.TaskGroup() as group:
            while (due := due + gap) < ends:
                await asyncio.sleep(max(0.0, due - time.monotonic()))
                group.create_task(one(*next(asks)))

    async def one(door: str, ask: Callable[[], Awaitable[httpx.Response]]) -> None:
        sent = time.monotonic()
        try:
            answer = await ask()
        except httpx.HTTPError as error:
            found.faults[f"{door}: {type(error).__name__}"] += 1
            return
        found.seconds.setdefault(door, []).append(time.monotonic() - sent)
        if answer.status_code not in (200, 201, 202, 207, 304):  # 202: a plan that takes longer than a moment
            found.faults[f"{door}: {answer.status_code} {answer.request.url.path} {answer.text[:200]}"] += 1

    async def watch() -> None:
        while time.monotonic() < ends:
            found.memory.append(((time.monotonic() - began) / 60 * pace, resident_mb(pid)))
            await asyncio.sleep(2)

    async with (
        httpx.AsyncClient(base_url=ours, timeout=120, limits=limits, trust_env=False) as client,
        httpx.AsyncClient(base_url=bare, timeout=120, trust_env=False) as bare_client,
    ):
        browsers = [browser async for browser in _browsers(ours, fleet)]
        await _first_night(client, fleet)
        began = time.monotonic()
        ends = began + minutes * 60 / pace
        try:
            async with asyncio.TaskGroup() as all_of_it:
                for a_minute, asks in (
                    (POSTS, _posts(client, fleet)),
                    (POSTS, _bare(bare_client)),
                    (PAGES, _openings(browsers)),
                    (FETCHES, _fetches(client, fleet)),
                    (PLANS, _plans(client, fleet)),
                    (EXPORTS, _exports(client, fleet)),
                ):
                    all_of_it.create_task(every(a_minute, asks))
                all_of_it.create_task(watch())
        finally:
            for browser, _ in browsers:
                await browser.aclose()
    return found


async def _first_night(client: httpx.AsyncClient, fleet: Fleet) -> None:
    """Waits until a server that was just started has made its plans of the night."""
    for ship in SHIPS:
        head = {"Authorization": f"Bearer {fleet.chief_keys[ship.vessel]}"}
        for _ in range(200):
            answer = await client.get(f"/api/v1/plants/{ship.key}-plant/plan", headers=head)
            if answer.status_code == 200 and answer.json()["proposed"] is not None:
                break
            await asyncio.sleep(1)


async def _browsers(ours: str, fleet: Fleet) -> AsyncIterator[tuple[httpx.AsyncClient, ShipPlan]]:
    for ship, link in fleet.links:
        browser = httpx.AsyncClient(base_url=ours, timeout=120, follow_redirects=True, trust_env=False)
        await browser.post(f"/enter/{link}")
        yield browser, ship


def _posts(client: httpx.AsyncClient, fleet: Fleet) -> Iterator[Ask]:
    for ship, number in itertools.cycle(COUNTERS):
        head = {"Authorization": f"Bearer {fleet.counter_keys[ship.vessel]}"}
        item = {"counter": ship.counter(number), "observed_at": datetime.now(UTC).isoformat(), "value": 10_000_000}
        yield (
            "readings",
            lambda head=head, item=item: client.post("/api/v1/readings", json={"readings": [item]}, headers=head),
        )


def _bare(client: httpx.AsyncClient) -> Iterator[Ask]:
    while True:
        yield "bare", lambda: client.post("/api/v1/readings", json={"readings": [{"counter": "x", "value": 1}]})


def _openings(browsers: list[tuple[httpx.AsyncClient, ShipPlan]]) -> Iterator[Ask]:
    for turn in itertools.count():
        for number, (browser, ship) in enumerate(browsers):
            pages = pages_of(ship)
            name, page = pages[(turn + number) % len(pages)]
            yield f"page {name}", lambda browser=browser, page=page: browser.get(page)


def _fetches(client: httpx.AsyncClient, fleet: Fleet) -> Iterator[Ask]:
    tags: dict[str, str] = {}

    async def fetch(secret: str) -> httpx.Response:
        head = {"If-None-Match": tags[secret]} if secret in tags else {}
        answer = await client.get(f"/cal/{secret}/plan.ics", headers=head)
        tags[secret] = answer.headers.get("etag", "")
        return answer

    for secret in itertools.cycle(fleet.feeds):
        yield "calendars", lambda secret=secret: fetch(secret)


def _plans(client: httpx.AsyncClient, fleet: Fleet) -> Iterator[Ask]:
    for number, ship in enumerate(itertools.cycle(SHIPS)):
        head = {"Authorization": f"Bearer {fleet.chief_keys[ship.vessel]}", "Idempotency-Key": f"plan {number}"}
        path = f"/api/v1/plants/{ship.key}-plant/plan/previews"
        yield "plans", lambda path=path, head=head: client.post(path, headers=head)


def _exports(client: httpx.AsyncClient, fleet: Fleet) -> Iterator[Ask]:
    for ship, form in zip(itertools.cycle(SHIPS), itertools.cycle(FORMS), strict=False):
        head = {"Authorization": f"Bearer {fleet.chief_keys[ship.vessel]}"}
        query = {"vessel": ship.vessel, "format": form}
        yield "exports", lambda head=head, query=query: client.get("/api/v1/history", params=query, headers=head)
