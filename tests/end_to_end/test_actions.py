"""The conductor on both databases: the same input gives the same due jobs, plan and calendar, and facts change them."""

import random
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from pydantic import TypeAdapter

from api.ics.writer import calendar_writer
from api.routes.bodies.hours import EventBody
from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Context, Hand
from scheduler.actions.capacity import outages
from scheduler.actions.care import rounds
from scheduler.actions.feed import refresh
from scheduler.actions.hours import counter_events
from scheduler.actions.hours.ledger import derive_vessel
from scheduler.actions.people import keys
from scheduler.actions.plan import planning
from scheduler.actions.plan.outlook import outlook
from scheduler.actions.plant_state.load import PlantState, plant_state
from scheduler.actions.vessel import changes, fleet
from scheduler.actions.vessel.document import VESSEL
from scheduler.actions.vessel.fleet import Place
from scheduler.actions.work import closing, closing_checks, jobs
from scheduler.domain.base.enums import JobState, Role, Test
from scheduler.domain.feed.scope import Scope
from scheduler.errors import Busy, NotFound, Refused
from scheduler.planning.judge.check import judge
from scheduler.settings import Settings
from scheduler.storage.database import bump_revision
from scheduler.storage.feed import feed_event_rows
from scheduler.storage.hours.counters import counter_rows, flag_rows
from scheduler.storage.hours.readings import newest_reading
from scheduler.storage.vessel import AssetKind
from scheduler.timers import Timers
from seed_fleet.counters import Event, deliveries
from seed_fleet.documents import vessel_document
from seed_fleet.running import Run
from seed_fleet.ships import AVOCET, PLOVER
from tests.end_to_end.live import AT, TurnedClock
from tests.storage.stores import kinds, kinds_where_required, store
from tests.ticks import keep_up, store_now

ME = Actor("test", "test", Role.ADMIN)
GATEWAY = Actor("gateway", "gateway", Role.COUNTER, PLOVER.vessel)
PLANT = "plover-plant"
PEN_HERE = calendar_writer("http://leadline.lan")
_KEYS = iter(range(10**6))


def _hand() -> Hand:
    number = next(_KEYS)
    return Hand(ME, f"key {number}", {"number": number})


def _put(context: Context, ship=PLOVER, years: float = 0.15) -> Run:
    run = Run(ship, 1, context.now(), years)
    changes.put_vessel(context, ME, VESSEL.validate_python(vessel_document(run)), if_new=True)
    return run


def _post(context: Context, run: Run, *, shuffled: bool = False) -> None:
    batches = [step for step in deliveries(run) if not isinstance(step, Event)]
    items = [
        {"counter": r.counter, "observed_at": r.observed_at, "value": r.value}
        for step in batches
        for r in step.readings
    ]
    if shuffled:
        random.Random(3).shuffle(items)
        items += items[: len(items) // 5]
    actor = Actor("gateway", "gateway", Role.COUNTER, run.ship.vessel)
    for first in range(0, len(items), 1000):
        told = store_now(context, actor, items[first : first + 1000])
        assert {item["status"] for item in told["items"]} <= {"stored", "duplicate"}
        if shuffled:
            derive_vessel(context, run.ship.vessel)
    for step in deliveries(run):
        if isinstance(step, Event):
            place = Place(step.counter, run.ship.vessel, f"{run.ship.key}-plant", AssetKind.COUNTER)
            told = TypeAdapter(EventBody).validate_python(step.body).model_dump()
            counter_events.add_event(context, _hand(), place, counter_events.CounterEvent(**told))


def _take(context: Context, vessel: str = PLOVER.vessel, plant: str = PLANT) -> str:
    held = planning.propose(context, vessel, plant)
    planning.take(context, _hand(), Place(plant, vessel, plant, AssetKind.PLANT), held.digest)
    return held.digest


def _now(context: Context) -> PlantState:
    return plant_state(context, PLOVER.vessel, PLANT)


@pytest.fixture(params=kinds_where_required())
def context(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Context]:
    """A context on an empty database of that kind, its clock at a fixed instant that tests may turn."""
    with store(request.param, tmp_path) as database:
        yield Context(database, TurnedClock(), Settings(horizon_days=60, frozen_days=7))


@pytest.fixture
def filled(context: Context) -> Context:
    """With the three-pump ship aboard and some weeks of her past."""
    _post(context, _put(context))
    return context


@pytest.mark.long
def test_both_databases_give_the_same_plan_and_the_same_calendar(tmp_path: Path) -> None:
    """Same clock, same input: the same due jobs, plan digest and calendar bytes on SQLite and on PostgreSQL."""
    found = []
    for kind in kinds():
        folder = tmp_path / kind
        folder.mkdir()
        with store(kind, folder) as database:
            context = Context(database, TurnedClock(), Settings(horizon_days=60))
            _post(context, _put(context))
            digest = _take(context)
            found.append((_now(context).jobs, digest, refresh.refresh(context, PEN_HERE, PLOVER.vessel).body))
    assert all(one == found[0] for one in found)
    assert len(found) == len(kinds())


@pytest.mark.long
def test_a_pump_down_is_a_fact_the_next_plan_rests_on(filled: Context) -> None:
    """The answer states the margin; the plan asked for is made; a deficit is a shortfall of the plant and no fault."""
    _take(filled)
    place = Place("plover-pump-a", PLOVER.vessel, PLANT, AssetKind.PUMP)
    told = outages.pump_down(filled, _hand(), place, at=filled.now(), reason="seized").body
    assert told["margin_swept_m3_per_h"] == pytest.approx(
        told["available_swept_m3_per_h"] - told["minimum_swept_m3_per_h"]
    )
    second = Place("plover-pump-b", PLOVER.vessel, PLANT, AssetKind.PUMP)
    worse = outages.pump_down(filled, _hand(), second, at=filled.now(), reason="also seized").body
    assert worse["margin_swept_m3_per_h"] < 0
    assert "Short by" in worse["says"]
    assert rounds.plan_asked(filled) == 1
    assert rounds.plan_asked(filled) == 0
    now = _now(filled)
    assert now.proposed is not None
    assert now.proposed.lawful
    assert judge(now.proposed.problem, now.proposed.plan).lawful
    assert [short for short in now.proposed.plan.shortfalls if short.key is None and short.lacking_litres_per_h > 0]
    back = 24 * 14 - 1  # nobody said when they are back: fourteen days are assumed
    assert all(slot.start >= back for slot in now.proposed.plan.slots if slot.pump == "plover-pump-c")
    assumed = [fact for fact, _ in planning.dates_given(now, now.proposed) if fact.assumed]
    assert {fact.pump for fact in assumed} == {"plover-pump-a", "plover-pump-b"}
    problem, plan = planning.as_now(now, filled)
    assert judge(problem, plan).least_margin_litres_per_h < 0  # type: ignore[operator]
    outages.pump_back(filled, _hand(), second, at=filled.now(), reason="freed", test=Test.NONE)
    assert _now(filled).outage_status["plover-pump-b"] == "not proved"
    outages.pump_back(filled, _hand(), second, at=filled.now(), reason="pulled down", test=Test.FAILED)
    assert _now(filled).outage_status["plover-pump-b"] == "down"
    outages.pump_back(filled, _hand(), second, at=filled.now(), reason="pulled down", test=Test.PASSED)
    assert "plover-pump-b" not in _now(filled).outage_status


@pytest.mark.long
def test_a_closed_job_moves_its_own_event_and_no_other(filled: Context) -> None:
    """Its event is DONE under the same UID with the next sequence; every other event keeps its bytes."""
    _take(filled)
    refresh.refresh(filled, PEN_HERE, PLOVER.vessel)
    before = _rows(filled)
    job = next(j for j in _now(filled).jobs if j.first and j.state is not JobState.AHEAD and j.takes_pump_out)
    place, job_id = jobs.job_place(filled, ME, job.job_id.key)
    told = closing_checks.Close(done_at=filled.now() - timedelta(hours=1), done_by="Demo second", test=Test.PASSED)
    closing.close_job(filled, _hand(), place, job_id, told)
    refresh.refresh(filled, PEN_HERE, PLOVER.vessel)
    after = _rows(filled)
    key = job_id.key
    assert after[key].uid == before[key].uid
    assert after[key].sequence == before[key].sequence + 1
    assert " · done\r\n" in after[key].text
    others = {k for k in before.keys() & after.keys() if k not in (key, "plan-status")}
    same_chain = {k for k in others if k.rpartition(":")[0] == key.rpartition(":")[0]}
    assert [k for k in others - same_chain if before[k].text != after[k].text] == []


def _rows(context: Context) -> dict:
    with context.db.read() as session:
        return {row.occurrence_key: row for row in feed_event_rows(session, PLOVER.vessel)}


def test_the_watch_flags_a_silent_counter_once_and_takes_the_flag_back(filled: Context) -> None:
    """Silence is flagged once however often it is looked for, and the flag goes when the counter posts again."""
    clock = filled.clock
    assert isinstance(clock, TurnedClock)
    refreshed: list[str] = []
    clock.at = AT + timedelta(days=3)
    _now(filled)
    assert rounds.watch_counters(filled, refreshed.append) == [PLOVER.vessel]
    assert rounds.watch_counters(filled, refreshed.append) == []
    silent = [flag for _, flag in _now(filled).flags if flag.code == "silent"]
    assert len(silent) == 3
    with filled.db.write(PLOVER.vessel) as session:  # as a row was before flags had facts
        for row in flag_rows(session, PLOVER.vessel):
            row.facts, row.says = None, "It is silent."
        bump_revision(session, PLOVER.vessel)
    assert rounds.watch_counters(filled, refreshed.append) == []
    assert [flag for _, flag in _now(filled).flags if flag.code == "silent"] == silent
    value = _now(filled)
    with filled.db.read() as session:
        rows = counter_rows(session, PLOVER.vessel)
        newest = {row.id: newest_reading(session, row.no or 0) for row in rows}
    items = [
        {"counter": name, "observed_at": clock.at.isoformat(), "value": reading[1] / 1000}
        for name, reading in newest.items()
        if reading is not None
    ]
    store_now(filled, GATEWAY, items)
    assert value.hours.keys() == _now(filled).hours.keys()
    assert rounds.watch_counters(filled, refreshed.append) == [PLOVER.vessel]
    assert [flag for _, flag in _now(filled).flags if flag.code == "silent"] == []
    assert refreshed == [PLOVER.vessel, PLOVER.vessel]


@pytest.mark.long
def test_the_nightly_round_comes_once_a_ships_night(filled: Context) -> None:
    """At the hour set in ship time, once, also after a restart; the plan asked for is then made."""
    clock = filled.clock
    assert isinstance(clock, TurnedClock)
    assert rounds.nightly(filled) == 1
    assert rounds.nightly(filled) == 0
    clock.at = AT + timedelta(hours=12)
    assert rounds.nightly(filled) == 0
    clock.at = AT + timedelta(hours=24)
    assert rounds.nightly(filled) == 1
    keep_up(filled, lambda vessel: refresh.renew(filled, PEN_HERE, vessel))
    assert _now(filled).proposed is not None
    assert refresh.last_good(filled, Scope(vessel_id=PLOVER.vessel)) is not None
    assert refresh.stale_vessels(filled, 900) == []


@pytest.mark.long
def test_timers_start_and_stop(filled: Context) -> None:
    """A tick that fails is told and stops no other; both servers on a database stop cleanly."""
    seen: list[str] = []

    def broken(vessel: str) -> None:
        seen.append(vessel)
        raise RuntimeError("the pen broke")

    first, second = Timers(filled, broken), Timers(filled, broken)
    first.start()
    second.start()
    try:
        deadline = 400
        while not first.trouble() and deadline:
            first._scheduler._event.wait(0.02)
            first._scheduler._event.clear()
            deadline -= 1
        assert "the pen broke" in " ".join(first.trouble().values())
    finally:
        first.stop()
        second.stop()


@pytest.mark.long
def test_a_change_of_ship_time_moves_no_date_and_no_instant(filled: Context) -> None:
    """All-day dates and planned instants stay; the change is a record; the same change twice is a clash."""
    _take(filled)
    refresh.refresh(filled, PEN_HERE, PLOVER.vessel)
    before = {key: (row.starts_s, row.ends_s) for key, row in _rows(filled).items()}
    fleet.change_clock(
        filled, _hand(), PLOVER.vessel, from_at=filled.now(), minutes=-300, reason="crossing to the west"
    )
    refresh.refresh(filled, PEN_HERE, PLOVER.vessel)
    after = {key: (row.starts_s, row.ends_s) for key, row in _rows(filled).items()}
    assert {k: v for k, v in after.items() if k != "plan-status"} == {
        k: v for k, v in before.items() if k != "plan-status"
    }


def test_another_vessels_things_are_not_there(filled: Context) -> None:
    """An engineer of another vessel finds neither plant, pump, counter nor job."""
    stranger = Actor("x", "x", Role.ENGINEER, AVOCET.vessel)
    for asset, kind in (
        (PLANT, AssetKind.PLANT),
        ("plover-pump-a", AssetKind.PUMP),
        (PLOVER.counter(0), AssetKind.COUNTER),
    ):
        with pytest.raises(NotFound):
            fleet.locate(filled, stranger, asset, kind)
    with pytest.raises(NotFound):
        jobs.job_place(filled, stranger, "overhaul:plover-pump-a:1")
    assert keys.keys_shown(filled, stranger) == []


@pytest.mark.long
def test_an_outlook_goes_beyond_what_is_published_and_is_not_kept(filled: Context) -> None:
    """Twice the horizon: a lawful plan with later jobs than the published one, and no proposal kept for it."""
    now, held = outlook(filled, PLOVER.vessel, PLANT, days=120)
    assert judge(held.problem, held.plan).lawful
    assert max(job.due for job in held.problem.jobs) > 90 * 24
    assert "as an outlook" in next(planning.plan_lines(now, held))
    assert _now(filled).proposed is None
    with filled.looking_far, pytest.raises(Busy, match="already"):
        outlook(filled, PLOVER.vessel, PLANT)
    with pytest.raises(Refused, match="2 to 730"):
        outlook(filled, PLOVER.vessel, PLANT, days=1000)
    proposed = planning.propose(filled, PLOVER.vessel, PLANT)
    told = planning.plan_as_json(_now(filled), proposed)
    assert told is not None
    more = told["one_more_failure"]
    assert more["hours_covered"] <= more["hours_at_minimum"] <= more["hours"]
    assert more["hours_the_plan_uncovers"] + more["hours_no_date_can_help"] == more["hours"] - more["hours_covered"]
