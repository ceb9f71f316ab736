"""Laws of published dates: they stand until a reader would act, and are never far from what is reckoned."""

from datetime import UTC, datetime, timedelta
from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from scheduler.domain.due.published import AHEAD_DAYS_MOVED, SHARE_MOVED, Dates, MoveReason, moved_enough, why_moved

AT = datetime(2027, 3, 1, 8, 15, tzinfo=UTC)
DAY = timedelta(days=1)
WINDOWS = st.integers(7, 200).map(lambda days: days * DAY)
SPANS = st.floats(0, 90)


def dates(on_day: float, likely_day: float, before: float = 20, after: float = 30) -> Dates:
    """Reckoned so many days after `AT`, likely on such a day after it."""
    likely_at = AT + likely_day * DAY
    return Dates(
        early_at=likely_at - before * DAY, likely_at=likely_at, late_at=likely_at + after * DAY, as_of=AT + on_day * DAY
    )


RECKONED = st.builds(dates, st.floats(0, 400), st.floats(-100, 900), SPANS, SPANS)


def walk(reckonings: list[Dates], window: timedelta) -> list[tuple[Dates, MoveReason | None]]:
    """What stands published after each reckoning, in order of time, and why it moved."""
    published: Dates | None = None
    found = []
    for reckoned in sorted(reckonings, key=lambda d: d.as_of):
        why = why_moved(published, reckoned, window)
        published = reckoned if why or published is None else published
        found.append((published, why))
    return found


@given(st.lists(RECKONED, min_size=1, max_size=30), WINDOWS)
def test_what_is_published_is_never_far_from_what_is_reckoned(reckonings, window):
    """After every step they differ by less than a week or 15 % of the time to go."""
    in_order = sorted(reckonings, key=lambda d: d.as_of)
    for reckoned, (published, _) in zip(in_order, walk(reckonings, window), strict=True):
        bound = max(AHEAD_DAYS_MOVED * DAY, SHARE_MOVED * max(published.likely_at - reckoned.as_of, timedelta(0)))
        assert abs(published.likely_at - reckoned.likely_at) < bound or published == reckoned


@given(RECKONED, RECKONED, WINDOWS)
def test_a_move_settles_it(first, second, window):
    """Asked again with the same reckoning nothing moves, so a date is never published twice for one reason."""
    earlier, later = sorted((first, second), key=lambda d: d.as_of)
    published = later if why_moved(earlier, later, window) else earlier
    assert why_moved(published, later, window) is None


@given(st.lists(RECKONED, min_size=1, max_size=30), WINDOWS)
def test_a_small_move_outside_the_window_is_not_published(reckonings, window):
    """Every move but the first has one of the three reasons, and that reason holds."""
    steps = walk(reckonings, window)
    assert steps[0][1] is MoveReason.FIRST
    for (was, _), (now, why) in pairwise(steps):
        match why:
            case MoveReason.MOVED:
                assert moved_enough(was.likely_at, now.likely_at, now.as_of)
            case MoveReason.IN_WINDOW:
                assert was.early_at > was.as_of + window
                assert now.early_at <= now.as_of + window
            case MoveReason.REACHED:
                assert now.likely_at <= now.as_of < was.likely_at
            case _:
                assert (now, why) == (was, None)


@given(st.floats(-0.12, 0.12), st.floats(60, 900), st.integers(1, 30))
def test_wobble_of_a_tenth_moves_nothing(wobble, likely_day, days):
    """A forecast that swings by less than 15 % of the time to go, far outside the window, stays where it is for a month."""
    swings = [dates(day, likely_day + wobble * (likely_day - day) * (-1) ** day) for day in range(1, days + 1)]
    moves = [why for _, why in walk([dates(0, likely_day), *swings], 7 * DAY) if why]
    assert moves[0] is MoveReason.FIRST
    assert all(why is not MoveReason.MOVED for why in moves[1:]) or likely_day < 100


def test_the_rule_by_hand():
    """100 days to go: 14 days stay, 15 move. 30 days to go: 6 stay, 7 move. Entering a 60-day window moves once."""
    far = dates(0, 200, before=40)
    assert why_moved(far, dates(100, 214, before=40), 20 * DAY) is None
    assert why_moved(far, dates(100, 215, before=40), 20 * DAY) is MoveReason.MOVED
    assert why_moved(far, dates(100, 185, before=40), 20 * DAY) is MoveReason.MOVED
    near = dates(165, 200, before=1)
    assert why_moved(near, dates(170, 206, before=1), 20 * DAY) is None
    assert why_moved(near, dates(170, 193, before=1), 20 * DAY) is MoveReason.MOVED
    inside = dates(100, 201, before=41)
    assert why_moved(far, inside, 60 * DAY) is MoveReason.IN_WINDOW
    assert why_moved(inside, dates(101, 202, before=45), 60 * DAY) is None
    assert why_moved(near, dates(199, 199, before=0, after=0), 7 * DAY) is MoveReason.REACHED
    assert why_moved(None, far, 60 * DAY) is MoveReason.FIRST
