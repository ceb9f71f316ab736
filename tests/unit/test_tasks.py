"""A task is done once for what was asked, whatever comes between; clocks ask for it once a period."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from scheduler import tasks
from scheduler.actions.base.context import Context
from scheduler.errors import Busy, Refused, StorageFull
from scheduler.settings import Settings
from scheduler.storage.tasks import PendingTaskRow, ask_pending, end_pending, pending_row, task_rows
from scheduler.tasks import MOST_TRIES, TASKS, Task, TaskTools, ask_in_turn, perform, periodic
from tests.storage.stores import store

AT = datetime(2026, 11, 30, 12, tzinfo=UTC)
KEY = ("washing", "plover", "")


@pytest.fixture
def context(tmp_path: Path) -> Iterator[Context]:
    """On an empty database, at noon."""
    with store("sqlite", tmp_path) as database:
        yield Context(database, lambda: AT, Settings())


def ask(context: Context) -> None:
    """Once more."""
    with context.db.write("plover") as session:
        ask_pending(session, *KEY, AT)


def row_of(context: Context) -> PendingTaskRow:
    """As it is now."""
    with context.db.read() as session:
        row = pending_row(session, *KEY)
    assert row is not None
    return row


@pytest.fixture
def tools(context: Context, monkeypatch: pytest.MonkeyPatch) -> TaskTools:
    """With one more kind of task, which notes that it was done and fails as `raising` says."""

    def wash(tools: TaskTools, vessel_id: str, plant_id: str) -> None:
        done.append(vessel_id)
        assert row_of(context).tries > 0
        if len(done) == 1 and isinstance(raising, list) and raising:
            raise raising.pop()

    monkeypatch.setitem(TASKS, "washing", Task(name="washing", queue="care", act=wash, counted=True))
    done.clear()
    raising.clear()
    return TaskTools(context=context, refresh=lambda _: None, solve=lambda _: None)  # type: ignore[arg-type, return-value]


done: list[str] = []
raising: list[Exception] = []


def test_it_is_done_once_for_all_that_was_asked(context: Context, tools: TaskTools) -> None:
    """Asked for by nobody it is not done; asked for twice, once; delivered again, not again."""
    assert not perform(tools, *KEY)
    ask(context)
    ask(context)
    assert perform(tools, *KEY)
    assert not perform(tools, *KEY)
    assert done == ["plover"]
    row = row_of(context)
    assert (row.asked, row.made, row.tries, row.outcome) == (2, 2, 0, "done")


def test_what_is_asked_for_while_it_is_done_is_done_after(context: Context, tools: TaskTools) -> None:
    """It stays open, and the next performance does it."""
    ask(context)
    TASKS["washing"] = Task(name="washing", queue="care", act=lambda *_: ask(context), counted=True)
    assert perform(tools, *KEY)
    assert row_of(context).open
    TASKS["washing"] = Task(name="washing", queue="care", act=lambda *_: None, counted=True)
    assert perform(tools, *KEY)
    assert not row_of(context).open


def test_one_that_says_itself_how_it_ended_is_not_said_over(context: Context, tools: TaskTools) -> None:
    """In the transaction of its own effects; what it says stays."""

    def end(tools: TaskTools, vessel_id: str, plant_id: str) -> None:
        with tools.context.db.write(vessel_id) as session:
            end_pending(session, *KEY, row_of(context).asked, AT, "nothing to wash")

    ask(context)
    TASKS["washing"] = Task(name="washing", queue="care", act=end, counted=True)
    assert perform(tools, *KEY)
    row = row_of(context)
    assert (row.open, row.outcome) == (False, "nothing to wash")


@pytest.mark.parametrize("error", [Busy("Later."), StorageFull("No room.")])
def test_one_that_found_the_database_busy_or_full_stays_asked_for(
    context: Context, tools: TaskTools, error: Exception
) -> None:
    """As if it had not begun."""
    ask(context)
    raising.append(error)
    with pytest.raises(type(error)):
        perform(tools, *KEY)
    assert (row_of(context).open, row_of(context).tries) == (True, 0)
    assert perform(tools, *KEY)


@pytest.mark.parametrize(
    ("error", "says"), [(Refused("No."), "failed: No."), (OSError("gone"), "failed: OSError: gone")]
)
def test_one_that_fails_is_noted_and_not_tried_for_ever(
    context: Context, tools: TaskTools, error: Exception, says: str
) -> None:
    """Until it is asked for anew."""
    ask(context)
    raising.append(error)
    with pytest.raises(type(error)):
        perform(tools, *KEY)
    row = row_of(context)
    assert (row.open, row.tries, row.outcome) == (False, 0, says)
    assert not perform(tools, *KEY)
    ask(context)
    assert perform(tools, *KEY)
    assert row_of(context).outcome == "done"


def test_one_that_ends_whoever_does_it_is_given_up(context: Context, tools: TaskTools) -> None:
    """Begun for the tenth time it is still done; after ten that never ended it is left, and said."""
    for begun, left in ((MOST_TRIES - 1, False), (MOST_TRIES, True)):
        ask(context)
        with context.db.write("plover") as session:
            for _ in range(begun):
                tasks.count_try(session, *KEY)
        assert perform(tools, *KEY) is not left
        row = row_of(context)
        assert (row.open, row.tries) == (False, 0)
        assert ("begun 10 times" in str(row.outcome)) is left


def test_clocks_ask_once_a_period(context: Context) -> None:
    """However often they tick in it; the next one is asked for from its first second on."""
    for seconds, turn in ((0, True), (1, False), (3599, False), (3600, True), (3601, False)):
        at = AT + timedelta(seconds=seconds)
        assert ask_in_turn(Context(context.db, lambda at=at: at, Settings()), "limits watch") is turn
    with context.db.read() as session:
        row = pending_row(session, "limits watch", "", "")
        assert row is not None
        assert row.asked == len(task_rows(session, "tick limits watch")) == 2


def test_every_task_stands_in_a_queue_that_workers_know(context: Context) -> None:
    """And those that clocks ask for are of the installation, each with its period."""
    assert {one.queue for one in TASKS.values()} == set(tasks.QUEUES)
    assert min(periodic(context).values()) >= timedelta(minutes=1)
    assert all(TASKS[name].counted for name in periodic(context))
