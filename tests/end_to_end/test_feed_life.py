"""The life of the stored calendar: moved, unchanged, withdrawn, back again, across a change of the ship's clock."""

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlmodel import select

from scheduler.actions.base.context import Context
from scheduler.actions.capacity import outages
from scheduler.actions.care import rounds
from scheduler.actions.feed import refresh as feed_refresh
from scheduler.actions.plan import planning
from scheduler.actions.record import history
from scheduler.actions.vessel import changes, fleet
from scheduler.actions.vessel.document import VESSEL
from scheduler.actions.vessel.fleet import Place
from scheduler.domain.base.enums import Test
from scheduler.domain.feed.scope import Scope
from scheduler.errors import Clash
from scheduler.planning.judge.check import margin_series
from scheduler.settings import Settings
from scheduler.storage.feed import FeedEventRow
from scheduler.storage.tasks import TaskRunRow
from scheduler.storage.vessel import AssetKind
from scheduler.timers import Timers
from seed_fleet.documents import vessel_document
from seed_fleet.running import Run
from seed_fleet.ships import PLOVER
from tests.end_to_end.live import AT, TurnedClock
from tests.end_to_end.test_actions import ME, PEN_HERE, PLANT, _hand, _now, _post, _put, _rows, _take
from tests.storage.stores import kinds_where_required, store
from tests.ticks import keep_up

PART = "plover-pump-a-knives"


@pytest.fixture(params=kinds_where_required())
def context(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Context]:
    with store(request.param, tmp_path) as database:
        yield Context(database, TurnedClock(), Settings(horizon_days=60, frozen_days=7))


@pytest.fixture
def run(context: Context) -> Run:
    """The three-pump ship aboard with some weeks of her past."""
    run = _put(context)
    _post(context, run)
    return run


def turn(context: Context, days: float) -> None:
    clock = context.clock
    assert isinstance(clock, TurnedClock)
    clock.at = AT + timedelta(days=days)


def put(context: Context, document: Any) -> None:
    version = fleet.get_vessel(context, ME, PLOVER.vessel)[1]
    changes.put_vessel(context, ME, VESSEL.validate_python(document), if_match=version, reason="a test")


def ashore(run: Run, at: str) -> Any:
    """The document with the part taken out of its pump at that instant."""
    document = vessel_document(run)
    for fitting in document["plants"][0]["fittings"]:
        if fitting["part"] == PART:
            fitting["to_at"] = at
    return document


def refresh(context: Context) -> dict[str, FeedEventRow]:
    feed_refresh.refresh(context, PEN_HERE, PLOVER.vessel)
    return _rows(context)


@pytest.mark.long
def test_a_moved_slot_keeps_its_uid_and_raises_its_sequence_by_one(context: Context, run: Run) -> None:
    """After another plan is taken only events whose slot or quoted margin changed change; each moved one by one step."""
    _take(context)
    before, taken = refresh(context), _now(context).taken
    assert taken is not None
    document = vessel_document(run)
    at = max(start for key, (start, _) in taken.times().items() if key.startswith("pull_down_test"))
    midnight = at.replace(hour=0)
    away = {"from_at": midnight.isoformat(), "to_at": (midnight + timedelta(days=1)).isoformat(), "label": "drill"}
    document["plants"][0]["crew"]["no_work"] = [*document["plants"][0]["crew"].get("no_work", ()), away]
    put(context, document)
    planning.propose(context, PLOVER.vessel, PLANT)
    proposed = _now(context).proposed
    assert proposed is not None
    planning.take(context, _hand(), Place(PLANT, PLOVER.vessel, PLANT, AssetKind.PLANT), proposed.digest)
    after = refresh(context)
    old, new = taken.times(), proposed.times()
    moved = {key for key in old.keys() & new.keys() if old[key] != new[key]} & before.keys() & after.keys()
    assert [key for key in moved if key.startswith("pull_down_test")]
    assert len(moved) < len(old) / 2
    for key in before.keys() & after.keys():
        assert after[key].uid == before[key].uid
    for key in moved:
        assert after[key].sequence == before[key].sequence + 1
    slots_old = {slot.key: slot for slot in taken.plan.slots}
    slots_new = {slot.key: slot for slot in proposed.plan.slots}
    same = {
        key
        for key in before.keys() & after.keys()
        if old.get(key) == new.get(key)
        and (key in slots_old) == (key in slots_new)
        and (
            key not in slots_old or slots_old[key].least_margin_litres_per_h == slots_new[key].least_margin_litres_per_h
        )
    } - {"plan-status"}
    assert same
    assert [key for key in same if after[key].text != before[key].text] == []


@pytest.mark.long
def test_the_margin_on_the_page_follows_a_pump_that_went_down(context: Context, run: Run) -> None:
    """The runs drawn from the taken plan lose what the pump counted for, and get it back when it is proved."""
    _take(context)

    def now_available() -> int:
        problem, plan = planning.as_now(_now(context), context)
        return margin_series(problem, plan)[0].available

    whole = now_available()
    place = Place("plover-pump-a", PLOVER.vessel, PLANT, AssetKind.PUMP)
    told = outages.pump_down(context, _hand(), place, at=context.now(), reason="seized").body
    assert now_available() == round(told["available_swept_m3_per_h"] * 1000) < whole
    proved = outages.pump_back(context, _hand(), place, at=context.now(), reason="freed", test=Test.PASSED).body
    assert now_available() == round(proved["available_swept_m3_per_h"] * 1000) == whole


@pytest.mark.long
def test_withdrawn_lasts_fourteen_days(context: Context, run: Run) -> None:
    """A part that went ashore stands as WITHDRAWN on the thirteenth day with not one byte changed, and is gone on the fifteenth."""
    before = refresh(context)
    key = next(job.job_id.key for job in _now(context).jobs if job.job_id.subject == PART and job.first)
    put(context, ashore(run, context.now().isoformat()))
    first = refresh(context)[key]
    assert " · withdrawn\r\n" in first.text
    assert first.uid == before[key].uid
    assert first.sequence == before[key].sequence + 1
    turn(context, 13)
    assert refresh(context)[key].text == first.text
    turn(context, 15)
    assert key not in refresh(context)


@pytest.mark.long
@pytest.mark.parametrize("later", [3, 45])
def test_a_part_that_comes_back_and_leaves_again(context: Context, run: Run, later: int) -> None:
    """Its turn stands once in the calendar each time: open when back, WITHDRAWN again when it leaves again."""
    refresh(context)
    key = next(job.job_id.key for job in _now(context).jobs if job.job_id.subject == PART and job.first)
    put(context, ashore(run, context.now().isoformat()))
    assert " · withdrawn\r\n" in refresh(context)[key].text
    turn(context, 2)
    put(context, vessel_document(run))
    back = refresh(context)
    body = feed_refresh.last_good(context, Scope(vessel_id=PLOVER.vessel))
    assert body is not None
    assert " · withdrawn\r\n" not in back[key].text
    assert body.body.decode().count(f"UID:{back[key].uid}") == 1
    turn(context, later)
    refresh(context)
    put(context, ashore(run, context.now().isoformat()))
    assert " · withdrawn\r\n" in refresh(context)[key].text
    turn(context, later + 13)
    assert " · withdrawn\r\n" in refresh(context)[key].text
    turn(context, later + 15)
    assert key not in refresh(context)


@pytest.mark.long
def test_a_clock_change_is_a_record_once_and_makes_the_calendar_stale(context: Context, run: Run) -> None:
    """No date or instant moves; the change is recorded, a second one at that instant is a clash, the calendar is renewed."""
    _take(context)
    before = refresh(context)
    assert feed_refresh.stale_vessels(context, 900) == []
    number = history.head_of(context, PLOVER.vessel)[0]
    told = {"from_at": context.now(), "minutes": -300, "reason": "crossing to the west"}
    assert fleet.change_clock(context, _hand(), PLOVER.vessel, **told).body["record"] == number + 1
    assert feed_refresh.stale_vessels(context, 900) == [PLOVER.vessel]
    with pytest.raises(Clash):
        fleet.change_clock(context, _hand(), PLOVER.vessel, **told)
    after = refresh(context)
    shown = {key: (row.starts_s, row.ends_s, row.uid) for key, row in before.items() if key != "plan-status"}
    assert {key: (row.starts_s, row.ends_s, row.uid) for key, row in after.items() if key != "plan-status"} == shown


@pytest.mark.long
def test_no_date_slips_day_by_day_in_silence_nor_by_the_watch(context: Context, run: Run) -> None:
    """Thirty days without a reading: no due nor early date moves later, and the watch's flag moves none at all."""
    last: dict[str, tuple] = {}
    flagged: list[int] = []
    for day in range(31):
        turn(context, day)
        dates = _dates(context)
        if rounds.watch_counters(context, lambda _: None):
            flagged.append(day)
            assert _dates(context) == dates
        for key in dates.keys() & last.keys():
            assert all(now <= then + timedelta(seconds=1) for now, then in zip(dates[key], last[key], strict=True))
        last = dates
    assert last
    assert flagged


def _dates(context: Context) -> dict[str, tuple]:
    return {
        job.job_id.key: (job.due_at, job.forecast.early_at)
        for job in _now(context).jobs
        if job.first and job.forecast is not None and job.due_running_seconds is not None
    }


@pytest.mark.long
def test_a_failing_tick_stops_no_other(context: Context, run: Run) -> None:
    """The pen breaks at every refresh; the nightly round still has its turn and the trouble names its tick."""

    def broken(vessel: str) -> None:
        raise RuntimeError("the pen broke")

    timers = Timers(context, broken)
    timers.start()
    try:
        for _ in range(400):
            if timers.trouble() and _nightly_done(context):
                break
            timers._scheduler._event.wait(0.02)
            timers._scheduler._event.clear()
        assert _nightly_done(context)
        assert timers.trouble()["keep up"].startswith("RuntimeError")
        assert "nightly round" not in timers.trouble()
        assert {job.id for job in timers._scheduler.get_jobs()} == {
            "keep up",
            "plans asked for",
            "nightly round",
            "nightly backup",
            "silent-counter watch",
            "limits watch",
            "record walk",
            "photo sweep",
            "pruning",
        }
    finally:
        timers.stop()


def _nightly_done(context: Context) -> bool:
    with context.db.read() as session:
        return session.exec(select(TaskRunRow).where(TaskRunRow.task == rounds.NIGHTLY)).first() is not None


@pytest.mark.long
def test_a_changed_document_makes_the_calendar_stale(context: Context, run: Run) -> None:
    """The next tick writes the calendar anew after a document was changed, and leaves it after the same one was put again."""
    refresh(context)
    document = vessel_document(run)
    put(context, document)
    assert feed_refresh.stale_vessels(context, 900) == []
    document["name"] = "Demo Plover II"
    put(context, document)
    assert feed_refresh.stale_vessels(context, 900) == [PLOVER.vessel]
    keep_up(context, lambda vessel: feed_refresh.renew(context, PEN_HERE, vessel))
    assert feed_refresh.stale_vessels(context, 900) == []
    body = feed_refresh.last_good(context, Scope(vessel_id=PLOVER.vessel))
    assert body is not None
    assert b"Demo Plover II" in body.body
