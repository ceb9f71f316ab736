"""When a published date moves: at the bounds of the rule, a second to either side."""

from datetime import timedelta

import pytest

from scheduler.domain.due.published import Dates, MoveReason, moved_enough, why_moved
from tests.unit.domain.plants import AT

S, DAY = timedelta(seconds=1), timedelta(days=1)
WINDOW = 30 * DAY


@pytest.mark.parametrize(
    ("to_go", "by", "moved"),
    [
        (40 * DAY, 7 * DAY - S, False),
        (40 * DAY, 7 * DAY, True),
        (40 * DAY, -7 * DAY, True),
        (100 * DAY, 15 * DAY - S, False),
        (100 * DAY, 15 * DAY, True),
        (-5 * DAY, 7 * DAY, True),
    ],
)
def test_a_week_or_fifteen_percent_whichever_is_more(to_go, by, moved):
    """Just as much is enough, in either direction."""
    assert moved_enough(AT + to_go, AT + to_go + by, AT) is moved


def _dates(early_at, likely_at, as_of=AT) -> Dates:
    return Dates(early_at=early_at, likely_at=likely_at, late_at=likely_at + 30 * DAY, as_of=as_of)


@pytest.mark.parametrize(("ago", "why"), [(S, MoveReason.REACHED), (0 * S, MoveReason.REACHED), (-S, None)])
def test_hours_reached_by_now_are_reached(ago, why):
    """At this second too."""
    was = _dates(AT - DAY, AT + DAY)
    assert why_moved(was, _dates(AT - DAY, AT - ago), WINDOW) is why


@pytest.mark.parametrize(("later", "why"), [(-S, MoveReason.IN_WINDOW), (0 * S, MoveReason.IN_WINDOW), (S, None)])
def test_an_early_date_at_the_edge_of_the_planning_window_is_inside(later, why):
    """It came from outside."""
    was = _dates(AT + WINDOW + DAY, AT + 60 * DAY)
    assert why_moved(was, _dates(AT + WINDOW + later, AT + 60 * DAY), WINDOW) is why


def test_an_early_date_that_was_at_the_edge_does_not_enter_again():
    """Published inside the window, it stands."""
    was = _dates(AT + WINDOW, AT + 60 * DAY)
    assert why_moved(was, _dates(AT + WINDOW - DAY, AT + 60 * DAY), WINDOW) is None
