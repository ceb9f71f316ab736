"""The fleet's calendar is taken from stored events by the database, as the rules in `domain/feed/scope` take them."""

from collections import Counter
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlmodel import delete, select

from api.ics.writer import calendar_writer
from scheduler.actions.base.context import Context
from scheduler.actions.feed import calendars
from scheduler.actions.feed.calendars import (
    FLEET,
    FLEET_SECONDS,
    MOST_STATUSES,
    ask_fleet,
    fleet_is_behind,
    write_fleet,
)
from scheduler.domain.base.enums import JobState
from scheduler.domain.feed.entries import PLAN_STATUS_KEY
from scheduler.domain.feed.scope import OUT, Scope, urgency
from scheduler.settings import Settings
from scheduler.storage.database import Database
from scheduler.storage.feed import (
    STATUS_RANK,
    FeedEventRow,
    event_states,
    most_urgent_events,
    newest_status_s,
    status_events,
)
from scheduler.storage.migrations.versions import v0025_feed_rank
from scheduler.storage.vessel import VesselRow

AT = datetime(2026, 10, 20, 7, tzinfo=UTC)
NOW_S = int(AT.timestamp())
DAY = 86_400
STATES = ("", *(one.value for one in JobState))


def event(vessel: str, number: int, key: str, state: str, starts_s: int) -> FeedEventRow:
    """As it is stored."""
    state = "" if key == PLAN_STATUS_KEY else state
    rank, rank_s, _ = urgency(state, starts_s, key)
    starts, ends = (datetime.fromtimestamp(starts_s + more, UTC) for more in (0, 3600))
    lines = (
        f"SUMMARY:{key}\r\nDESCRIPTION:as stored\r\nUID:{vessel}-{number}\r\n"
        f"DTSTAMP:{AT:%Y%m%dT%H%M%SZ}\r\nDTSTART:{starts:%Y%m%dT%H%M%SZ}\r\n"
    )
    return FeedEventRow(
        vessel_id=vessel,
        uid=f"{vessel}-{number}",
        plant_id="p",
        occurrence_key=key,
        text=f"BEGIN:VEVENT\r\n{lines}DTEND:{ends:%Y%m%dT%H%M%SZ}\r\nEND:VEVENT\r\n",
        task=f"BEGIN:VTODO\r\n{lines}DUE:{ends:%Y%m%dT%H%M%SZ}\r\nEND:VTODO\r\n",
        fingerprint="{}",
        sequence=0,
        changed_at=AT,
        created_at=AT,
        starts_s=starts_s,
        ends_s=starts_s + 3600,
        state=state,
        rank=STATUS_RANK if key == PLAN_STATUS_KEY else rank,
        rank_s=rank_s,
    )


def vessels_of(db: Database, names: list[str]) -> None:
    """So many, without a document."""
    with db.write("") as session:
        rows = [VesselRow(id=one, name=one, imo="", document="{}", version=1, changed_at=AT) for one in names]
        session.add_all(rows)


instants = st.one_of(
    st.sampled_from((NOW_S - 3601, NOW_S - 3600, NOW_S - 3599, NOW_S, NOW_S + 30 * DAY - 1, NOW_S + 30 * DAY)),
    st.integers(NOW_S - 60 * DAY, NOW_S + 200 * DAY),
)
keys = st.sampled_from(("a:x:1", "ab:x:1", "b:x:1", f"{OUT}p/1", PLAN_STATUS_KEY))
scopes = st.builds(
    Scope,
    vessel_id=st.none(),
    tasks=st.booleans(),
    kinds=st.sampled_from((None, ("a",), ("a", "b"), ("none such",))),
    days_ahead=st.sampled_from((None, 30)),
)


@settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow], deadline=None, max_examples=6
)
@given(
    st.lists(st.tuples(keys, st.sampled_from(STATES), instants), max_size=12), st.lists(scopes, min_size=3, max_size=3)
)
def test_the_database_chooses_as_the_rules_do(
    db: Database, drawn: list[tuple[str, str, int]], chosen: list[Scope]
) -> None:
    """Which events belong in a calendar of a fleet, the most urgent of them first, and how many there are in each state."""
    with db.write("") as session:
        session.exec(delete(FeedEventRow))
        session.merge(VesselRow(id="v", name="v", imo="", document="{}", version=1, changed_at=AT))
        session.flush()
        rows = [event("v", number, *one) for number, one in enumerate(drawn)]
        session.add_all(rows)
    jobs = [row for row in rows if row.occurrence_key != PLAN_STATUS_KEY]
    with db.read() as session:
        for scope in chosen:
            expected = [row for row in jobs if calendars._stands(row, scope, NOW_S)]
            expected.sort(key=lambda row: (*urgency(row.state, row.starts_s, "")[:2], row.uid))
            choice = calendars._choice(scope, NOW_S)
            assert [row.uid for row in most_urgent_events(session, choice, 99)] == [row.uid for row in expected]
            assert len(most_urgent_events(session, choice, 2)) == min(2, len(expected))
            assert event_states(session, choice) == Counter(row.state for row in expected)
        starts = sorted(row.starts_s for row in rows if row.occurrence_key == PLAN_STATUS_KEY)
        assert [row.starts_s for row in status_events(session, 99)] == starts
        assert newest_status_s(session) == (starts[-1] if starts else None)


@pytest.mark.parametrize("over", [0, 1])
def test_the_status_events_of_many_vessels_leave_room_for_jobs(sqlite: Database, over: int) -> None:
    """At most half of a calendar are status events, those of the oldest plans; the rest of it are jobs, and the cut is said."""
    vessels = [f"v{number:04}" for number in range(MOST_STATUSES + over)]
    vessels_of(sqlite, vessels)
    with sqlite.write("") as session:
        session.add_all(event(one, 0, PLAN_STATUS_KEY, "", NOW_S - place) for place, one in enumerate(vessels))
        session.add_all(event("v0000", 1 + n, f"a:x{n}:1", "ahead", NOW_S + n) for n in range(600))
    context = Context(sqlite, lambda: AT, Settings())
    write_fleet(context, calendar_writer("http://testserver"), Scope(vessel_id=None))
    kept = calendars.last_good(context, Scope(vessel_id=None))
    assert kept is not None
    text = kept.body.replace(b"\r\n ", b"")
    assert text.count(b"plan-status") == MOST_STATUSES
    assert (b"v0000: plan-status" in text) is (over == 0)
    assert text.count(b"SUMMARY:v0000: a:x") == 499
    assert b"101 of 600 jobs did not fit" in text


def test_the_fleets_calendar_is_written_when_something_changed_and_at_most_once_a_minute(db: Database) -> None:
    """Asked for by each vessel's change, in the vessel's own transaction; what was asked for while it is written is not lost."""
    now = [AT]
    context = Context(db, lambda: now[0], Settings())
    vessels_of(db, ["v"])
    writer, plain = calendar_writer("http://testserver"), Scope(vessel_id=None)
    assert not fleet_is_behind(context, DAY)
    with db.write("v") as session:
        ask_fleet(session, "v", AT)
        ask_fleet(session, "v", AT)
    assert fleet_is_behind(context, DAY)
    write_fleet(context, writer, plain)
    assert not fleet_is_behind(context, DAY)
    with db.write("v") as session:
        ask_fleet(session, "v", AT)
    for after_s, due in ((0, False), (FLEET_SECONDS - 1, False), (FLEET_SECONDS, True)):
        now[0] = AT + timedelta(seconds=after_s)
        assert fleet_is_behind(context, DAY) is due
    write_fleet(context, writer, plain)
    written = now[0]
    for after_s, due in ((DAY - 1, False), (DAY, True)):
        now[0] = written + timedelta(seconds=after_s)
        assert fleet_is_behind(context, DAY) is due
    assert calendars.last_good(context, Scope(vessel_id=None)) is not None
    assert FLEET == ""


def test_the_migration_ranks_what_is_there_as_the_rules_do(db: Database) -> None:
    """Events of every state, and the status event."""
    vessels_of(db, ["v"])
    rows = [event("v", number, "a:x:1", state, NOW_S + number) for number, state in enumerate(STATES)]
    rows.append(event("v", 99, PLAN_STATUS_KEY, "", NOW_S))
    expected = {row.uid: (row.rank, row.rank_s) for row in rows}
    with db.write("v") as session:
        for row in rows:
            row.rank = row.rank_s = 7
        session.add_all(rows)
        session.flush()
        session.connection().exec_driver_sql(v0025_feed_rank._RANK)
        session.expire_all()
        assert {row.uid: (row.rank, row.rank_s) for row in session.exec(select(FeedEventRow))} == expected
