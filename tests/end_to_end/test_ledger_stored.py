"""The ledger as stored, on both databases: a cache of readings and events, whatever came when and in which order."""

from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from random import Random

import pytest
from sqlmodel import col, delete

from scheduler.actions.base.context import Context, seconds
from scheduler.actions.hours import counter_events
from scheduler.actions.hours.ledger import derive_vessel
from scheduler.actions.hours.readings import ReadingDoor, post
from scheduler.actions.vessel.fleet import Place
from scheduler.settings import Settings
from scheduler.storage.hours.counters import counter_rows, find_counter, flag_rows
from scheduler.storage.hours.day_ends import DayEndsRow, day_ends
from scheduler.storage.hours.intake import Intake
from scheduler.storage.hours.ledger import drop_checkpoints, drop_derived, recent_entries
from scheduler.storage.hours.readings import newest_reading, reading_rows
from scheduler.storage.vessel import AssetKind
from seed_fleet.ships import PLOVER
from tests.end_to_end.live import AT, TurnedClock
from tests.end_to_end.test_actions import GATEWAY, PLANT, _hand, _post, _put
from tests.storage.stores import kinds_where_required, store
from tests.ticks import store_now

Book = dict[str, tuple[list[tuple], set[tuple]]]


def book(context: Context) -> Book:
    """Entries, oldest first, and flags of each counter. The kept ends of days are those of the entries."""
    derive_vessel(context, PLOVER.vessel)
    with context.db.read() as session:
        flags = flag_rows(session, PLOVER.vessel)
        found: Book = {
            row.id: (
                [
                    (e.at_s, e.seq, e.credit_s, e.total_s, e.given_s, e.verdict, e.reason)
                    for e in reversed(recent_entries(session, row.no or 0, 10**6))
                ],
                {(f.code, f.at_s, f.facts, f.seconds) for f in flags if f.counter_no == row.no},
            )
            for row in counter_rows(session, PLOVER.vessel)
        }
        numbers = {row.id: row.no or 0 for row in counter_rows(session, PLOVER.vessel)}
        kept = day_ends(session, list(numbers.values()), 0, 2**36)
    for name, (entries, _) in found.items():
        last = {at_s // 86_400: (at_s, total_s) for at_s, _, _, total_s, *_ in entries if total_s is not None}
        assert kept[numbers[name]] == list(last.values())
    return found


def drop(context: Context) -> None:
    """Throw the derived ledger away, as if it had never been derived."""
    with context.db.write(PLOVER.vessel) as session:
        for row in counter_rows(session, PLOVER.vessel):
            drop_derived(session, row.no or 0, -(2**62))
            drop_checkpoints(session, row.no or 0, -(2**62))
            session.execute(delete(DayEndsRow).where(col(DayEndsRow.counter_no) == row.no))
            row.dirty_from_s = 0
            session.add(row)


@pytest.mark.long
@pytest.mark.parametrize("kind", kinds_where_required())
def test_shuffled_and_doubled_posts_derive_to_the_same_entries(kind: str, tmp_path: Path) -> None:
    """Every entry and flag is that of the posts in order, though derived again and again in between."""
    books = []
    for shuffled in (False, True):
        folder = tmp_path / str(shuffled)
        folder.mkdir()
        with store(kind, folder) as database:
            context = Context(database, TurnedClock(), Settings(horizon_days=60))
            _post(context, _put(context), shuffled=shuffled)
            books.append(book(context))
    assert books[0] == books[1]
    assert all(len(entries) > 100 for entries, _ in books[0].values())


@pytest.mark.parametrize("kind", kinds_where_required())
def test_the_dropped_ledger_comes_back_whole(kind: str, tmp_path: Path) -> None:
    """Entries and flags thrown away, and derived anew from readings and events, are the same."""
    with store(kind, tmp_path) as database:
        context = Context(database, TurnedClock(), Settings(horizon_days=60))
        _post(context, _put(context))
        kept = book(context)
        drop(context)
        assert book(context) == kept


@pytest.mark.parametrize("kind", kinds_where_required())
def test_a_late_reading_rewrites_nothing_before_it(kind: str, tmp_path: Path) -> None:
    """A backfilled hour marks its counter from that instant on; earlier entries stay, and all equal a whole derivation."""
    with store(kind, tmp_path) as database:
        context = Context(database, TurnedClock(), Settings(horizon_days=60))
        run = _put(context)
        _post(context, run)
        before = book(context)
        name, other = PLOVER.counter(0), PLOVER.counter(1)
        entries = before[name][0]
        late_s = next((a[0] + b[0]) // 2 for a, b in pairwise(entries[20:]) if b[0] - a[0] == 4 * 3600 and b[2] > 0)
        with context.db.read() as session:
            row = find_counter(session, name)
            assert row is not None
            around = reading_rows(session, row.no or 0, late_s - 14400, 0)
            shown = [v for at, v, _, _ in around if at <= late_s][-1]
        at = datetime.fromtimestamp(late_s, UTC)
        told = store_now(context, GATEWAY, [{"counter": name, "observed_at": at.isoformat(), "value": shown / 1000}])
        assert told["items"][0]["status"] == "stored"
        with context.db.read() as session:
            touched = {row.id: row.dirty_from_s for row in counter_rows(session, PLOVER.vessel)}
        assert touched.pop(name) == late_s
        assert set(touched.values()) == {None}
        after = book(context)
        assert [e for e in after[name][0] if e[0] < late_s] == [e for e in entries if e[0] < late_s]
        assert [e[0] for e in after[name][0]].count(late_s) == 1
        assert after[name][0][-1][3] == entries[-1][3]
        assert after[other] == before[other]
        drop(context)
        assert book(context) == after


@pytest.mark.parametrize("kind", kinds_where_required())
def test_a_replacement_and_an_adjustment_recorded_late(kind: str, tmp_path: Path) -> None:
    """Hours go on across a changed counter, hours added by hand count from their instant on, and both are records."""
    with store(kind, tmp_path) as database:
        clock = TurnedClock()
        context = Context(database, clock, Settings(horizon_days=60))
        _post(context, _put(context))
        name = PLOVER.counter(0)
        place = Place(name, PLOVER.vessel, PLANT, AssetKind.COUNTER)
        before = book(context)[name][0]
        with context.db.read() as session:
            row = find_counter(session, name)
            assert row is not None
            last = (newest_reading(session, row.no or 0) or (0, 0))[1] / 1000
            scale = row.seconds_per_count
        clock.at = AT + timedelta(hours=8)
        swapped = AT + timedelta(hours=4)
        store_now(
            context, GATEWAY, [{"counter": name, "observed_at": (AT + timedelta(hours=8)).isoformat(), "value": 3}]
        )
        derive_vessel(context, PLOVER.vessel)
        told = counter_events.CounterEvent(
            kind="replacement", at=swapped, reason="worn out", old_final=last + 2, new_first=0
        )
        number = counter_events.add_event(context, _hand(), place, told).body["record"]
        after = book(context)[name][0]
        assert after[-1][3] - before[-1][3] == (2 + 3) * scale
        added = counter_events.CounterEvent(kind="adjustment", at=swapped, reason="starter log", hours=7)
        assert counter_events.add_event(context, _hand(), place, added).body["record"] == number + 1
        with_more = book(context)[name][0]
        assert with_more[-1][4] - after[-1][4] == 7 * 3600
        assert [e for e in with_more if e[0] < seconds(swapped)] == [e for e in after if e[0] < seconds(swapped)]
        kept = book(context)
        drop(context)
        assert book(context) == kept


@pytest.mark.long
@pytest.mark.parametrize("kind", kinds_where_required())
def test_late_days_derive_to_what_the_whole_past_gives(
    kind: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Gaps filled in any order, clocks put right, spikes, drops and hours given by hand, derived after each and in small
    pieces: entries and flags are each time those of a ledger thrown away and derived whole."""
    monkeypatch.setattr("scheduler.actions.hours.ledger.PIECE", 25)
    random = Random(7)
    with store(kind, tmp_path) as database:
        clock = TurnedClock()
        context = Context(database, clock, Settings(horizon_days=60))
        _put(context)
        name = PLOVER.counter(0)
        place = Place(name, PLOVER.vessel, PLANT, AssetKind.COUNTER)
        blocks = [list(range(first, first + 20)) for first in range(0, 400, 20)]
        random.shuffle(blocks)
        for number, block in enumerate(blocks):
            skew = random.choice([0, 0, 0, 7200, -7200])
            items = [
                {
                    "counter": name,
                    "observed_at": (AT - timedelta(hours=900 - 2 * hour, seconds=skew)).isoformat(),
                    "value": 1000 + hour + random.choice([0] * 30 + [300, -500]),
                }
                for hour in block
            ]
            with Intake(context.db, context.clock) as intake:
                sent = (AT - timedelta(seconds=skew)).isoformat()
                post(ReadingDoor(context, intake), intake, GATEWAY, {"sent_at": sent, "readings": items})
            if number % 6 == 5:
                at = AT - timedelta(hours=random.randrange(100, 900))
                told = counter_events.CounterEvent(kind="adjustment", at=at, reason="log book", hours=1)
                counter_events.add_event(context, _hand(), place, told)
            kept = book(context)
            if number % 3 == 2:
                drop(context)
                assert book(context) == kept
        assert len(kept[name][0]) > 350


@pytest.mark.long
def test_checkpoints_of_a_counter_that_posts_on_and_on_are_few(tmp_path: Path) -> None:
    """Each derivation leaves one where it ended; of those only one a week stays beside the newest."""
    with store("sqlite", tmp_path) as database:
        context = Context(database, TurnedClock(), Settings(horizon_days=60))
        _put(context)
        name = PLOVER.counter(0)
        for hour in range(0, 24 * 30, 6):
            at = AT - timedelta(hours=24 * 30 - hour)
            store_now(context, GATEWAY, [{"counter": name, "observed_at": at.isoformat(), "value": 1000 + hour}])
            derive_vessel(context, PLOVER.vessel)
        with context.db.read() as session:
            kept = (
                session.connection().exec_driver_sql("SELECT at_s FROM ledger_checkpoint ORDER BY at_s").scalars().all()
            )
        assert 4 <= len(kept) <= 6
        assert all(late - early >= 7 * 86400 for early, late in pairwise(kept[:-1]))
        whole = book(context)
        drop(context)
        assert book(context) == whole
