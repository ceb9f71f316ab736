"""Hours of rest as a warning from what is on record, never a certificate: other work of the day is not known here.

Source: STCW Code, section A-VIII/1, as amended 2010: 10 hours of rest in any 24-hour period, 77 in any 7-day period, in no
more than two periods a day of which one is at least 6 hours, and no more than 14 hours from one to the next; MLC 2006, A2.3,
the same. Flags may grant exceptions (A-VIII/1.9), so the figures they change are settings.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from heapq import nlargest
from itertools import pairwise
from typing import NamedTuple

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


class Rest(StrEnum):
    """What of the rule does not hold."""

    DAY = "too little in 24 hours"
    WEEK = "too little in 7 days"
    BETWEEN = "too long between"
    NO_LONG = "no long rest in 24 hours"


class RestFault(NamedTuple):
    """A rule that does not hold: the hours there are, those asked for, in at most how many periods."""

    code: Rest
    hours: float
    limit: float
    periods: int = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class RestRule:
    """The figures that a flag's exception may change. periods: in how many at most the 10 hours lie; week: hours in 7 days."""

    periods: int = 2
    week_hours: int = 77


def rest_faults(
    rest: Sequence[Period], from_at: datetime, to_at: datetime, rule: RestRule = RestRule()
) -> list[RestFault]:
    """What of the rule does not hold in a stretch of time; empty when all of it does.

    The 10 hours of any 24 lie in at most `rule.periods` periods: more and shorter ones beside them do not count.

    Args:
        rest: periods of rest, in order, apart from each other. from_at, to_at: the stretch that is known; windows that
            reach out of it are not judged.
    """
    faults = []
    in_day = (_least(rest, DAY, from_at, to_at), _least_in_periods(rest, rule.periods, from_at, to_at))
    least_day = min((one for one in in_day if one is not None), default=None)
    if least_day is not None and least_day < LEAST_A_DAY:
        faults.append(RestFault(Rest.DAY, _hours(least_day), _hours(LEAST_A_DAY), rule.periods))
    least_week, in_week = _least(rest, WEEK, from_at, to_at), timedelta(hours=rule.week_hours)
    if least_week is not None and least_week < in_week:
        faults.append(RestFault(Rest.WEEK, _hours(least_week), _hours(in_week)))
    ends = [(from_at, from_at), *rest, (to_at, to_at)] if rest else [(from_at, from_at), (to_at, to_at)]
    between = max(after[0] - before[1] for before, after in pairwise(ends))
    if between > MOST_BETWEEN:
        faults.append(RestFault(Rest.BETWEEN, _hours(between), _hours(MOST_BETWEEN)))
    if to_at - from_at >= DAY and not all(
        any(end - begin >= LONGEST_AT_LEAST and end > at and begin < at + DAY for begin, end in rest)
        for at in _starts(rest, DAY, from_at, to_at)
    ):
        faults.append(RestFault(Rest.NO_LONG, 0.0, _hours(LONGEST_AT_LEAST)))
    return faults


def _least_in_periods(rest: Sequence[Period], periods: int, from_at: datetime, to_at: datetime) -> timedelta | None:
    """The least that the longest `periods` come to in any 24 hours that begin as a rest begins: a window that begins within a
    rest would count its two ends as two periods, and fault watches of six hours that the Code allows."""
    found = [_longest(rest, periods, at, at + DAY) for at, _ in rest if from_at <= at <= to_at - DAY]
    return min(found, default=None)


def _longest(rest: Sequence[Period], periods: int, from_at: datetime, to_at: datetime) -> timedelta:
    inside = (min(end, to_at) - max(begin, from_at) for begin, end in rest)
    return sum(nlargest(periods, (one for one in inside if one > timedelta(0))), timedelta(0))


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


def _hours(span: timedelta) -> float:
    return span / timedelta(hours=1)
