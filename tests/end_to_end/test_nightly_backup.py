"""The nightly backup: once a night by the ship's clock, as many as are set, tried again where it failed."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from scheduler.actions.base.context import Context
from scheduler.actions.care import backups
from scheduler.actions.care.backups import BACKUP, nightly_backup
from scheduler.errors import StorageFull
from scheduler.settings import Settings
from scheduler.storage.care.backup import backups_in
from scheduler.storage.tasks import TaskRunRow, task_rows
from scheduler.storage.vessel import ShipOffsetRow, VesselRow
from tests.storage.stores import add_vessel, store

NIGHT = datetime(2026, 11, 30, 1, 0, tzinfo=UTC)
"""02:00 by the ship's clock, which is an hour ahead."""


@dataclass(slots=True)
class TurnedClock:
    """Says `at` until the test turns it."""

    at: datetime = NIGHT

    def __call__(self) -> datetime:
        return self.at


@pytest.fixture
def context(tmp_path: Path) -> Iterator[Context]:
    """A ship whose clock is an hour ahead of UTC; two backups stay."""
    with store("sqlite", tmp_path) as database:
        add_vessel(database)
        with database.write("plover") as session:
            session.add(
                ShipOffsetRow(
                    vessel_id="plover", from_at=NIGHT - timedelta(days=99), offset_minutes=60, actor="A", reason="", recorded_at=NIGHT
                )
            )  # fmt: skip
        yield Context(database, TurnedClock(), Settings(database=str(database.path), backup_count=2))


def turn(context: Context, **by: float) -> None:
    """The clock goes on."""
    context.clock.at += timedelta(**by)  # type: ignore[attr-defined]


def made(context: Context) -> list[Path]:
    """The backups that are there."""
    assert context.db.path is not None
    return backups_in(context.db.path.with_name(f"{context.db.path.name}.backups"))


def test_one_is_made_a_night_from_the_hour_set(context: Context) -> None:
    """None again that night; the next at 02:00 of the next ship's day and not a second before."""
    assert nightly_backup(context)
    assert not nightly_backup(context)
    turn(context, days=1, seconds=-1)
    assert not nightly_backup(context)
    turn(context, seconds=1)
    assert nightly_backup(context)
    assert len(made(context)) == 2


def test_as_many_stay_as_are_set(context: Context) -> None:
    """The oldest goes once the third is made."""
    for _ in range(3):
        assert nightly_backup(context)
        first = made(context)[0]
        turn(context, days=1)
    assert len(made(context)) == 2
    assert first.name == "leadline-20261201T010000Z"


def test_several_ships_go_by_utc(context: Context) -> None:
    """An office: the hour is that of UTC."""
    with context.db.write("") as session:
        session.add(
            VesselRow(id="avocet", name="Demo Avocet", imo="0246800", document="{}", version=1, changed_at=NIGHT)
        )
    assert nightly_backup(context)
    turn(context, hours=1, seconds=-1)
    assert not nightly_backup(context)
    turn(context, seconds=1)
    assert nightly_backup(context)


@pytest.mark.parametrize("change", [{"backup_count": 0}, {"vessels": 0}])
def test_none_is_made_where_none_is_wanted(context: Context, change: dict[str, int]) -> None:
    """Switched off, or nothing to keep."""
    settings = replace(context.settings, **{name: value for name, value in change.items() if name != "vessels"})
    if "vessels" in change:
        with context.db.write("") as session:
            for table in ("ship_offset", "counter", "vessel"):
                session.connection().exec_driver_sql(f"DELETE FROM {table}")
    assert not nightly_backup(Context(context.db, context.clock, settings))
    assert made(context) == []


def test_one_that_failed_is_on_record_and_tried_again_after_an_hour(
    context: Context, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its outcome says why, nothing older is taken away; not before the hour is over."""
    assert nightly_backup(context)
    turn(context, days=1)

    def full(*_: object) -> None:
        raise StorageFull("no room")

    with monkeypatch.context() as patched:
        patched.setattr(backups, "make_backup", full)
        assert not nightly_backup(context)
    with context.db.read() as session:
        assert [row.outcome for row in task_rows(session, BACKUP)] == ["done", "failed: no room"]
    assert len(made(context)) == 1
    turn(context, hours=1, seconds=-1)
    assert not nightly_backup(context)
    turn(context, seconds=1)
    assert nightly_backup(context)


def test_one_that_was_cut_off_is_made_at_the_next_tick(context: Context) -> None:
    """The process ended in the middle of it: the row says begun, and no backup is there."""
    with context.db.write("") as session:
        session.add(TaskRunRow(task=BACKUP, period="2026-11-30", started_at=NIGHT))
    assert nightly_backup(context)
    with context.db.read() as session:
        assert [row.outcome for row in task_rows(session, BACKUP)] == ["done"]
