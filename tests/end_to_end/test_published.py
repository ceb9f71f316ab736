"""Published dates in life: what moves them, what does not, and the list of those that moved, on both databases."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from scheduler.actions.base.context import Context
from scheduler.actions.feed import refresh
from scheduler.actions.hours import counter_events
from scheduler.actions.plant_state import published
from scheduler.actions.plant_state.published import MovedDate
from scheduler.actions.vessel import changes
from scheduler.actions.vessel.document import VESSEL
from scheduler.actions.vessel.fleet import Place
from scheduler.actions.voyage import days
from scheduler.actions.work import closing, closing_checks, jobs
from scheduler.domain.base.enums import Test
from scheduler.domain.due.publishing import Cause
from scheduler.domain.voyage.stretches import Source, Spell
from scheduler.settings import Settings
from scheduler.storage.due import published_rows
from scheduler.storage.vessel import AssetKind
from seed_fleet.documents import vessel_document
from seed_fleet.running import Run
from seed_fleet.ships import PLOVER
from tests.end_to_end.live import AT, TurnedClock
from tests.end_to_end.test_actions import GATEWAY, ME, PEN_HERE, PLANT, _hand, _now, _post, _put, _rows
from tests.storage.stores import kinds, store
from tests.ticks import store_now

COUNTER = "plover-vp1-hours"


@contextmanager
def opened(kind: str, folder: Path) -> Iterator[Context]:
    with store(kind, folder) as database:
        yield Context(database, TurnedClock(), Settings(horizon_days=180, frozen_days=7))


@pytest.fixture
def context(tmp_path: Path) -> Iterator[Context]:
    """On SQLite; what is stored is looked at on both databases by the script below."""
    with opened("sqlite", tmp_path) as context:
        yield context


@pytest.fixture
def run(context: Context) -> Run:
    run = _put(context, years=0.22)
    _post(context, run)
    return run


def written(context: Context) -> bytes:
    """The calendar's bytes after the published dates were kept."""
    return refresh.refresh(context, PEN_HERE, PLOVER.vessel).body


def moves(context: Context, after: int = 0) -> list[MovedDate]:
    return published.moved_since(context, PLOVER.vessel, PLANT, after=after)


def newly(context: Context) -> list[MovedDate]:
    """What moved when the calendar was written now."""
    last = moves(context)[-1].number if moves(context) else 0
    written(context)
    return moves(context, last)


def causes(found: list[MovedDate]) -> set[Cause]:
    return {one.cause for one in found if one.open}


def kept(context: Context) -> dict[str, str]:
    with context.db.read() as session:
        return {key: row.text for key, row in published_rows(session, PLOVER.vessel, PLANT).items()}


def event(context: Context, kind: str, **detail: float) -> None:
    place = Place(COUNTER, PLOVER.vessel, PLANT, AssetKind.COUNTER)
    told = counter_events.CounterEvent(kind=kind, at=context.now() - timedelta(hours=1), reason="a test", **detail)
    counter_events.add_event(context, _hand(), place, told)


def spell(first: int, last: int, kind: str, source: Source) -> Spell:
    today = AT.date()
    return Spell(from_on=today + timedelta(days=first), to_on=today + timedelta(days=last), kind=kind, source=source)


def enter(context: Context, *spells: Spell) -> None:
    version = days.get_voyage_days(context, ME, PLOVER.vessel).version
    days.change_days(context, _hand(), PLOVER.vessel, days.Wish(stretches=spells), if_match=version)


def events(context: Context) -> dict[str, str]:
    """The texts of all jobs in the calendar, written now; the plan's age is told by another event."""
    written(context)
    return {key: row.text for key, row in _rows(context).items() if key != "plan-status"}


@pytest.mark.long
def test_nothing_moves_when_nothing_changed_and_no_date_trembles(context: Context, run: Run) -> None:
    """Written again, an hour on, and after a reading that cannot be: no date, no row, no byte. A port day entered ahead
    shifts what is reckoned by less than a day: page and calendar keep every date, beside states of now."""
    enter(context, *[spell(n, n, "port" if n % 10 == 0 else "sea", Source.LOG) for n in range(-79, 0)])
    texts, rows = events(context), kept(context)
    clock = context.clock
    assert isinstance(clock, TurnedClock)
    for minutes in (0, 60):
        clock.at = AT + timedelta(minutes=minutes)
        assert (events(context), kept(context), moves(context)) == (texts, rows, [])
    reading = {"counter": COUNTER, "observed_at": clock.at.isoformat(), "value": 10**6}
    assert store_now(context, GATEWAY, [reading])["items"][0]["status"] == "stored"
    assert (events(context), kept(context), moves(context)) == (texts, rows, [])
    before = {job.job_id.key: job for job in _now(context).shown}
    enter(context, spell(3, 3, "port", Source.PLAN))
    now = _now(context)
    differ = [job for job in now.jobs if job.due_at != before[job.job_id.key].due_at]
    assert differ
    for job in differ:
        seen = now.as_shown(job)
        assert (seen.state, seen.due_at) == (job.state, before[job.job_id.key].due_at)
    assert moves(context) == []
    again = events(context)
    assert {key for key in texts if again[key] != texts[key]} == set()


def script(context: Context) -> list[MovedDate]:
    """A run of acts, the calendar written after each; what moved, and that each cause is the act's."""
    run = _put(context, years=0.22)
    _post(context, run)
    written(context)
    enter(context, *[spell(n, n, "port" if n % 3 == 0 else "sea", Source.LOG) for n in range(-79, 0)])
    newly(context)
    enter(context, spell(5, 170, "lay-up", Source.PLAN))
    laid_up = newly(context)
    assert causes(laid_up) == {Cause.CALENDAR}
    assert all(one.to_due_at >= one.from_due_at for one in laid_up if one.open)
    assert all(
        one.to_due_at > one.from_due_at or (one.to_late_at or AT) > (one.from_late_at or AT)
        for one in laid_up
        if one.open
    )  # of a turn by the calendar the dates of its hours
    version = days.get_voyage_days(context, ME, PLOVER.vessel).version
    days.undo_days(context, _hand(), PLOVER.vessel, if_match=version)
    back = newly(context)
    assert causes(back) == {Cause.CALENDAR}
    assert {one.job: one.to_due_at for one in back if one.open} == {
        one.job: one.from_due_at for one in laid_up if one.open
    }
    event(context, "adjustment", hours=90)
    adjusted = newly(context)
    assert causes(adjusted) == {Cause.EVENT}
    assert all("pump-a" in one.job or one.job.endswith("vp1:1") for one in adjusted if one.open)
    document = vessel_document(run)
    for kind in document["plants"][0]["job_kinds"]:
        if kind["code"] == "overhaul":
            kind["interval_running_hours"] = 7000
    changes.put_vessel(context, ME, VESSEL.validate_python(document), if_match=1, reason="worn early")
    shorter = newly(context)
    assert Cause.DOCUMENT in causes(shorter)
    assert {one.job.split(":")[0] for one in shorter if one.open} <= {"overhaul", "seal_inspection", "knife_inspection"}
    job = next(j for j in _now(context).jobs if j.first and j.job_id.kind == "alarm_test")
    place, job_id = jobs.job_place(context, ME, job.job_id.key)
    close = closing_checks.Close(done_at=context.now(), done_by="Demo Hand", test=Test.PASSED)
    closing.close_job(context, _hand(), place, job_id, close)
    done = newly(context)
    following = replace(job_id, sequence=job_id.sequence + 1).key
    assert [(one.job, one.cause) for one in done if one.open] == [(following, Cause.WORK_DONE)]
    return moves(context)


@pytest.mark.long
def test_acts_are_named_and_a_replay_gives_the_same_list(tmp_path: Path) -> None:
    """Calendar, event, document, work: each shows at once under its own name; the same script on another database, or
    once more, moves the same dates in the same order."""
    found = []
    for kind in [*kinds(), "sqlite"][:2]:
        folder = tmp_path / str(len(found))
        folder.mkdir()
        with opened(kind, folder) as context:
            found.append(script(context))
    assert found[0] == found[1]
    assert [one.number for one in found[0]] == list(range(1, len(found[0]) + 1))


@pytest.mark.long
def test_the_order_of_posts_does_not_matter_to_what_is_published(tmp_path: Path) -> None:
    """The same readings as they came, or shuffled and some twice: the same published dates and the same moves."""
    found = []
    for shuffled in (False, True):
        folder = tmp_path / str(shuffled)
        folder.mkdir()
        with opened("sqlite", folder) as context:
            run = _put(context, years=0.1)
            written(context)
            _post(context, run, shuffled=shuffled)
            written(context)
            found.append((kept(context), moves(context)))
    assert found[0] == found[1]
    assert found[0][1]
