"""One turn's whole life in the stored calendar of a real database: every change once, every byte else as it was."""

import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from scheduler.actions.base.context import House
from scheduler.actions.feed import addresses
from scheduler.actions.feed import refresh as feed_refresh
from scheduler.actions.hours.readings import store_now
from scheduler.actions.people import people
from scheduler.actions.plan import planning
from scheduler.actions.vessel import fleet
from scheduler.actions.work import jobs
from scheduler.domain.base.enums import Role, State, Test
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.feed.scope import Scope
from scheduler.settings import Settings
from scheduler.storage import fleet_rows, ledger_rows
from scheduler.storage.tables import FeedEventRow
from seed_fleet.ships import PLOVER
from tests.end_to_end.live import AT, TurnedClock
from tests.end_to_end.test_actions import GATEWAY, ME, PLANT, _hand, _now, _post, _put, _take
from tests.end_to_end.test_feed_life import refresh, turn
from tests.storage.stores import kinds_where_required, store

TEST = "alarm_test"


# On PostgreSQL where a server is required (CI): these are days and days of one ship's calendar.
@pytest.fixture(params=kinds_where_required())
def house(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[House]:
    """The three-pump ship with some weeks of past, nothing planned."""
    with store(request.param, tmp_path) as database:
        found = House(database, TurnedClock(), Settings(horizon_days=60, frozen_days=7))
        _post(found, _put(found))
        yield found


def body_of(house: House, *, tasks: bool = False) -> feed_refresh.FeedBody:
    found = feed_refresh.served(house, _pen(), feed_refresh.Opened(Scope(vessel_id=PLOVER.vessel), None), tasks=tasks)
    assert found is not None
    return found


def _pen() -> feed_refresh.Pen:
    from tests.end_to_end.test_actions import PEN_HERE

    return PEN_HERE


def shown(row: FeedEventRow) -> tuple[str, str, str, str]:
    """Title, first day or instant, end, and status."""
    text = row.text.replace("\r\n ", "")
    return tuple(re.search(rf"\r\n{name}[^:]*:([^\r]*)", text)[1] for name in ("SUMMARY", "DTSTART", "DTEND", "STATUS"))  # type: ignore[index,return-value]


def stand_still(house: House, days: int) -> None:
    """Counters read the same, so that the pumps have not run."""
    with house.db.read() as session:
        rows = fleet_rows.counters(session, PLOVER.vessel)
        newest = {row.id: ledger_rows.newest_reading(session, row.no or 0) for row in rows}
    items = [
        {"counter": name, "observed_at": (AT + timedelta(days=days)).isoformat(), "value": reading[1] / 1000}
        for name, reading in newest.items()
        if reading is not None
    ]
    assert {one["status"] for one in store_now(house, GATEWAY, items)["items"]} == {"stored"}


def first_of(house: House, kind: str) -> DueJob:
    return next(job for job in _now(house).jobs if job.occurrence.kind == kind and job.first)


def test_a_plan_run_that_changes_nothing_changes_no_byte(house: House) -> None:
    """Proposed twice, looked through at later hours, read from the store again: the same bytes, tag and time."""
    _take(house)
    people.add_person(house, ME, person_id="c", name="C", rank="c", role=Role.CHIEF, vessel_id=PLOVER.vessel)
    addresses.make_address(house, ME, person_id="c", vessel_id=PLOVER.vessel)
    refresh(house)
    first, tasks = body_of(house), body_of(house, tasks=True)
    planning.propose(house, PLOVER.vessel, PLANT)
    house.clock.at = AT + timedelta(hours=1)  # type: ignore[attr-defined]
    refresh(house)
    for old, new in ((first, body_of(house)), (tasks, body_of(house, tasks=True))):
        assert (new.body, new.etag, new.changed_at) == (old.body, old.etag, old.changed_at)


def test_a_forecast_moves_its_event_once_and_a_plan_once_more(house: House) -> None:
    """Pumps that stand still are due later: each moved date is one step; taking the plan is one more, timed and firm."""
    before = refresh(house)
    turn(house, 12)
    stand_still(house, 12)
    later = refresh(house)
    moved = {key for key in before.keys() & later.keys() if before[key].starts_s != later[key].starts_s}
    moved -= {"plan-status"}
    assert [key for key in moved if not key.startswith(TEST)]
    for key in before.keys() & later.keys() - {"plan-status"}:
        new_shape = shown(before[key])[1:] != shown(later[key])[1:]
        assert (later[key].uid, later[key].sequence) == (before[key].uid, before[key].sequence + new_shape)
        assert (later[key].changed_s > before[key].changed_s) == (later[key].text != before[key].text)
    _take(house)
    planned = refresh(house)
    slots = {slot.key for slot in _now(house).taken.plan.slots} & planned.keys() & later.keys()  # type: ignore[union-attr]
    assert slots
    for key in slots:
        _, starts, _, status = shown(planned[key])
        assert (len(starts), status) == (len("20261020T070000Z"), "CONFIRMED")
        assert planned[key].sequence == later[key].sequence + 1


def test_a_turn_is_past_due_once_past_limit_once_and_done_for_thirty_days(house: House) -> None:
    """Day by day: one change a state, always on its due date; then DONE, and the next turn under a new UID."""
    job = first_of(house, TEST)
    key, due_at, limit_at = job.occurrence.key, job.due_at, job.limit_at
    seen: list[tuple[str, str, str, str, str, int]] = []
    changes: list[datetime] = []
    told: list[str] = []
    clock = house.clock
    assert isinstance(clock, TurnedClock)
    clock.at = max(AT, due_at - timedelta(days=9))
    while clock.at < limit_at + timedelta(days=3):
        row = refresh(house)[key]
        if not seen or (*shown(row), row.state, row.sequence) != seen[-1]:
            seen.append((*shown(row), row.state, row.sequence))
        if not changes or changes[-1] != body_of(house).changed_at:
            changes.append(body_of(house).changed_at)
        if len(seen) > len(told):
            told.append(_states(house)[key])
            assert told[-1] == next(j.state.value for j in _now(house).jobs if j.occurrence.key == key)
        clock.at += timedelta(days=1)
    assert told == ["ahead", "window open", "past due", "past limit"]
    assert [title.partition(" · ")[2] for title, *_ in seen] == ["", "", "past due", "past limit"]
    assert len({starts for _, starts, *_ in seen}) == 1
    assert [sequence for *_, sequence in seen if sequence] == [1, 1]  # firm from past due on; a new word is no new date
    assert changes == sorted(set(changes))

    uid = refresh(house)[key].uid
    done_at = clock.at - timedelta(hours=2)
    place, occurrence = jobs.job_place(house, ME, key)
    jobs.close_job(house, _hand(), place, occurrence, jobs.Close(done_at=done_at, done_by="Hand", test=Test.PASSED))
    rows = refresh(house)
    assert shown(rows[key])[0].endswith(" · done")
    assert rows[key].uid == uid
    coming = first_of(house, TEST).occurrence.key
    assert coming != key
    assert rows[coming].uid != uid
    clock.at = done_at + timedelta(days=30)
    old = refresh(house)
    assert old[key].text == rows[key].text
    before = body_of(house).changed_at
    clock.at = done_at + timedelta(days=30, hours=1)
    assert key not in refresh(house)
    assert body_of(house).changed_at > before


def _states(house: House) -> dict[str, str]:
    """State by key as the calendar has it, in its title where it presses."""
    found = {}
    with house.db.read() as session:
        for row in feed_refresh.feed_rows.events(session, PLOVER.vessel):
            found[row.occurrence_key] = row.state
            if row.state in (State.AHEAD.value, State.WINDOW_OPEN.value, State.PAST_DUE.value, State.PAST_LIMIT.value):
                said = shown(row)[0].partition(" · ")[2]
                assert said == (row.state if row.state.startswith("past") else "")
    return found


def test_a_ship_crosses_zones_and_the_date_line_and_nothing_moves(house: House) -> None:
    """+3 to -5 and +13 to -11: every all-day date and every planned instant stays, and with them the bytes of all but the
    planned, whose words tell the hours by the ship's clock of that day."""
    _take(house)
    clock = house.clock
    assert isinstance(clock, TurnedClock)
    place, occurrence = jobs.job_place(house, ME, first_of(house, TEST).occurrence.key)
    told = jobs.Close(done_at=clock.at - timedelta(hours=1), done_by="Hand", test=Test.PASSED)
    jobs.close_job(house, _hand(), place, occurrence, told)
    before = refresh(house)
    assert shown(before[occurrence.key])[0].endswith(" · done")
    for minutes in (180, -300, 780, -660):
        clock.at += timedelta(minutes=10)
        fleet.change_clock(house, _hand(), PLOVER.vessel, from_at=clock.at, minutes=minutes, reason="crossing")
        after = refresh(house)
        assert after.keys() == before.keys()
        changed = {key for key in after if after[key].text != before[key].text} - {"plan-status"}
        assert all("\r\nDTSTART:" in after[key].text for key in changed)
        assert all(shown(after[key])[1:] == shown(before[key])[1:] for key in after)
        assert {key for key in after if after[key].sequence != before[key].sequence} == set()
    digest = planning.propose(house, PLOVER.vessel, PLANT).digest
    planning.take(house, _hand(), fleet.Place(PLANT, PLOVER.vessel, PLANT, fleet.AssetKind.PLANT), digest)
    anew = refresh(house)
    for key in anew.keys() & before.keys() - {"plan-status"}:
        same = shown(anew[key])[1:] == shown(before[key])[1:]
        assert anew[key].sequence == before[key].sequence + (not same)
        if not same and len(shown(anew[key])[1]) > len("20261020"):
            planned = datetime.strptime(shown(anew[key])[1], "%Y%m%dT%H%M%SZ").replace(tzinfo=UTC)
            assert f"{planned - timedelta(minutes=660):%H:%M} to" in anew[key].text.replace("\r\n ", "")
            assert "(UTC-11:00)" in anew[key].text.replace("\r\n ", "")
