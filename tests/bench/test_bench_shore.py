"""What it costs a ship to send to her office: CPU of the intake with and without a line, and bytes a day."""

from datetime import UTC, datetime
from pathlib import Path
from time import process_time

import pytest
from sqlmodel import select

from scheduler.actions.base.context import Context
from scheduler.clock import fixed_clock
from scheduler.domain.shore.frame import pack
from scheduler.settings import Settings
from scheduler.storage.database import Database
from scheduler.storage.hours.intake import Intake
from scheduler.storage.shore.lines import OutboxChangeRow, ShoreLineRow, shore_line
from scheduler.storage.shore.outbox import batch_after
from tests.durability.test_thin_link import work_offline
from tests.storage.stores import add_vessel, store

pytestmark = pytest.mark.bench
AT = datetime(2026, 11, 25, 7, tzinfo=UTC)
CLOCK = fixed_clock(AT)


def line(database: Database, vessel_id: str) -> None:
    """The vessel sends to an office; nothing of what there was."""
    row = ShoreLineRow(vessel_id=vessel_id, address="http://office.lan", key_file="", life="one", joined_at=AT)
    row.joining = False
    with database.write("") as session:
        session.add(row)


def cpu(folder: Path, size: int, posts: int, *, joined: bool) -> float:
    """CPU seconds of posting batches of that size."""
    folder.mkdir()
    with store("sqlite", folder) as database:
        numbers = add_vessel(database, counters=8)
        if joined:
            line(database, "plover")
        with Intake(database, CLOCK) as intake:
            begun = process_time()
            for post in range(posts):
                rows = [(numbers[i % 8], post * size + i, i * 1000, 1) for i in range(size)]
                intake.submit("plover", rows).result()
            return process_time() - begun


@pytest.mark.parametrize(("size", "posts"), [(1000, 60), (8, 600)])
def test_the_intake_of_a_ship_that_sends(
    size: int, posts: int, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Batches of 1000 and posts of 8: CPU with a line against without, best of three each, in turns."""
    spent = {
        joined: min(cpu(tmp_path / f"{joined}{turn}", size, posts, joined=joined) for turn in range(3))
        for joined in (False, True)
    }
    ratio = spent[True] / spent[False]
    with capsys.disabled():
        print(f"\nposts of {size}: {1000 * spent[False] / posts:.2f} ms CPU, joined {ratio:.2f} times")
    assert ratio < 4


def test_bytes_of_a_day(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Eight pumps hourly, six hand actions a day with their records, thirty days: packed by the day, by the hour, at once."""
    with store("sqlite", tmp_path) as database:
        add_vessel(database, "demo-plover", counters=8)
        line(database, "demo-plover")
        context = Context(database, CLOCK, Settings())
        work_offline(context, 30)
        with database.read() as session:
            held = shore_line(session, "demo-plover")
            assert held is not None
            whole = len(pack(batch_after(session, held, 0, 10**9)))
            each = held.number // 30
            begins = [day * each for day in range(30)]
            days = [len(pack(batch_after(session, held, at, _size(session, at, each)))) for at in begins]
    with capsys.disabled():
        print(f"\n30 days: {whole / 30 / 1000:.2f} kB a day at once, {sum(days) / 30 / 1000:.2f} in day batches")
    assert sum(days) / 30 < 6_000


def _size(session: object, after: int, many: int) -> int:
    query = OutboxChangeRow.number > after, OutboxChangeRow.number <= after + many
    return sum(len(row.body) for row in session.exec(select(OutboxChangeRow).where(*query)))  # type: ignore[attr-defined]
