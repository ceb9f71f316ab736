"""What a calendar shows, and what is left out first when it does not fit: at the bounds."""

import pytest

from scheduler.domain.base.enums import JobState
from scheduler.domain.feed.scope import OUT, Piece, Scope, fitting, urgency

DAY = 86_400
WEEK = Scope(vessel_id="demo-plover", days_ahead=7)


@pytest.mark.parametrize(
    ("state", "starts_s", "shows"),
    [
        (JobState.AHEAD, 7 * DAY - 1, True),
        (JobState.AHEAD, 7 * DAY, False),
        (JobState.PAST_DUE, 0, True),
        (JobState.PAST_LIMIT, 8 * DAY, True),
        (JobState.NOT_KNOWN, 8 * DAY, True),
        (JobState.DONE, 0, False),
        (JobState.WITHDRAWN, 8 * DAY, False),
    ],
)
def test_a_week_shows_the_open_jobs_of_its_days_and_what_is_late(state, starts_s, shows):
    """The eighth day is none of them; nothing closed is."""
    assert WEEK.shows(state.value, starts_s, 0) is shows
    assert Scope(vessel_id=None).shows(state.value, starts_s, 0)


@pytest.mark.parametrize(
    ("kinds", "tasks", "takes"), [(None, False, True), (None, True, False), (("a",), False, False)]
)
def test_a_pump_that_is_out_is_of_no_kind_and_no_task(kinds, tasks, takes):
    """It stands in the calendar of all kinds."""
    assert Scope(vessel_id=None, kinds=kinds, tasks=tasks).takes(f"{OUT}u1") is takes


def _piece(key: str, state: JobState = JobState.AHEAD, starts_s: float = 0, text: str = "four") -> Piece:
    return Piece(state=state.value, starts_s=starts_s, key=key, text=text)


@pytest.mark.parametrize(("most", "left_out"), [(2, 1), (3, 0), (4, 0)])
def test_as_many_events_stand_in_it_as_may(most, left_out):
    """And one more does not."""
    kept, out = fitting([_piece("a"), _piece("b"), _piece("c")], most=most)
    assert (len(kept), out) == (3 - left_out, left_out)


@pytest.mark.parametrize(("octets", "left_out"), [(11, 1), (12, 0)])
def test_all_of_its_octets_may_be_taken(octets, left_out):
    """Three texts of four."""
    assert fitting([_piece("a"), _piece("b"), _piece("c")], octets=octets)[1] == left_out


def test_what_matters_least_now_is_left_out_first():
    """What is late stays longest, then what is near; of what is over the newest."""
    late, near, far = _piece("late", JobState.PAST_DUE, 9), _piece("near", starts_s=10), _piece("far", starts_s=20)
    newest, oldest = _piece("newest", JobState.DONE, 8), _piece("oldest", JobState.DONE, 1)
    every = [oldest, far, newest, near, late]
    assert sorted(every, key=lambda one: urgency(one.state, one.starts_s, one.key)) == [late, near, far, newest, oldest]
    assert fitting(every, most=4)[0] == (newest, late, near, far)
