"""What is asked for is done once, whoever asks and whoever does it; a period of a task is one clock's."""

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from threading import Barrier

import pytest

from scheduler.storage import tasks
from scheduler.storage.database import Database, Session
from scheduler.storage.tasks import PendingTaskRow

AT = datetime(2026, 11, 30, 12, tzinfo=UTC)
KEY = ("plan", "plover", "plover-plant")


def ask(session: Session, at: datetime = AT) -> None:
    """For the plan."""
    tasks.ask_pending(session, *KEY, at)


def row_of(session: Session) -> PendingTaskRow:
    """As it is now."""
    row = tasks.pending_row(session, *KEY)
    assert row is not None
    return row


def test_asked_for_twice_it_is_done_once_and_again_when_asked_for_meanwhile(db: Database) -> None:
    """Numbers tell: what was asked for up to the one that began is done, what came after it is open, since then."""
    with db.write("plover") as session:
        assert tasks.pending_row(session, *KEY) is None
        ask(session)
        ask(session, AT + timedelta(minutes=1))
        row = row_of(session)
        assert (row.asked, row.made, row.open, row.asked_at) == (2, 0, True, AT)
        ask(session, AT + timedelta(minutes=2))
        tasks.end_pending(session, *KEY, 2, AT + timedelta(minutes=3))
        row = row_of(session)
        assert (row.made, row.open, row.asked_at, row.outcome) == (2, True, AT + timedelta(minutes=3), "done")
        tasks.end_pending(session, *KEY, 3, AT + timedelta(minutes=4))
        assert not row_of(session).open
        tasks.end_pending(session, *KEY, 2, AT + timedelta(minutes=5), "late: it answers nothing any more")
        tasks.end_pending(session, *KEY, 4, AT + timedelta(minutes=5), "nobody asked so often")
        row = row_of(session)
        assert (row.made, row.outcome, row.ended_at) == (3, "done", AT + timedelta(minutes=4))
        ask(session, AT + timedelta(hours=1))
        assert row_of(session).asked_at == AT + timedelta(hours=1)


def test_what_is_asked_for_and_rolled_back_was_not_asked_for(db: Database) -> None:
    """Its numbers are those of before, and nothing is open."""
    with db.write("plover") as session:
        ask(session)
        tasks.end_pending(session, *KEY, 1, AT)
    with pytest.raises(ZeroDivisionError), db.write("plover") as session:  # noqa: PT012
        ask(session)
        assert tasks.task_is_pending(session, "plan")
        raise ZeroDivisionError
    with db.read() as session:
        assert not tasks.task_is_pending(session, "plan")
        assert row_of(session).asked == 1


def test_tries_count_until_it_ends(db: Database) -> None:
    """One that is given back counts as not begun, never below none; one asked for anew begins at none."""
    with db.write("plover") as session:
        ask(session)
        for more, tries in ((1, 1), (1, 2), (-1, 1), (-1, 0), (-1, 0), (1, 1)):
            tasks.count_try(session, *KEY, more)
            assert row_of(session).tries == tries
        ask(session)
        assert row_of(session).tries == 1
        tasks.end_pending(session, *KEY, 2, AT)
        assert row_of(session).tries == 0


def test_the_longest_asked_for_comes_first_and_counts_are_by_task(db: Database) -> None:
    """asked_by leaves out what was asked for after it, not what was asked for then."""
    with db.write("plover") as session:
        for name, minutes in (("b", 2), ("a", 1), ("c", 2)):
            tasks.ask_pending(session, "plan", "plover", name, AT + timedelta(minutes=minutes))
        tasks.ask_pending(session, "fleet calendar", "plover", "", AT)
        assert [row.plant_id for row in tasks.open_pending(session, "plan")] == ["a", "b", "c"]
        for seconds, found in ((59, [""]), (60, ["", "a"]), (120, ["", "a", "b", "c"])):
            by = AT + timedelta(seconds=seconds)
            assert [row.plant_id for row in tasks.open_pending(session, asked_by=by)] == found
        assert tasks.pending_counts(session) == {"plan": 3, "fleet calendar": 1}
        tasks.drop_pending(session, "plover", "a")
        assert tasks.pending_counts(session) == {"plan": 2, "fleet calendar": 1}


def test_what_failed_is_known_until_it_ends_well(db: Database) -> None:
    """By number or by note; since when is the instant of its end, that instant included."""
    with db.write("plover") as session:
        ask(session)
        tasks.end_pending(session, *KEY, 1, AT, "failed: no memory")
        tasks.note_outcome(session, "calendar", "plover", AT, "failed: no room")
        tasks.note_outcome(session, "calendar", "plover", AT, "failed: no paper")
        assert {row.outcome for row in tasks.failed_pending(session)} == {"failed: no memory", "failed: no paper"}
        assert [row.task for row in tasks.failed_pending(session, "calendar", since=AT)] == ["calendar"]
        assert tasks.failed_pending(session, since=AT + timedelta(seconds=1)) == []
        assert tasks.pending_counts(session) == {}
        ask(session)
        tasks.end_pending(session, *KEY, 2, AT)
        tasks.drop_pending(session, "plover", task="calendar")
        assert tasks.failed_pending(session) == []


def test_a_period_is_one_clocks_however_many_tick_at_once(db: Database) -> None:
    """Of four threads one gets each period; rolled back it is the next one's; forgotten once it is old."""
    together = Barrier(4, timeout=60)

    def turns(_: int) -> list[str]:
        won = []
        for number in range(5):
            together.wait()
            with db.write("") as session:
                if tasks.take_period(session, "limits watch", str(number), AT):
                    won.append(str(number))
        return won

    with ThreadPoolExecutor(4) as pool:
        won = [one for many in pool.map(turns, range(4)) for one in many]
    assert sorted(won) == ["0", "1", "2", "3", "4"]
    with pytest.raises(ZeroDivisionError), db.write("") as session:  # noqa: PT012
        assert tasks.take_period(session, "limits watch", "5", AT)
        raise ZeroDivisionError
    with db.write("") as session:
        assert tasks.take_period(session, "limits watch", "5", AT)
        assert tasks.take_period(session, "nightly round", "5", AT)
        tasks.drop_periods(session, AT)
        assert len(tasks.task_rows(session, "limits watch")) == 6
        tasks.drop_periods(session, AT + timedelta(seconds=1), "limits")
        assert [len(tasks.task_rows(session, one)) for one in ("limits watch", "nightly round")] == [0, 1]


def test_one_server_at_a_time_is_at_a_tick_on_postgresql(db: Database) -> None:
    """Another name is another matter; when the block ends it is the next one's. One SQLite file has one server anyway."""
    with tasks.alone(db, "keep up") as mine, tasks.alone(db, "keep up") as also, tasks.alone(db, "plans") as other:
        assert (mine, also, other) == (True, db.path is not None, True)
    with tasks.alone(db, "keep up") as mine:
        assert mine
