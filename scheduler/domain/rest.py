"""Hours of rest as a warning from what is on record, never a certificate: other work of the day is not known here.

Source: STCW Code, section A-VIII/1, as amended 2010: 10 hours of rest in any 24-hour period, 77 in any 7-day period, in no
more than two periods a day of which one is at least 6 hours, and no more than 14 hours from one to the next.
"""

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from itertools import pairwise

DAY, WEEK = timedelta(hours=24), timedelta(days=7)
LEAST_A_DAY, LEAST_A_WEEK = timedelta(hours=10), timedelta(hours=77)
LONGEST_AT_LEAST, MOST_BETWEEN = timedelta(hours=6), timedelta(hours=14)

Period = tuple[datetime, datetime]


def rest_between(work: Iterable[Period], from_at: datetime, to_at: datetime) -> list[Period]:
    """What is left of a stretch of time when the work is taken out; work may overlap and come in any order."""
    left, at = [], from_at
    for begin, end in sorted(work):
        if begin > at:
            left.append((at, min(begin, to_at)))
        at = max(at, end)
        if at >= to_at:
            break
    if at < to_at:
        left.append((at, to_at))
    return [(begin, end) for begin, end in left if end > begin]


def rest_faults(rest: Sequence[Period], from_at: datetime, to_at: datetime) -> list[str]:
    """What of the rule does not hold in a stretch of time, in words; empty when all of it does.

    Args:
        rest: periods of rest, in order, apart from each other. from_at, to_at: the stretch that is known; windows that
            reach out of it are not judged.
    """
    faults = []
    least_day = _least(rest, DAY, from_at, to_at)
    if least_day is not None and least_day < LEAST_A_DAY:
        faults.append(f"{_hours(least_day)} h of rest in some 24 hours: 10 h are the least")
    least_week = _least(rest, WEEK, from_at, to_at)
    if least_week is not None and least_week < LEAST_A_WEEK:
        faults.append(f"{_hours(least_week)} h of rest in some 7 days: 77 h are the least")
    ends = [(from_at, from_at), *rest, (to_at, to_at)] if rest else [(from_at, from_at), (to_at, to_at)]
    between = max(after[0] - before[1] for before, after in pairwise(ends))
    if between > MOST_BETWEEN:
        faults.append(f"{_hours(between)} h from one rest to the next: 14 h are the most")
    if to_at - from_at >= DAY and not all(
        any(end - begin >= LONGEST_AT_LEAST and end > at and begin < at + DAY for begin, end in rest)
        for at in _starts(rest, DAY, from_at, to_at)
    ):
        faults.append("no rest of 6 h or more in some 24 hours")
    return faults


def _least(rest: Sequence[Period], window: timedelta, from_at: datetime, to_at: datetime) -> timedelta | None:
    starts = _starts(rest, window, from_at, to_at)
    return min((_within(rest, at, at + window) for at in starts), default=None)


def _starts(rest: Sequence[Period], window: timedelta, from_at: datetime, to_at: datetime) -> list[datetime]:
    """Where a window may begin to hold least: at an end of a period, or so that it ends at a beginning of one."""
    corners = {from_at, to_at - window}
    for begin, end in rest:
        corners |= {begin, end, begin - window, end - window}
    return sorted(at for at in corners if from_at <= at <= to_at - window)


def _within(rest: Sequence[Period], from_at: datetime, to_at: datetime) -> timedelta:
    inside = (min(end, to_at) - max(begin, from_at) for begin, end in rest)
    return sum((one for one in inside if one > timedelta(0)), timedelta(0))


def _hours(span: timedelta) -> str:
    return f"{span / timedelta(hours=1):.3g}"
