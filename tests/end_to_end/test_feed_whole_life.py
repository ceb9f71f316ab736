"""One turn's whole life in the stored calendar of a real database: every change once, every byte else as it was."""

import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from scheduler.actions.base.context import Context
from scheduler.actions.feed import addresses
from scheduler.actions.feed import refresh as feed_refresh
from scheduler.actions.people import people
from scheduler.actions.plan import planning
from scheduler.actions.vessel import fleet
from scheduler.actions.work import closing, closing_checks, jobs
from scheduler.domain.base.enums import JobState, Role, Test
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.feed.scope import Scope
from scheduler.settings import Settings
from scheduler.storage.feed import FeedEventRow, feed_event_rows
from scheduler.storage.hours.counters import counter_rows
from scheduler.storage.hours.readings import newest_reading
from seed_fleet.ships import PLOVER
from tests.end_to_end.live import AT, TurnedClock
from tests.end_to_end.test_actions import GATEWAY, ME, PLANT, _hand, _now, _post, _put, _take
from tests.end_to_end.test_feed_life import refresh, turn
from tests.storage.stores import kinds_where_required, store
from tests.ticks import store_now

TEST = "alarm_test"


# On PostgreSQL where a server is required (CI): these are days and days of one ship's calendar.
@pytest.fixture(params=kinds_where_required())
def context(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Context]:
    """The three-pump ship with some weeks of past, nothing planned."""
    with store(request.param, tmp_path) as database:
        found = Context(database, TurnedClock(), Settings(horizon_days=60, frozen_days=7))
        _post(found, _put(found))
        yield found


def body_of(context: Context, *, tasks: bool = False) -> feed_refresh.StoredCalendar:
    found = feed_refresh.served(
        context, _pen(), feed_refresh.AddressOpened(Scope(vessel_id=PLOVER.vessel), None), tasks=tasks
    )
    assert found is not None
    return found


def _pen() -> feed_refresh.CalendarWriter:
    from tests.end_to_end.test_actions import PEN_HERE

    return PEN_HERE


def shown(row: FeedEventRow) -> tuple[str, str, str, str]:
    """Title, first day or instant, end, and status."""
    text = row.text.replace("\r\n ", "")
    return tuple(re.search(rf"\r\n{name}[^:]*:([^\r]*)", text)[1] for name in ("SUMMARY", "DTSTART", "DTEND", "STATUS"))  # type: ignore[index,return-value]


def stand_still(context: Context, days: int) -> None:
    """Counters read the same, so that the pumps have not run."""
    with context.db.read() as session:
        rows = counter_rows(session, PLOVER.vessel)
        newest = {row.id: newest_reading(session, row.no or 0) for row in rows}
    items = [
        {"counter": name, "observed_at": (AT + timedelta(days=days)).isoformat(), "value": reading[1] / 1000}
        for name, reading in newest.items()
        if reading is not None
    ]
    assert {one["status"] for one in store_now(context, GATEWAY, items)["items"]} == {"stored"}


def first_of(context: Context, kind: str) -> DueJob:
    return next(job for job in _now(context).jobs if job.job_id.kind == kind and job.first)


@pytest.mark.long
def test_a_plan_run_that_changes_nothing_changes_no_byte(context: Context) -> None:
    """Proposed twice, looked through at later hours, read from the store again: the same bytes, tag and time."""
    _take(context)
    people.add_person(context, ME, person_id="c", name="C", rank="c", role=Role.CHIEF, vessel_id=PLOVER.vessel)
    addresses.make_address(context, ME, person_id="c", vessel_id=PLOVER.vessel)
    refresh(context)
    first, tasks = body_of(context), body_of(context, tasks=True)
    planning.propose(context, PLOVER.vessel, PLANT)
    context.clock.at = AT + timedelta(hours=1)  # type: ignore[attr-defined]
    refresh(context)
    for old, new in ((first, body_of(context)), (tasks, body_of(context, tasks=True))):
        assert (new.body, new.etag, new.changed_at) == (old.body, old.etag, old.changed_at)


@pytest.mark.long
def test_a_forecast_moves_its_event_once_and_a_plan_once_more(context: Context) -> None:
    """Pumps that stand still are due later: each moved date is one step; taking the plan is one more, timed and firm."""
    before = refresh(context)
    turn(context, 12)
    stand_still(context, 12)
    later = refresh(context)
    moved = {key for key in before.keys() & later.keys() if before[key].starts_s != later[key].starts_s}
    moved -= {"plan-status"}
    assert [key for key in moved if not key.startswith(TEST)]
    for key in before.keys() & later.keys() - {"plan-status"}:
        new_shape = shown(before[key])[1:] != shown(later[key])[1:]
        assert (later[key].uid, later[key].sequence) == (before[key].uid, before[key].sequence + new_shape)
        assert (later[key].changed_at > before[key].changed_at) == (later[key].text != before[key].text)
    _take(context)
    planned = refresh(context)
    slots = {slot.key for slot in _now(context).taken.plan.slots} & planned.keys() & later.keys()  # type: ignore[union-attr]
    assert slots
    for key in slots:
        _, starts, _, status = shown(planned[key])
        assert (len(starts), status) == (len("20261020T070000Z"), "CONFIRMED")
        assert planned[key].sequence == later[key].sequence + 1


@pytest.mark.long
def test_a_turn_is_past_due_once_past_limit_once_and_done_for_thirty_days(context: Context) -> None:
    """Day by day: one change a state, always on its due date; then DONE, and the next turn under a new UID."""
    job = first_of(context, TEST)
    key, due_at, limit_at = job.job_id.key, job.due_at, job.limit_at
    seen: list[tuple[str, str, str, str, str, int]] = []
    changes: list[datetime] = []
    told: list[str] = []
    clock = context.clock
    assert isinstance(clock, TurnedClock)
    clock.at = max(AT, due_at - timedelta(days=9))
    while clock.at < limit_at + timedelta(days=3):
        row = refresh(context)[key]
        if not seen or (*shown(row), row.state, row.sequence) != seen[-1]:
            seen.append((*shown(row), row.state, row.sequence))
        if not changes or changes[-1] != body_of(context).changed_at:
            changes.append(body_of(context).changed_at)
        if len(seen) > len(told):
            told.append(_states(context)[key])
            assert told[-1] == next(j.state.value for j in _now(context).jobs if j.job_id.key == key)
        clock.at += timedelta(days=1)
    assert told == ["ahead", "window open", "past due", "past limit"]
    assert [title.partition(" · ")[2] for title, *_ in seen] == ["", "", "past due", "past limit"]
    assert len({starts for _, starts, *_ in seen}) == 1
    assert [sequence for *_, sequence in seen if sequence] == [1, 1]  # firm from past due on; a new word is no new date
    assert changes == sorted(set(changes))

    uid = refresh(context)[key].uid
    done_at = clock.at - timedelta(hours=2)
    place, job_id = jobs.job_place(context, ME, key)
    closing.close_job(
        context, _hand(), place, job_id, closing_checks.Close(done_at=done_at, done_by="Hand", test=Test.PASSED)
    )
    rows = refresh(context)
    assert shown(rows[key])[0].endswith(" · done")
    assert rows[key].uid == uid
    coming = first_of(context, TEST).job_id.key
    assert coming != key
    assert rows[coming].uid != uid
    clock.at = done_at + timedelta(days=30)
    old = refresh(context)
    assert old[key].text == rows[key].text
    before = body_of(context).changed_at
    clock.at = done_at + timedelta(days=30, hours=1)
    assert key not in refresh(context)
    assert body_of(context).changed_at > before


def _states(context: Context) -> dict[str, str]:
    """State by key as the calendar has it, in its title where it presses."""
    found = {}
    with context.db.read() as session:
        for row in feed_event_rows(session, PLOVER.vessel):
            found[row.occurrence_key] = row.state
            if row.state in (
                JobState.AHEAD.value,
                JobState.WINDOW_OPEN.value,
                JobState.PAST_DUE.value,
                JobState.PAST_LIMIT.value,
            ):
                said = shown(row)[0].partition(" · ")[2]
                assert said == (row.state if row.state.startswith("past") else "")
    return found


@pytest.mark.long
def test_a_ship_crosses_zones_and_the_date_line_and_nothing_moves(context: Context) -> None:
    """+3 to -5 and +13 to -11: every all-day date and every planned instant stays, and with them the bytes of all but the
    planned, whose words tell the hours by the ship's clock of that day."""
    _take(context)
    clock = context.clock
    assert isinstance(clock, TurnedClock)
    place, job_id = jobs.job_place(context, ME, first_of(context, TEST).job_id.key)
    told = closing_checks.Close(done_at=clock.at - timedelta(hours=1), done_by="Hand", test=Test.PASSED)
    closing.close_job(context, _hand(), place, job_id, told)
    before = refresh(context)
    assert shown(before[job_id.key])[0].endswith(" · done")
    for minutes in (180, -300, 780, -660):
        clock.at += timedelta(minutes=10)
        fleet.change_clock(context, _hand(), PLOVER.vessel, from_at=clock.at, minutes=minutes, reason="crossing")
        after = refresh(context)
        assert after.keys() == before.keys()
        changed = {key for key in after if after[key].text != before[key].text} - {"plan-status"}
        assert all("\r\nDTSTART:" in after[key].text for key in changed)
        assert all(shown(after[key])[1:] == shown(before[key])[1:] for key in after)
        assert {key for key in after if after[key].sequence != before[key].sequence} == set()
    digest = planning.propose(context, PLOVER.vessel, PLANT).digest
    planning.take(context, _hand(), fleet.Place(PLANT, PLOVER.vessel, PLANT, fleet.AssetKind.PLANT), digest)
    anew = refresh(context)
    for key in anew.keys() & before.keys() - {"plan-status"}:
        same = shown(anew[key])[1:] == shown(before[key])[1:]
        assert anew[key].sequence == before[key].sequence + (not same)
        if not same and len(shown(anew[key])[1]) > len("20261020"):
            planned = datetime.strptime(shown(anew[key])[1], "%Y%m%dT%H%M%SZ").replace(tzinfo=UTC)
            assert f"{planned - timedelta(minutes=660):%H:%M} to" in anew[key].text.replace("\r\n ", "")
            assert "(UTC-11:00)" in anew[key].text.replace("\r\n ", "")
