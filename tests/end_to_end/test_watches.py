"""The watches look only at vessels for whom something may be found: what they leave is what a walk through all ships would leave."""

import random
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from scheduler.actions.base.context import Context
from scheduler.actions.care import rounds
from scheduler.actions.work import nonconformities
from scheduler.domain.base.enums import JobState
from scheduler.domain.hours.ledger_values import WATCHED
from scheduler.errors import SchedulerError
from scheduler.storage.database import Session, bump_revision
from scheduler.storage.hours.counters import counter_rows, flag_rows
from scheduler.storage.hours.readings import newest_reading
from scheduler.storage.tasks import task_row
from scheduler.storage.vessel import RevisionRow, revision_of
from scheduler.storage.watches import MOST, Watch, vessels_to_watch, watch_again
from tests.end_to_end.live import AT
from tests.end_to_end.test_actions import _now, _take
from tests.end_to_end.test_plant_summaries import GATEWAY, VESSEL_ID, Hands, clock_of, context
from tests.storage.stores import add_vessel, kinds, store
from tests.ticks import store_now

__all__ = ["context"]


class Undone(Exception):
    """What was tried is not stored."""


@contextmanager
def tried(context: Context) -> Iterator[Session]:
    """A session that may write, and stores nothing."""
    with suppress(Undone), context.db.write(VESSEL_ID) as session:
        yield session
        raise Undone


def ticks(context: Context) -> list[str]:
    """One turn of each watch; the vessels where something came of it."""
    found = nonconformities.open_where_due(context)
    found += rounds.watch_counters(context, lambda _: None)
    return [*found, *(["night"] if rounds.nightly(context) else [])]


def must_leave_nothing(context: Context) -> None:
    """A walk that asks nobody whether to look finds nothing that the ticks left, and stores nothing."""
    now = _now(context)
    with tried(context) as session:
        late = [job for job in now.jobs if job.first and job.state is JobState.PAST_LIMIT]
        assert [job.job_id.key for job in late if nonconformities.open_for(session, now, job, "timer")] == []
    with tried(context) as session:
        rows = {row.id: row for row in counter_rows(session, VESSEL_ID)}
        flags = [
            *rounds._look(context, session, VESSEL_ID, list(rows.values())).flags,
            *rounds._conflicts(context, session, VESSEL_ID, rows).flags,
        ]
        stored = {(row.counter_no, row.code) for row in flag_rows(session, VESSEL_ID) if row.code in WATCHED}
        assert {(rows[name].no, flag.code.value) for name, flag in flags} == stored
        assert not rounds._keep_flags(session, VESSEL_ID, rows, flags)
        night, next_at = rounds._night(session, context, VESSEL_ID, context.now())
        assert next_at > context.now()
        assert task_row(session, rounds.NIGHTLY, f"{VESSEL_ID} {night.isoformat()}") is not None


class MoreHands(Hands):
    """The same, who also post what was posted with another value, and from a clock ahead of its time."""

    def act(self) -> None:
        """One of them."""
        with suppress(SchedulerError):
            self.draw.choice((super().act, super().act, super().act, self.again, self.ahead))()

    def again(self) -> None:
        with self.context.db.read() as session:
            row = self.draw.choice(counter_rows(session, VESSEL_ID))
            before = newest_reading(session, row.no or 0)
        if before is not None:
            item = {"counter": row.id, "observed_at": _iso(before[0]), "value": before[1] / 1000 + 1}
            store_now(self.context, GATEWAY, [item])

    def ahead(self) -> None:
        with self.context.db.read() as session:
            row = self.draw.choice(counter_rows(session, VESSEL_ID))
            before = newest_reading(session, row.no or 0)
        if before is not None:
            at_s = int((self.context.now() + self.hours_ahead(30)).timestamp())
            item = {"counter": row.id, "observed_at": _iso(at_s), "value": before[1] / 1000 + 1}
            store_now(self.context, GATEWAY, [item])


def _iso(at_s: int) -> str:
    return datetime.fromtimestamp(at_s, UTC).isoformat()


def next_looks(context: Context) -> list[timedelta]:
    """How far ahead each watch looks next."""
    with context.db.read() as session:
        row = session.get(RevisionRow, VESSEL_ID)
        assert row is not None
        return [at - context.now() for at in (row.limits_watch_at, row.counters_watch_at, row.night_at)]


def lived(context: Context, seed: int, steps: int) -> int:
    """Random acts and turns of the clock, to the second at which a watch looks next; in how many of them something came."""
    draw = random.Random(seed)
    hands, clock, came = MoreHands(context, draw), clock_of(context), 0
    if draw.random() < 0.7:
        _take(context)
    for _ in range(steps):
        for _ in range(draw.randrange(3)):
            hands.act()
        came += bool(ticks(context))
        must_leave_nothing(context)
        for _ in range(4):  # a watch that found something looks once more
            if not ticks(context):
                break
        ahead = next_looks(context)
        assert min(ahead) > timedelta(0)
        if draw.random() < 0.5:  # nothing but time, and not enough of it
            clock.at += min(ahead) - timedelta(seconds=1)
            assert not ticks(context)
            must_leave_nothing(context)
        clock.at += draw.choice((min(ahead), timedelta(hours=draw.randrange(1, 40))))
    return came


@pytest.mark.long
@pytest.mark.parametrize("seed", range(6))
def test_ticks_by_index_leave_what_a_walk_would(context: Context, seed: int) -> None:
    """Over random lives with silence, conflicts, postponements and clocks that jump, no look that a walk takes is missing."""
    assert lived(context, seed, 14)


@pytest.mark.parametrize("kind", kinds())
def test_a_vessel_is_looked_at_when_her_instant_comes_or_something_changes(kind: str, tmp_path: Path) -> None:
    """To the second; a change between the look and the note calls again; one set far ahead by a wrong clock is looked at now."""
    ahead = timedelta(hours=3)
    with store(kind, tmp_path) as db:
        for one in ("avocet", "plover"):
            add_vessel(db, one)
        now = AT
        with db.write("plover") as session:
            number = bump_revision(session, "plover")
            bump_revision(session, "avocet")
            assert watch_again(session, Watch.LIMITS, "plover", now + ahead, at=now, revision=number)
            assert not watch_again(session, Watch.LIMITS, "avocet", now + ahead, at=now, revision=number + 1)

        def looked(watch: Watch, at: timedelta) -> list[str]:
            with db.read() as session:
                return vessels_to_watch(session, watch, now + at)

        assert looked(Watch.LIMITS, ahead - timedelta(seconds=1)) == ["avocet"]
        assert looked(Watch.LIMITS, ahead) == ["avocet", "plover"]
        assert looked(Watch.COUNTERS, timedelta(0)) == ["avocet", "plover"]
        assert looked(Watch.RECORD, timedelta(0)) == ["", "avocet", "plover"]
        assert looked(Watch.LIMITS, ahead - MOST) == ["avocet"]
        assert looked(Watch.LIMITS, ahead - MOST - timedelta(seconds=1)) == ["avocet", "plover"]
        with db.write("plover") as session:
            later = now + timedelta(days=400)
            assert watch_again(session, Watch.NIGHT, "plover", later, at=now, revision=revision_of(session, "plover"))
            assert watch_again(session, Watch.RECORD, "plover", later, at=now, revision=revision_of(session, "plover"))
        assert looked(Watch.NIGHT, MOST - timedelta(seconds=1)) == ["avocet"]
        assert looked(Watch.NIGHT, MOST) == ["avocet", "plover"]
        with db.write("plover") as session:
            bump_revision(session, "plover")
        assert looked(Watch.NIGHT, timedelta(0)) == looked(Watch.LIMITS, timedelta(0)) == ["avocet", "plover"]
        assert looked(Watch.RECORD, timedelta(0)) == ["", "avocet"]
