"""Laws of due dates: intervals, forecasts, due points, the outlook."""

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import accumulate, groupby, pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.domain.base.enums import JobState, Subject
from scheduler.domain.due.forecast import forecast
from scheduler.domain.due.intervals import add_months
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.due.last_done import Done, JobId
from scheduler.domain.hours.running import RunningHours
from scheduler.domain.vessel.job_kinds import JobKind
from scheduler.domain.voyage.days import WEIGHTS, Axis, Calendar, Stretch
from tests.unit.domain.plants import ALARM, KNIVES, OVERHAUL, VALVE, due_jobs, plant

AT = datetime(2027, 3, 1, 8, 15, tzinfo=UTC)
INSTANTS = st.datetimes(datetime(1990, 1, 1), datetime(2100, 1, 1), timezones=st.just(UTC))  # noqa: DTZ001
DAYS = st.lists(st.integers(0, 86_400), max_size=40).flatmap(
    lambda week: st.integers(0, 12).map(lambda times: week * times)
)
PLANTS = st.lists(DAYS, min_size=1, max_size=4)


@st.composite
def calendars(draw: Callable[..., Any]) -> Calendar:
    """Stretches one after the other, some days left out, from two years back to a year ahead."""
    on, stretches = AT.date() - timedelta(days=draw(st.integers(0, 700))), []
    for kind in draw(st.lists(st.sampled_from(sorted(WEIGHTS)), max_size=12)):
        end = on + timedelta(days=draw(st.integers(0, 150)))
        stretches.append(Stretch(from_on=on, to_on=end, kind=kind))
        on = end + timedelta(days=draw(st.sampled_from([1, 1, 1, 15])))
    return Calendar(stretches=tuple(stretches))


CALENDARS = st.none() | calendars()


@given(INSTANTS, st.integers(-600, 600))
def test_month_steps_never_land_in_the_wrong_month(start, months):
    """The month is exactly so many further, the day the same or the last of a shorter month, the time the same."""
    there = add_months(start, months)
    assert there.year * 12 + there.month == start.year * 12 + start.month + months
    assert there.time() == start.time()
    assert there.day == start.day or (there.day < start.day and (there + timedelta(days=1)).day == 1)


@given(INSTANTS, st.integers(0, 300), st.integers(0, 300))
def test_more_months_are_never_earlier(start, one, other):
    """Month steps keep the order of steps, and of the dates they start from."""
    assert (add_months(start, one) <= add_months(start, other)) == (one <= other)
    assert add_months(start, one).date() <= add_months(start + timedelta(hours=other), one).date()


def forecast_of(
    pumps: list[list[int]],
    left: int,
    quiet: timedelta = timedelta(0),
    at: datetime = AT,
    calendar: Calendar | None = None,
) -> Any:
    return forecast(
        at=at,
        hours_left_seconds=left,
        own_daily_seconds=pumps[0],
        sister_daily_seconds=pumps[1:],
        as_of=at - quiet,
        calendar=calendar,
    )


@given(PLANTS, st.integers(-(10**8), 10**8), st.integers(0, 400), CALENDARS)
def test_early_likely_late_stand_in_that_order(pumps, left, quiet_days, calendar):
    """Whatever the history, the silence and the calendar; and what is passed is not in the future."""
    found = forecast_of(pumps, left, timedelta(days=quiet_days), calendar=calendar)
    assert found.early_at <= found.likely_at <= found.late_at
    assert left > 0 or found.late_at <= AT


@given(PLANTS, st.integers(-(10**8), 10**8), st.integers(0, 10**8), st.integers(0, 400), CALENDARS)
def test_fewer_hours_left_are_never_reached_later(pumps, left, less, quiet_days, calendar):
    """All three dates follow the hours left."""
    quiet = timedelta(days=quiet_days)
    more = forecast_of(pumps, left, quiet, calendar=calendar)
    fewer = forecast_of(pumps, left - less, quiet, calendar=calendar)
    assert fewer.early_at <= more.early_at
    assert fewer.likely_at <= more.likely_at
    assert fewer.late_at <= more.late_at


@given(PLANTS, st.integers(1, 10**8), st.lists(st.integers(0, 60), min_size=1, max_size=3), CALENDARS, st.data())
def test_a_silent_counter_never_lets_a_date_slip(pumps, left, waits, calendar, data):
    """However long without a reading, early and likely are never later than when it fell silent, whatever the sisters do."""
    fresh = forecast_of(pumps, left, calendar=calendar)
    quiet = 0
    for wait in waits:
        quiet += wait
        said = st.integers(0, 86_400).map(lambda seconds, n=wait: [seconds] * n)
        pumps = [days + data.draw(said) for days in pumps]
        now = forecast_of(pumps, left, timedelta(days=quiet), AT + timedelta(days=quiet), calendar)
        assert now.early_at <= fresh.early_at
        assert now.likely_at <= fresh.likely_at


@given(
    st.lists(st.floats(0.02, 3), max_size=30), st.floats(0.02, 3), st.floats(0, 100), st.floats(0, 90), st.floats(0, 90)
)
def test_operating_days_turned_into_days_and_back_agree(worths, usual, begun, gone, more):
    """On the axis and off it again is the same number, and more operating days take longer."""
    axis = Axis(AT.date(), tuple(accumulate(worths, initial=0.0)), usual)
    start_at = AT.replace(hour=0, minute=0) + timedelta(days=begun)
    days = axis.days_from(start_at, gone)
    assert axis.at(start_at + timedelta(days=days)) - axis.at(start_at) == pytest.approx(gone, abs=1e-6)
    assert axis.days_from(start_at, gone + more) >= days


KIND_CHANGES = st.fixed_dictionaries(
    {
        "window_running_hours": st.integers(0, 300),
        "window_days": st.integers(0, 20),
        "tolerance_running_hours": st.integers(0, 300),
        "tolerance_days": st.integers(0, 30),
    }
)


@st.composite
def kinds(draw: Callable[..., Any]) -> JobKind:
    """A job kind of any subject with one interval or two."""
    base = draw(st.sampled_from([OVERHAUL, KNIVES, VALVE, ALARM]))
    hours = None if base.subject is Subject.PLANT else draw(st.none() | st.integers(50, 9000))
    months = draw(st.integers(1, 30)) if hours is None else draw(st.none() | st.integers(1, 30))
    return replace(
        base,
        interval_running_hours=hours,
        interval_months=months,
        interval_days=draw(st.none() | st.integers(7, 400)),
        renews=(),
        **draw(KIND_CHANGES),
    )


@st.composite
def cases(draw: Callable[..., Any], *some: JobKind) -> dict[str, Any]:
    """Arguments of due_jobs: hours, history, last done, silence."""
    chosen = some or (draw(kinds()),)
    silence = draw(st.none() | st.integers(0, 400))
    as_of = None if silence is None else AT - timedelta(hours=silence)
    run = draw(st.integers(0, 2 * 10**7))
    done = {}
    for kind in chosen:
        for subject in {"pump": ["u1"], "part": ["k1", "k2"], "position": ["vp1"], "plant": ["aft"]}[kind.subject]:
            if draw(st.booleans()):
                done[kind.code, subject] = Done(
                    job_id=JobId(kind=kind.code, subject=subject, sequence=draw(st.integers(0, 30))),
                    done_at=AT - timedelta(hours=draw(st.integers(0, 20_000))),
                    running_seconds=draw(st.integers(0, run)),
                )
    days = draw(st.lists(st.integers(0, 86_400), max_size=30))
    return {
        "plant": plant(*chosen),
        "done": done,
        "hours": lambda subject, subject_id: RunningHours(seconds=run, as_of=as_of),
        "daily": {"u1": days * 6, "u2": days, "u3": days[:5]},
        "at": AT,
        "horizon_days": draw(st.integers(0, 200)),
    }


@given(cases())
def test_due_at_the_earlier_of_both_triggers_inside_window_and_limit(case):
    """The due point is the earlier of calendar and likely date; the window opens no later, the limit is no earlier."""
    for job in due_jobs(**case):
        if job.state is JobState.NOT_KNOWN:
            assert (job.due_at, job.limit_at, job.calendar_due_at, job.forecast) == (AT, None, None, None)
            continue
        points = [job.calendar_due_at, job.forecast and job.forecast.likely_at]
        assert job.due_at == min(point for point in points if point)
        assert job.window_opens_at <= job.due_at <= job.limit_at


@given(cases())
def test_what_is_called_past_due_was_due_in_the_past(case):
    """A state and its dates never contradict each other."""
    for job in due_jobs(**case):
        if job.state in (JobState.PAST_DUE, JobState.PAST_LIMIT):
            assert job.first
            assert job.due_at <= AT
        if job.state is JobState.AHEAD and job.first:
            assert job.window_opens_at > AT


@given(cases(), st.integers(0, 10**7))
def test_more_running_hours_never_make_a_job_due_later(case, more):
    """With the same history and more on the counter, every open turn is due as early or earlier."""
    hours = case["hours"]

    def further(subject: Subject, subject_id: str) -> RunningHours:
        now = hours(subject, subject_id)
        return replace(now, seconds=now.seconds + more)

    before = {job.job_id: job for job in due_jobs(**case) if job.first}
    after = {job.job_id: job for job in due_jobs(**case | {"hours": further}) if job.first}
    assert before.keys() == after.keys()
    for job_id, job in after.items():
        assert job.due_at <= before[job_id].due_at
        assert (job.limit_at or AT) <= (before[job_id].limit_at or AT)
        assert job.window_opens_at <= before[job_id].window_opens_at


@given(cases(), st.lists(st.tuples(st.integers(0, 900), st.integers(60, 10**7)), max_size=4))
def test_hours_that_may_be_missing_only_bring_early_dates_forward(case, losses):
    """Likely, late, due points and limits stay; early is never later, and a turn they touch is estimated."""
    told = {"vp1": [(AT - timedelta(days=days), seconds) for days, seconds in losses]}
    for was, now in zip(due_jobs(**case), due_jobs(**case, losses=told), strict=True):
        assert (now.due_at, now.limit_at, now.window_opens_at, now.state) == (
            was.due_at, was.limit_at, was.window_opens_at, was.state,
        )  # fmt: skip
        if was.forecast and now.forecast:
            assert now.forecast.early_at <= was.forecast.early_at
            assert (now.forecast.likely_at, now.forecast.late_at) == (was.forecast.likely_at, was.forecast.late_at)
        assert now.estimated == (was.estimated or now.may_miss_seconds > 0)


@given(cases(), st.integers(-100, 400), st.data())
def test_postponing_never_changes_the_due_point(case, days, data):
    """Only limit, state and the postponement itself differ, and only on that turn."""
    before = due_jobs(**case)
    limited = [job for job in before if job.limit_at is not None]
    if not limited:
        return
    job = data.draw(st.sampled_from(limited))
    limit_at = AT + timedelta(days=days)
    after = due_jobs(**case, postponed={job.job_id.key: limit_at})
    plain: list[DueJob] = []
    for was, now in zip(before, after, strict=True):
        plain.append(replace(now, limit_at=was.limit_at, state=was.state, postponed_to=None))
        assert (now.limit_at == limit_at) if was is job else (now == was)
    assert tuple(plain) == before


@given(cases(OVERHAUL, KNIVES, VALVE, ALARM))
def test_sequences_have_no_gaps_and_follow_what_was_done(case):
    """Each chain starts one after the last done and goes on by ones, its due points in order."""
    found = sorted(due_jobs(**case), key=lambda job: job.job_id)
    for (kind, subject), chain in groupby(found, key=lambda job: (job.job_id.kind, job.job_id.subject)):
        turns = list(chain)
        last = case["done"].get((kind, subject))
        start = last.job_id.sequence + 1 if last else 1
        assert [turn.job_id.sequence for turn in turns] == list(range(start, start + len(turns)))
        assert [turn.first for turn in turns] == [True] + [False] * (len(turns) - 1)
        assert all(a.due_at <= b.due_at for a, b in pairwise(turns))


@given(cases(OVERHAUL, KNIVES, VALVE, ALARM), st.randoms(use_true_random=False))
def test_the_order_of_the_document_changes_nothing(case, random):
    """Pumps, parts, positions, stays and job kinds in any order give the same jobs."""

    def shuffled(items: tuple[Any, ...]) -> tuple[Any, ...]:
        return tuple(random.sample(items, len(items)))

    members = ("pumps", "parts", "positions", "stays", "fittings", "counters", "job_kinds")
    other = replace(case["plant"], **{member: shuffled(getattr(case["plant"], member)) for member in members})
    assert due_jobs(**case | {"plant": other}) == due_jobs(**case)


@given(cases(OVERHAUL, KNIVES, VALVE, ALARM))
def test_a_longer_horizon_only_adds(case):
    """What is listed within a short horizon is listed the same within a longer one."""
    short = due_jobs(**case)
    long = due_jobs(**case | {"horizon_days": case["horizon_days"] + 60})
    assert set(short) <= set(long)
