"""A fleet of a thousand ships: her page, one ship's refresh beside the others, and the fleet's calendar.

One ship is real, with weeks of past and a plan; the others are copies of what is stored of her.
"""

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from statistics import median

import pytest
from sqlalchemy import event
from starlette.testclient import TestClient

from api.ics.writer import calendar_writer
from api.server.app import make_app
from scheduler.actions.base.context import Context
from scheduler.actions.care import rounds
from scheduler.actions.feed import addresses
from scheduler.actions.feed.calendars import write_fleet
from scheduler.actions.feed.refresh import refresh, stale_vessels
from scheduler.actions.people import people
from scheduler.actions.record.chains import daily_walk
from scheduler.actions.work.nonconformities import open_where_due
from scheduler.domain.base.enums import Role
from scheduler.settings import Settings
from scheduler.storage.database import bump_revision
from scheduler.storage.feed import FeedBodyRow, FeedEventRow, feed_body_rows, feed_event_rows
from scheduler.storage.summary import PlantSummaryRow, summary_row
from scheduler.storage.vessel import RevisionRow, VesselRow, revision_of, vessel_row
from seed_fleet.ships import PLOVER
from tests.bench.load import LEEWAY, SHORT
from tests.end_to_end.live import TurnedClock
from tests.end_to_end.test_actions import ME, PEN_HERE, PLANT, _post, _put, _take
from tests.storage.stores import kinds, ready_url

pytestmark = pytest.mark.bench

SHIPS = 200 if SHORT else 1000
EVENTS = 60
PAGES = 12 if SHORT else 60
BASE = "http://leadline.lan"
WATCHED_AT = ("limits_watch_at", "counters_watch_at", "night_at", "record_walk_at")


@dataclass(slots=True)
class Fleet:
    """An application on its database. key: of the office."""

    client: TestClient
    context: Context
    key: str

    def page(self) -> str:
        """The fleet's page, the first hundred."""
        answer = self.client.get("/?all=1", headers={"Authorization": f"Bearer {self.key}", "Accept": "text/html"})
        assert answer.status_code == 200
        return answer.text

    def statements(self, act: Callable[[], object]) -> list[str]:
        """What is asked of the database meanwhile, what begins and ends a transaction left out."""
        found: list[str] = []

        def note(*told: object) -> None:
            if str(told[2]).lstrip().upper().startswith(("SELECT", "WITH", "INSERT", "UPDATE", "DELETE")):
                found.append(str(told[2]))

        engines = {self.context.db.read_engine, self.context.db.write_engine}
        for one in engines:
            event.listen(one, "before_cursor_execute", note)
        act()
        for one in engines:
            event.remove(one, "before_cursor_execute", note)
        return found


@contextmanager
def fleet_of(kind: str, folder: Path, ships: int) -> Iterator[Fleet]:
    """So many ships; the fleet's calendar is in use."""
    folder.mkdir()
    clock = TurnedClock()
    with ready_url(kind, folder) as url:
        app = make_app(Settings(database=url, base_url=BASE, horizon_days=60), clock=clock, timers=False)
        context: Context = app.state.context
        _post(context, _put(context))
        _take(context)
        people.add_person(context, ME, person_id="office", name="O", rank="o", role=Role.OFFICE, vessel_id=None)
        key = people.add_key(context, ME, role=Role.OFFICE, label="office", person_id="office")
        addresses.make_address(context, ME, person_id="office", vessel_id=None)
        refresh(context, PEN_HERE, PLOVER.vessel)
        _copy(context, ships)
        write_fleet(context, PEN_HERE)
        with TestClient(app) as client:
            yield Fleet(client, context, key)


def _copy(context: Context, ships: int) -> None:
    vessel = PLOVER.vessel
    with context.db.read() as session:
        first, summary = vessel_row(session, vessel), summary_row(session, vessel, PLANT)
        events, bodies = feed_event_rows(session, vessel)[:EVENTS], feed_body_rows(session, vessel)
        revision = revision_of(session, vessel)
    looked = dict.fromkeys(WATCHED_AT, context.now() + timedelta(hours=12))
    assert first is not None
    assert summary is not None
    for start in range(1, ships, 100):
        with context.db.write("") as session:
            ids = [f"ship{number:04}" for number in range(start, min(start + 100, ships))]
            session.add_all(VesselRow(**{**first.model_dump(), "id": one, "name": f"Demo {one}"}) for one in ids)
            session.flush()
            for one in ids:
                session.add(RevisionRow(vessel_id=one, number=revision, **looked))
                session.add(PlantSummaryRow(**{**summary.model_dump(), "vessel_id": one, "plant_id": f"{one}-plant"}))
                session.add_all(FeedBodyRow(**{**row.model_dump(), "vessel_id": one}) for row in bodies)
                session.add_all(
                    FeedEventRow(**{**row.model_dump(), "vessel_id": one, "uid": f"{one}-{number}"})
                    for number, row in enumerate(events)
                )


def _seconds(act: Callable[[], object], times: int) -> list[float]:
    found = []
    for _ in range(times):
        began = time.perf_counter()
        act()
        found.append(time.perf_counter() - began)
    return sorted(found)


def _cpu(act: Callable[[], object]) -> float:
    began = time.thread_time()
    act()
    return time.thread_time() - began


@pytest.mark.parametrize("kind", kinds())
def test_a_thousand_ships_cost_what_is_shown_and_what_changed(kind: str, tmp_path: Path) -> None:
    """The page: as many queries as of ten ships, its time against that of a hundred, of which it shows as many. A refresh: as many
    statements, and CPU seconds, as beside nine other ships."""
    writer = calendar_writer(BASE)
    with (
        fleet_of(kind, tmp_path / "ten", 10) as ten,
        fleet_of(kind, tmp_path / "hundred", 100) as hundred,
        fleet_of(kind, tmp_path / "many", SHIPS) as many,
    ):
        fleets = (ten, hundred, many)
        for one in fleets:
            one.page()
        queries = [len(one.statements(one.page)) for one in fleets]
        assert queries[0] == queries[1] == queries[2]
        assert many.page().count('<div class="strip2">') == 100
        rounds = [[_seconds(one.page, PAGES) for one in (hundred, many)] for _ in range(3)]
        p95 = [min(times[int(len(times) * 0.95)] for times in of) for of in zip(*rounds, strict=True)]
        middle = [min(median(times) for times in of) for of in zip(*rounds, strict=True)]

        def changed(one: Fleet) -> None:
            with one.context.db.write(PLOVER.vessel) as session:
                bump_revision(session, PLOVER.vessel)
            assert stale_vessels(one.context, 10**9) == [PLOVER.vessel]

        asked, spent = [], []
        for one in (ten, many):
            changed(one)
            asked.append(len(one.statements(lambda one=one: refresh(one.context, writer, PLOVER.vessel))))
        for _ in range(5 if SHORT else 15):
            for one in (ten, many):
                changed(one)
            spent.append([_cpu(lambda one=one: refresh(one.context, writer, PLOVER.vessel)) for one in (ten, many)])
        cpu = [min(of) for of in zip(*spent, strict=True)]
        whole = min(_cpu(lambda: write_fleet(many.context, writer)) for _ in range(3))
        print(
            f"\n{kind}: page, {queries[2]} statements in all of 10, 100 and {SHIPS} ships; p95 of 100 and {SHIPS} "
            f"{p95[0] * 1e3:.0f} and {p95[1] * 1e3:.0f} ms, median {middle[0] * 1e3:.0f} and {middle[1] * 1e3:.0f}; "
            f"refresh of one of 10 and {SHIPS}: {asked} statements, {cpu[0] * 1e3:.1f} and {cpu[1] * 1e3:.1f} ms CPU, ratio "
            f"{cpu[1] / cpu[0]:.3f}; the fleet's calendars of {SHIPS * EVENTS} events, both kinds: {whole * 1e3:.0f} ms CPU"
        )
        assert asked[0] == asked[1]
        assert cpu[1] / cpu[0] < 1.1 * LEEWAY
        assert middle[1] / middle[0] < 1.5 * LEEWAY


@pytest.mark.parametrize("kind", kinds())
def test_a_tick_costs_what_changed_and_not_how_many_ships_there_are(kind: str, tmp_path: Path) -> None:
    """All watches after one ship changed, and with nothing changed: as many statements among a thousand ships as among ten, and as
    much CPU."""
    with fleet_of(kind, tmp_path / "ten", 10) as ten, fleet_of(kind, tmp_path / "many", SHIPS) as many:

        def tick(one: Fleet) -> None:
            open_where_due(one.context)
            rounds.watch_counters(one.context, lambda _: None)
            rounds.nightly(one.context)
            daily_walk(one.context)

        def changed(one: Fleet) -> None:
            with one.context.db.write(PLOVER.vessel) as session:
                bump_revision(session, PLOVER.vessel)

        for one in (ten, many):
            tick(one)
            tick(one)  # what it found of the ship called it once more
        asked, spent, idle = [], [], []
        for one in (ten, many):
            changed(one)
            asked.append(
                (len(one.statements(lambda one=one: tick(one))), len(one.statements(lambda one=one: tick(one))))
            )
        for _ in range(5 if SHORT else 15):
            for one in (ten, many):
                changed(one)
            spent.append([_cpu(lambda one=one: tick(one)) for one in (ten, many)])
            idle.append([_cpu(lambda one=one: [tick(one) for _ in range(10)]) for one in (ten, many)])
        cpu, rest = ([min(of) for of in zip(*rounds, strict=True)] for rounds in (spent, idle))
        print(
            f"\n{kind}: the watches of one changed ship of 10 and {SHIPS}: {asked[0][0]} statements, {cpu[0] * 1e3:.1f} and "
            f"{cpu[1] * 1e3:.1f} ms CPU, ratio {cpu[1] / cpu[0]:.3f}; with nothing to see {asked[0][1]} statements, "
            f"{rest[0] * 100:.2f} and {rest[1] * 100:.2f} ms, ratio {rest[1] / rest[0]:.3f}"
        )
        assert asked[0] == asked[1]
        assert cpu[1] / cpu[0] < 1.1 * LEEWAY
        assert rest[1] / rest[0] < 1.2 * LEEWAY
