"""Due points, limits, the outlook and silence: at the instant, a second before, a second after."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from scheduler.domain.base.enums import JobState
from scheduler.domain.due.last_done import last_not_known, reckon_first
from scheduler.domain.vessel.document import Counter
from scheduler.domain.vessel.job_kinds import LastDone
from tests.unit.domain.plants import ALARM, AT, KNIVES, OVERHAUL, SET_UP_AT, VALVE, plant, steady_hours
from tests.unit.domain.test_due import DAY, MIDNIGHT, H, at_hours, done, jobs

S = timedelta(seconds=1)


def test_an_entry_of_its_own_counts_before_a_renewal_at_the_same_instant():
    """Its hours stand; a renewal later than it counts."""
    overhaul = LastDone(kind="overhaul", subject="u1", done_at=AT, running_hours=500.0)
    for earlier, seconds in ((0 * S, 400 * H), (S, 7 * H)):
        own = LastDone(kind="knives", subject="k1", done_at=AT - earlier, running_hours=400.0)
        found = reckon_first(plant(last_done=(own, overhaul)), at_hours(7 * H))
        assert found["knives", "k1"].running_seconds == seconds


def test_a_kind_with_either_interval_may_stand_as_not_known():
    """By hours alone, by the calendar alone; one with neither may not."""
    neither = replace(VALVE, code="look", interval_running_hours=None)
    kinds = plant(VALVE, ALARM, neither)
    assert {kind for kind, _ in last_not_known(kinds, {}, {}, AT)} == {"valve", "alarm"}


@pytest.mark.parametrize(("later", "shown"), [(0 * S, True), (-S, False), (S, True)])
def test_the_outlook_reaches_to_its_last_instant(later, shown):
    """54 days from 15 January are the midnight of 10 March, when the second turn is due; a second less do not."""
    last = done("alarm", "aft", datetime(2027, 1, 10, tzinfo=UTC))
    found = jobs(ALARM, at=datetime(2027, 1, 15, tzinfo=UTC) + later, done=last, horizon_days=54)
    assert ("alarm:aft:6" in found) is shown


@pytest.mark.parametrize(
    ("later", "state"), [(-S, JobState.POSTPONED), (0 * S, JobState.POSTPONED), (S, JobState.PAST_LIMIT)]
)
def test_at_its_postponed_limit_a_job_is_postponed_still(later, state):
    """A second later it is past it."""
    limit = MIDNIGHT + 5 * DAY
    last = done("alarm", "aft", MIDNIGHT - 50 * DAY)
    assert jobs(ALARM, done=last, at=limit + later, postponed={"alarm:aft:5": limit})["alarm:aft:5"].state is state


@pytest.mark.parametrize(
    ("name", "later", "state"),
    [
        ("window_opens_at", -S, JobState.AHEAD),
        ("window_opens_at", 0 * S, JobState.WINDOW_OPEN),
        ("due_at", -S, JobState.WINDOW_OPEN),
        ("due_at", 0 * S, JobState.PAST_DUE),
        ("limit_at", 0 * S, JobState.PAST_DUE),
        ("limit_at", S, JobState.PAST_LIMIT),
    ],
)
@pytest.mark.parametrize("by", ["calendar", "a silent counter"])
def test_the_state_changes_at_its_instant(by, name, later, state):
    """By the calendar, and while a counter is silent by the usual rate: window, due point, limit, to the second."""
    if by == "calendar":
        key, kinds = "alarm:aft:5", (replace(ALARM, tolerance_days=3),)
        told = {"done": done("alarm", "aft", MIDNIGHT - 20 * DAY)}
    else:
        key, kinds = "valve:vp1:5", (replace(VALVE, window_running_hours=100, tolerance_running_hours=50),)
        told = {"done": done("valve", "vp1", MIDNIGHT - 200 * DAY), "hours": steady_hours(1390 * H, MIDNIGHT - 3 * DAY)}
    instant = getattr(jobs(*kinds, **told)[key], name)
    found = jobs(*kinds, at=instant + later, **told)[key]
    assert getattr(found, name) == instant
    assert found.state is state


@pytest.mark.parametrize(("later", "month_day"), [(-S, (3, 31)), (0 * S, (3, 28)), (DAY, (4, 1))])
def test_a_turn_that_is_due_now_is_taken_as_done_now(later, month_day):
    """From 31 January on, due on 28 February: before that the next is on 31 March, from then on a month from now."""
    due_at = datetime(2027, 2, 28, tzinfo=UTC)
    last = done("alarm", "aft", datetime(2027, 1, 31, tzinfo=UTC))
    following = jobs(ALARM, at=due_at + later, done=last)["alarm:aft:6"].due_at + S
    assert (following.month, following.day) == month_day


@pytest.mark.parametrize(("hours", "silent"), [(36 * H, False), (36 * H + 1, True)])
def test_a_counter_may_be_quiet_for_all_the_hours_it_is_allowed(hours, silent):
    """A second more is silence."""
    read = steady_hours(1400 * H, MIDNIGHT - timedelta(seconds=hours))
    assert jobs(VALVE, hours=read, done=done("valve", "vp1", SET_UP_AT))["valve:vp1:5"].estimated is silent


def test_of_two_counters_the_one_that_is_called_silent_sooner_counts():
    """12 hours and 36: 30 hours are silence, in either order."""
    both = (Counter(id="c1", position="vp1", quiet_after_hours=12), Counter(id="c2", position="vp1"))
    read = steady_hours(1400 * H, MIDNIGHT - timedelta(hours=30))
    for counters in (both, both[::-1]):
        ship = plant(VALVE, counters=counters)
        assert jobs(plant=ship, hours=read, done=done("valve", "vp1", SET_UP_AT))["valve:vp1:5"].estimated


@pytest.mark.parametrize(("later", "missing"), [(0 * S, 0), (S, 100 * H)])
def test_hours_lost_as_the_interval_begins_are_not_of_it(later, missing):
    """A second later they may be."""
    done_at = MIDNIGHT - 300 * DAY
    losses = {"vp1": [(done_at + later, 100 * H)]}
    job = jobs(OVERHAUL, done=done("overhaul", "u1", done_at), run=5000, losses=losses)["overhaul:u1:5"]
    assert job.may_miss_seconds == missing


@pytest.mark.parametrize(("later", "missing"), [(-S, 0), (0 * S, 100 * H)])
def test_hours_lost_from_the_instant_a_pump_was_put_in_may_be_its_own(later, missing):
    """What its position lost before were those of another."""
    losses = {"vp1": [(SET_UP_AT + later, 100 * H)]}
    last = done("overhaul", "u1", SET_UP_AT - 9 * DAY)
    assert jobs(OVERHAUL, done=last, run=5000, losses=losses)["overhaul:u1:5"].may_miss_seconds == missing


def test_the_earlier_of_hours_and_calendar_sets_window_and_limit_too():
    """By the calendar alone first, then with hours that come sooner."""
    kind = replace(KNIVES, window_days=5, tolerance_days=10, tolerance_running_hours=50)
    last = done("knives", "k1", MIDNIGHT - 170 * DAY, 0)
    late = jobs(kind, run=100, done=last)["knives:k1:5"]
    assert late.calendar_due_at is not None
    assert late.window_opens_at == late.calendar_due_at - 5 * DAY
    assert late.limit_at == late.calendar_due_at + 10 * DAY
    soon = jobs(kind, run=1490, done=last)["knives:k1:5"]
    assert soon.limit_at is not None
    assert soon.window_opens_at < soon.due_at < soon.limit_at < late.limit_at
