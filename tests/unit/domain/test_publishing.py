"""Published dates: when they give way to those reckoned now, why, and what never hides."""

from dataclasses import replace
from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.domain.base.enums import PAST, JobState, Trigger
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.due.publishing import Cause, Published, as_published, dates_moved
from tests.calendar_cases import AT, DAY, alarm_job, knife_job, posted


def after(job: DueJob, later: DueJob, days: float = 0, **changes: float) -> tuple[Published, Cause | None]:
    """`job` published, then `later` some days on: what is published then, and why it moved."""
    found = posted(later, posted(job).new, at=AT + days * DAY, **changes)  # type: ignore[arg-type]
    return found.new, found.cause


@pytest.mark.parametrize(
    ("due_in_days", "days", "moves"), [(40, 6, False), (40, 7, True), (100, 14, False), (100, 15, True), (40, -7, True)]
)
def test_a_forecast_date_moves_by_seven_days_or_fifteen_percent(due_in_days: int, days: int, moves: bool) -> None:
    """Whichever is more; the cause says in which direction."""
    new, cause = after(knife_job(due_in_days=due_in_days), knife_job(due_in_days=due_in_days + days))
    assert (new.due_at == AT + (due_in_days + days) * DAY) is moves
    assert cause == ((Cause.FASTER if days < 0 else Cause.SLOWER) if moves else None)


def test_the_early_date_entering_the_planning_window_brings_it_up_to_date() -> None:
    """Once, from outside to inside."""
    far = posted(knife_job(due_in_days=40), planning_window=30 * DAY)
    near = posted(knife_job(due_in_days=38), far.new, at=AT + 5 * DAY, planning_window=30 * DAY)
    assert near.new.due_at == AT + 38 * DAY
    again = posted(knife_job(due_in_days=40), near.new, at=AT + 6 * DAY, planning_window=30 * DAY)
    assert again.new.due_at == AT + 38 * DAY


def test_with_the_window_open_a_date_a_day_earlier_shows() -> None:
    """A later one waits for a week."""
    job = knife_job(due_in_days=8, state=JobState.WINDOW_OPEN)
    assert after(job, knife_job(due_in_days=7, state=JobState.WINDOW_OPEN))[0].due_at == AT + 7 * DAY
    assert after(job, knife_job(due_in_days=12, state=JobState.WINDOW_OPEN))[0].due_at == AT + 8 * DAY


def test_an_early_date_that_comes_much_earlier_shows() -> None:
    """As when a counter is silent or hours may have been lost, though the likely date stands."""
    job = knife_job(due_in_days=60)
    assert job.forecast is not None
    lost = replace(job, forecast=replace(job.forecast, early_at=job.forecast.early_at - 9 * DAY))
    assert after(job, lost) == (posted(lost).new, Cause.MISSING)
    assert after(lost, job)[1] is None


def test_a_past_due_turn_stays_on_the_day_it_fell_due() -> None:
    """The likely date of hours already run may move; what is published does not, and never lies ahead of now."""
    job = knife_job(due_in_days=1, state=JobState.WINDOW_OPEN)
    past = knife_job(due_in_days=3, state=JobState.PAST_DUE)
    assert after(job, past, 3)[0].due_at == AT + DAY
    late = knife_job(due_in_days=9, state=JobState.PAST_LIMIT)
    assert after(job, late, 20)[0].due_at == AT + DAY
    early = after(
        knife_job(due_in_days=5, state=JobState.WINDOW_OPEN), knife_job(due_in_days=1, state=JobState.PAST_DUE), 1
    )
    assert early[0].due_at == AT + DAY


def test_a_date_that_goes_by_before_the_turn_is_due_is_shown_anew() -> None:
    """No job that is not past due stands on a day gone by."""
    job = knife_job(due_in_days=2, state=JobState.WINDOW_OPEN)
    new, cause = after(job, knife_job(due_in_days=6, state=JobState.WINDOW_OPEN), 3)
    assert (new.due_at, cause) == (AT + 6 * DAY, Cause.SLOWER)


def test_a_calendar_point_is_shown_to_the_day() -> None:
    """It is no forecast; nor is there grace when the trigger turns from hours to calendar."""
    assert after(alarm_job(), alarm_job(due_at=AT + 13 * DAY))[0].due_at == AT + 13 * DAY
    job = replace(knife_job(), calendar_due_at=AT + 43 * DAY)
    turned = replace(job, due_at=AT + 43 * DAY, trigger=Trigger.CALENDAR)
    assert as_published(turned, after(job, turned)[0]) == turned


@pytest.mark.parametrize(
    ("changes", "cause"),
    [
        ({"document": 2}, Cause.DOCUMENT),
        ({"daybook": 1}, Cause.CALENDAR),
        ({"events": 1, "corrected_hours": 20}, Cause.EVENT),
        ({"events": 2, "replacements": 1, "corrected_hours": -20}, Cause.REPLACED),
    ],
)
def test_an_act_shows_a_difference_of_a_day(changes: dict[str, float], cause: Cause) -> None:
    """Two days would wait for a forecast; less than a day is no difference, and what was acted on does not count again."""
    assert after(knife_job(), knife_job(due_in_days=42), **changes) == (
        replace(
            posted(knife_job(due_in_days=42), None, **{k: v for k, v in changes.items() if k != "corrected_hours"}).new
        ),
        cause,
    )
    slight = posted(knife_job(due_in_days=40.5), posted(knife_job()).new, **changes)  # type: ignore[arg-type]
    assert (slight.new.due_at, slight.cause) == (AT + 40 * DAY, None)
    again = posted(knife_job(due_in_days=42), slight.new, **changes)  # type: ignore[arg-type]
    assert again.cause is None


def test_an_event_that_corrects_nothing_here_moves_nothing() -> None:
    """An event of another pump's counter does not re-date this pump's jobs."""
    assert after(knife_job(), knife_job(due_in_days=42), events=1) == (
        replace(posted(knife_job()).new, basis=replace(posted(knife_job()).new.basis, events=1)),
        None,
    )


def test_work_done_and_figures_show_at_once() -> None:
    """The next turn becomes the open one; a due figure or a limit changes; a postponement."""
    outlook = knife_job(sequence=5, due_in_days=140, first=False)
    new, cause = after(outlook, knife_job(sequence=5, due_in_days=141))
    assert (new.due_at, new.first, cause) == (AT + 141 * DAY, True, Cause.WORK_DONE)
    back = after(knife_job(sequence=5, due_in_days=141), outlook)
    assert back[1] is Cause.WORK_UNDONE
    put_off = replace(knife_job(), postponed_to=AT + 70 * DAY, limit_at=AT + 70 * DAY, state=JobState.POSTPONED)
    new, cause = after(knife_job(), put_off)
    assert (new.limit_at, cause) == (AT + 70 * DAY, Cause.POSTPONED)


def test_late_readings_are_named_when_they_explain_the_move() -> None:
    """Half of it or more; the rule is the same as for any forecast."""
    assert after(knife_job(), knife_job(due_in_days=30), corrected_hours=100)[1] is Cause.LATE
    assert after(knife_job(), knife_job(due_in_days=30), corrected_hours=10)[1] is Cause.FASTER
    assert after(knife_job(), knife_job(due_in_days=38), corrected_hours=20)[1] is None


def test_first_readings_are_named() -> None:
    """What was published before anything was read moves by them, whichever way."""
    unread = replace(knife_job(), hours_as_of=None)
    assert after(unread, knife_job(due_in_days=90))[1] is Cause.FIRST_READINGS


def test_window_and_limit_stand_where_the_state_says() -> None:
    """A window that is open did not open tomorrow; a limit that is not passed is not yesterday."""
    job = knife_job(due_in_days=14)
    opened = replace(knife_job(due_in_days=12, state=JobState.WINDOW_OPEN), window_opens_at=AT + 2 * DAY)
    assert after(job, opened, 2)[0].window_opens_at == AT + 2 * DAY
    past = replace(knife_job(due_in_days=1, state=JobState.PAST_DUE), limit_at=AT + 12 * DAY)
    assert after(knife_job(due_in_days=1), past, 8)[0].limit_at == AT + 12 * DAY


def test_published_dates_survive_being_kept_as_text() -> None:
    """What was kept is the very value again."""
    for job in (knife_job(), alarm_job()):
        new = posted(job).new
        assert Published.read(new.text()) == new


STATES = st.sampled_from([JobState.AHEAD, JobState.WINDOW_OPEN, JobState.PAST_DUE, JobState.PAST_LIMIT])


@st.composite
def jobs(draw: st.DrawFn, at_days: float) -> DueJob:
    """A knife inspection as a day may find it, its dates on the side of now where its state says."""
    state = draw(STATES)
    due = draw(st.floats(-30, -0.01) if state in PAST else st.floats(0.01, 200)) + at_days
    return knife_job(due_in_days=due, state=state, ran_hours=draw(st.integers(0, 1500)))


@given(st.data(), st.lists(st.floats(0.1, 5), min_size=1, max_size=8))
def test_nothing_dangerous_is_hidden_and_nothing_moves_twice(data: st.DataObject, steps: list[float]) -> None:
    """Published is never far from reckoned: later by at most 7 days or 15 %, by less than a day once the window is open;
    no open date lies behind, no past one ahead; publishing the same again is the same."""
    days, kept = 0.0, None
    for step in steps:
        days += step
        job, at = data.draw(jobs(days)), AT + days * DAY
        found = posted(job, kept, at=at)
        kept = found.new
        again = posted(job, kept, at=at)
        assert (again.new, again.cause) == (kept, None)
        view = as_published(job, kept)
        assert view.state is job.state
        if job.state in PAST:
            assert view.due_at <= at
        else:
            assert view.due_at > at
            late = view.due_at - job.due_at
            assert late < max(timedelta(days=7), (view.due_at - at) * 0.15)
            assert job.state is not JobState.WINDOW_OPEN or late < DAY
        assert found.old is None or found.cause is not None or not dates_moved(found, 0)


def by_calendar(hours_in_days: float, **changes: object) -> DueJob:
    """Due by the calendar in 40 days; its hours would run out later."""
    job = knife_job(due_in_days=hours_in_days)
    due_at = AT + 40 * DAY
    told = {"due_at": due_at, "calendar_due_at": due_at, "trigger": Trigger.CALENDAR, **changes}
    return replace(job, **told)  # type: ignore[arg-type]


@pytest.mark.parametrize(("days", "moves"), [(14, False), (15, True), (-14, False), (-15, True), (200, True)])
def test_the_hours_of_a_turn_due_by_the_calendar_move_by_the_same_measure(days: float, moves: bool) -> None:
    """Seven days or 15 % of the time to go; the due point stays; the cause is the running."""
    new, cause = after(by_calendar(100), by_calendar(100 + days))
    assert new.due_at == AT + 40 * DAY
    assert (new.likely_at == AT + (100 + days) * DAY) is moves
    assert cause == ((Cause.FASTER if days < 0 else Cause.SLOWER) if moves else None)


@pytest.mark.parametrize(("days_on", "anew"), [(95.9, False), (96, True)])
def test_an_early_date_of_the_hours_that_goes_by_is_shown_anew(days_on: float, anew: bool) -> None:
    """Four days before the likely date, on the instant; also once the calendar's point is past."""
    new, _ = after(by_calendar(100), by_calendar(105, state=JobState.PAST_DUE), days_on)
    assert new.early_at == AT + (101 if anew else 96) * DAY
    assert new.due_at == AT + 40 * DAY


def test_what_is_shown_of_such_a_turn_is_one_reckoning() -> None:
    """Rate, hours left and dates are of the same day once the dates have moved."""
    later = by_calendar(300)
    assert as_published(later, after(by_calendar(100), later)[0]) == later


@pytest.mark.parametrize(("days", "moves"), [(40.99, False), (41, True), (39.01, False), (39, True)])
def test_an_act_shows_a_difference_of_just_a_day(days: float, moves: bool) -> None:
    """In either direction; less is no difference."""
    new, cause = after(knife_job(), knife_job(due_in_days=days), document=2)
    assert (new.due_at == AT + days * DAY) is moves
    assert cause is (Cause.DOCUMENT if moves else None)


@pytest.mark.parametrize(("hours", "cause"), [(5.25, Cause.EVENT), (5.24, None), (-5.25, Cause.EVENT)])
def test_an_event_that_corrects_half_a_day_of_running_is_told(hours: float, cause: Cause | None) -> None:
    """10.5 hours a day."""
    assert after(knife_job(), knife_job(due_in_days=42), events=1, corrected_hours=hours)[1] is cause


@pytest.mark.parametrize(("hours", "cause"), [(52.5, Cause.LATE), (52.4, Cause.FASTER)])
def test_readings_that_came_late_are_named_when_they_make_up_for_just_half(hours: float, cause: Cause) -> None:
    """Of ten days five, at 10.5 hours a day."""
    assert after(knife_job(), knife_job(due_in_days=30), corrected_hours=hours)[1] is cause


@pytest.mark.parametrize(("days", "anew"), [(1.99, False), (2, True)])
def test_a_date_that_is_now_and_not_due_is_shown_anew(days: float, anew: bool) -> None:
    """A moment before it stands."""
    job = knife_job(due_in_days=2, state=JobState.WINDOW_OPEN)
    new, _ = after(job, knife_job(due_in_days=2.4, state=JobState.WINDOW_OPEN), days)
    assert new.due_at == AT + (2.4 if anew else 2) * DAY


@pytest.mark.parametrize(("days", "stays"), [(3, True), (2.9, False)])
def test_the_day_a_turn_fell_due_is_a_fact_also_when_it_is_now(days: float, stays: bool) -> None:
    """It only may not lie ahead of now."""
    new, _ = after(knife_job(due_in_days=3), knife_job(due_in_days=2.5, state=JobState.PAST_DUE), days)
    assert new.due_at == AT + (3 if stays else 2.5) * DAY


@pytest.mark.parametrize("name", ["early_at", "likely_at"])
@pytest.mark.parametrize(("days", "shows"), [(0.99, False), (1, True)])
def test_with_the_window_open_either_date_just_a_day_earlier_shows(name: str, days: float, shows: bool) -> None:
    """The early one by itself, the likely one by itself."""
    job = knife_job(due_in_days=8, state=JobState.WINDOW_OPEN)
    assert job.forecast is not None
    earlier = getattr(job.forecast, name) - days * DAY
    later = replace(job, forecast=replace(job.forecast, **{name: earlier}))
    if name == "likely_at":
        later = replace(later, due_at=earlier)
    new, _ = after(job, later)
    assert (getattr(new, name) == earlier) is shows


@pytest.mark.parametrize(("days", "stands"), [(4, True), (3.9, False)])
def test_a_window_that_opens_now_is_open(days: float, stands: bool) -> None:
    """Shown for the fourth day, it stands from its instant on; before that it is the one reckoned."""
    opened = replace(knife_job(due_in_days=14, state=JobState.WINDOW_OPEN), window_opens_at=AT + 3.5 * DAY)
    assert after(knife_job(due_in_days=14), opened, days)[0].window_opens_at == AT + (4 if stands else 3.5) * DAY


@pytest.mark.parametrize(("days", "stands"), [(6, False), (5.9, True)])
def test_a_limit_that_is_now_is_not_the_limit_of_a_job_that_is_not_past_it(days: float, stands: bool) -> None:
    """Shown for the sixth day, it stands until then."""
    past = replace(knife_job(due_in_days=1, state=JobState.PAST_DUE), limit_at=AT + 8 * DAY)
    assert after(knife_job(due_in_days=1), past, days)[0].limit_at == AT + (6 if stands else 8) * DAY


def test_a_turn_at_the_end_of_the_outlook_is_shown_with_it() -> None:
    """By its published date; the open turn is shown however far off."""
    later = posted(knife_job(due_in_days=40, first=False))
    assert later.stays_within(AT + 40 * DAY)
    assert not later.stays_within(AT + 40 * DAY - timedelta(seconds=1))
    assert posted(knife_job(due_in_days=40)).stays_within(AT)
