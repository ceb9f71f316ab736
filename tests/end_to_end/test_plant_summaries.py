"""A plant's stored summary is at every moment what would be worked out afresh, whatever was done and however long nothing was."""

import random
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Context, Hand
from scheduler.actions.capacity import concessions, outages
from scheduler.actions.due import postponing
from scheduler.actions.feed import refresh, summary
from scheduler.actions.people import people
from scheduler.actions.plant_state.load import load_plant
from scheduler.actions.vessel import changes, fleet
from scheduler.actions.vessel.fleet import Place
from scheduler.actions.work import closing, closing_checks, handover, jobs
from scheduler.domain.base.enums import Role, Test
from scheduler.domain.capacity.concessions import Lower
from scheduler.domain.capacity.minimum import Swept
from scheduler.domain.due.postponing import Asked
from scheduler.domain.feed.summary import PlantSummary
from scheduler.errors import SchedulerError
from scheduler.settings import Settings
from scheduler.storage.hours.counters import counter_rows
from scheduler.storage.hours.readings import newest_reading
from scheduler.storage.summary import PlantSummaryRow, summary_row
from scheduler.storage.vessel import AssetKind
from seed_fleet.ships import PLOVER
from tests.end_to_end.live import TurnedClock
from tests.end_to_end.test_actions import ME, PEN_HERE, PLANT, _now, _post, _put, _take
from tests.storage.stores import kinds_long_on_postgresql, store
from tests.ticks import store_now

VESSEL_ID = PLOVER.vessel
GATEWAY = Actor("gateway", "gateway", Role.COUNTER, VESSEL_ID)
PEOPLE = {
    role: Actor(role.value, f"Demo {role.value}", role, VESSEL_ID, person_id=role.value)
    for role in (Role.CHIEF, Role.ENGINEER, Role.HOTEL)
}
PAST = 0.08
"""Years of readings: enough for rates."""


@pytest.fixture(params=kinds_long_on_postgresql())
def context(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Context]:
    """The three-pump ship with some weeks of past and a few people, on each database."""
    with store(request.param, tmp_path) as database:
        found = Context(database, TurnedClock(), Settings(horizon_days=40, frozen_days=7))
        _post(found, _put(found, years=PAST))
        for role in PEOPLE:
            people.add_person(
                found, ME, person_id=role.value, name=f"Demo {role.value}", rank="r", role=role, vessel_id=VESSEL_ID
            )
        yield found


def clock_of(context: Context) -> TurnedClock:
    assert isinstance(context.clock, TurnedClock)
    return context.clock


def keep_up(context: Context) -> bool:
    """What the tick does about a vessel that is behind; whether she was."""
    behind = refresh.stale_vessels(context, 400 * 86_400)
    for vessel_id in behind:
        refresh.refresh(context, PEN_HERE, vessel_id)
    return bool(behind)


def stored(context: Context) -> tuple[PlantSummaryRow, PlantSummary]:
    """As a page reads it."""
    with context.db.read() as session:
        row = summary_row(session, VESSEL_ID, PLANT)
    assert row is not None
    return row, summary._SUMMARY.validate_json(row.text)


def must_be_as_afresh(context: Context) -> PlantSummary:
    """What is stored, which is what the plant's state gives now."""
    with context.db.read() as session:
        now = load_plant(session, context, VESSEL_ID, PLANT)
        afresh = summary.summarise(session, context, now, of_vessel=True, alone=True)
    row, found = stored(context)
    assert found == afresh
    assert (row.rank, row.turns_at) == (afresh.rank, afresh.turns_at)
    return found


class Hands:
    """Random hand actions; what a rule refuses is refused, and changes nothing."""

    def __init__(self, context: Context, draw: random.Random) -> None:
        self.context, self.draw, self.number = context, draw, 0

    def act(self) -> None:
        """One of them."""
        acts: list[Callable[[], object]] = [
            self.post,
            self.post,
            self.down,
            self.back,
            self.expected,
            self.clock,
            self.close,
            self.postpone,
            self.lower,
            self.note,
            self.document,
        ]
        with suppress(SchedulerError):
            self.draw.choice(acts)()

    def hand(self, role: Role) -> Hand:
        self.number += 1
        return Hand(PEOPLE[role], f"key {self.number}", {"number": self.number})

    def pump(self) -> Place:
        return Place(PLOVER.pump(self.draw.randrange(3)), VESSEL_ID, PLANT, AssetKind.PUMP)

    def hours_ahead(self, most: int) -> timedelta:
        return timedelta(minutes=self.draw.randrange(1, most * 60))

    def post(self) -> None:
        with self.context.db.read() as session:
            rows = [row for row in counter_rows(session, VESSEL_ID) if self.draw.random() < 0.7]
            newest = {row.id: newest_reading(session, row.no or 0) for row in rows}
        at = self.context.now() - timedelta(seconds=self.draw.randrange(3600))
        items = []
        for name, before in newest.items():
            if before is not None and at.timestamp() > before[0]:
                ran = (at.timestamp() - before[0]) / 3600 * self.draw.random()
                items.append({"counter": name, "observed_at": at.isoformat(), "value": int(before[1] / 1000 + ran)})
        if items:
            store_now(self.context, GATEWAY, items)

    def down(self) -> None:
        expected = self.context.now() + self.hours_ahead(100) if self.draw.random() < 0.5 else None
        at = self.context.now() - timedelta(minutes=self.draw.randrange(600))
        outages.pump_down(
            self.context, self.hand(Role.ENGINEER), self.pump(), at=at, reason="stuck", expected_at=expected
        )

    def back(self) -> None:
        test = self.draw.choice((Test.PASSED, Test.NONE))
        outages.pump_back(
            self.context, self.hand(Role.ENGINEER), self.pump(), at=self.context.now(), reason="runs", test=test
        )

    def expected(self) -> None:
        at = self.context.now() + self.hours_ahead(100) if self.draw.random() < 0.7 else None
        outages.say_expected(self.context, self.hand(Role.ENGINEER), self.pump(), at)

    def clock(self) -> None:
        at = self.context.now() + timedelta(minutes=self.draw.randrange(-60, 2000))
        minutes = self.draw.choice((-660, -60, 0, 60, 90, 330, 780))
        fleet.change_clock(
            self.context, self.hand(Role.CHIEF), VESSEL_ID, from_at=at, minutes=minutes, reason="crossing"
        )

    def close(self) -> None:
        job = self.draw.choice([one for one in _now(self.context).jobs if one.first])
        place, job_id = jobs.job_place(self.context, PEOPLE[Role.ENGINEER], job.job_id.key)
        told = closing_checks.Close(
            done_at=self.context.now() - timedelta(hours=1), done_by="Demo Hand", test=Test.PASSED, from_paper=True
        )
        closing.close_job(self.context, self.hand(Role.ENGINEER), place, job_id, told)

    def postpone(self) -> None:
        job = self.draw.choice([one for one in _now(self.context).jobs if one.first and one.limit_at])
        place, job_id = jobs.job_place(self.context, PEOPLE[Role.ENGINEER], job.job_id.key)
        assert job.limit_at is not None
        asked = Asked(to_at=job.limit_at + self.hours_ahead(200), reason="no time", risk="wear", mitigation="listen")
        body = postponing.ask_postponement(self.context, self.hand(Role.ENGINEER), place, job_id, asked).body
        if self.draw.random() < 0.5:
            number = int(body["postponement"])
            postponing.decide_postponement(
                self.context, self.hand(Role.CHIEF), VESSEL_ID, number, granted=True, note="seen"
            )

    def lower(self) -> None:
        place = Place(PLANT, VESSEL_ID, PLANT, AssetKind.PLANT)
        from_at = self.context.now() + self.hours_ahead(50)
        asked = Lower(from_at=from_at, to_at=from_at + self.hours_ahead(60), minimum=Swept(5.0), reason="few aboard")
        body = concessions.ask_concession(self.context, self.hand(Role.ENGINEER), place, asked).body
        for as_, role in (("chief", Role.CHIEF), ("hotel", Role.HOTEL)):
            if self.draw.random() < 0.6:
                number = int(body["concession"])
                concessions.sign_concession(self.context, self.hand(role), place, number, as_=as_)

    def note(self) -> None:
        handover.write_handover(self.context, self.hand(Role.ENGINEER), VESSEL_ID, "All runs.")

    def document(self) -> None:
        document, version = fleet.get_vessel(self.context, ME, VESSEL_ID)
        changed = replace(document, name=f"Demo Plover {self.draw.randrange(9)}")
        changes.put_vessel(self.context, ME, changed, if_match=version, reason="another name")


def lived(context: Context, seed: int, steps: int) -> list[PlantSummary]:
    """Summaries after each of some random acts and turns of the clock, each looked at."""
    draw, found = random.Random(seed), []
    hands, clock = Hands(context, draw), clock_of(context)
    if draw.random() < 0.7:
        _take(context)
    keep_up(context)
    for _ in range(steps):
        hands.act()
        keep_up(context)
        found.append(must_be_as_afresh(context))
        turns_at = stored(context)[0].turns_at
        assert turns_at > clock.at
        if draw.random() < 0.6:  # nothing but time, and not enough of it
            part = timedelta(seconds=draw.randrange(int((turns_at - clock.at).total_seconds())))
            clock.at = draw.choice((turns_at - timedelta(seconds=1), clock.at + part))
            assert not keep_up(context)
            must_be_as_afresh(context)
        clock.at = turns_at if draw.random() < 0.7 else turns_at + timedelta(hours=draw.randrange(100))
        assert keep_up(context)
        found.append(must_be_as_afresh(context))
    return found


@pytest.mark.long
def test_a_stored_summary_is_what_would_be_worked_out_afresh(context: Context) -> None:
    """After random hand actions, readings and turns of the clock, to the second: up to its instant nothing makes it another."""
    assert len({one.turns_at for one in lived(context, 1, 4)}) > 3


@pytest.mark.long
@pytest.mark.parametrize("seed", range(2, 5))
def test_stored_summaries_over_longer_lives(context: Context, seed: int) -> None:
    """As above, with more acts, and something of everything seen in them."""
    assert lived(context, seed, 12)
