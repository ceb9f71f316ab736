"""A period's records sorted, and hours since a job laid over its days."""

from datetime import UTC, date, datetime, timedelta

import pytest

from scheduler.domain.hours.daily import DayHours
from scheduler.domain.record.chain import GENESIS, Record, record_of
from scheduler.domain.record.closed_job import ClosedJob
from scheduler.domain.record.period import (
    MOST_CLOSED,
    PeriodEntry,
    month_hours,
    months_over,
    period_facts,
    since_curves,
    thinned,
)
from scheduler.errors import TooLarge

AT = datetime(2026, 1, 1, tzinfo=UTC)
ENTRY = PeriodEntry(number=1, kind=ClosedJob.KIND, at=AT, stamp="", members={})


def _record(number: int, kind: str, **members: object) -> Record:
    return record_of(
        number=number, kind=kind, payload=members, recorded_at=AT + timedelta(hours=number), previous_hash=GENESIS
    )


def _days(*hours: float | None) -> list[DayHours]:
    return [
        DayHours(on=date(2026, 1, 1) + timedelta(days=n), seconds=None if one is None else round(3600 * one))
        for n, one in enumerate(hours)
    ]


def test_records_are_sorted_by_what_they_are_and_when_it_happened() -> None:
    """A corrected close counts by its correction, a struck one is named, a check belongs to its close."""
    facts = period_facts(
        [
            _record(1, ClosedJob.KIND, job_no="a:x:1", done_at=AT + timedelta(days=2), verdict="late"),
            _record(2, ClosedJob.KIND, job_no="b:x:1", done_at=AT, verdict="early"),
            _record(3, ClosedJob.KIND, job_no="a:x:1", done_at=AT + timedelta(days=2), verdict="in window", corrects=1),
            _record(4, "pump tested", at=AT + timedelta(days=1), swept_m3_per_h=90.5),
            _record(5, "counter replacement", at=AT),
            _record(6, "breakdown opened", at=AT, job_no="breakdown:p:1"),
            _record(7, "close struck", strikes_record=2),
            _record(8, "job checked", checks_record=3, checked_by="Demo chief"),
            _record(9, "photo kept", job_no="a:x:1", sha256="ab"),
            _record(10, "signed in", person="x"),
        ]
    )
    assert [one.number for one in facts.closed] == [2, 3]
    assert facts.corrections == 1
    assert facts.struck == (2,)
    assert [facts.checked_by(one) for one in facts.closed] == ["", "Demo chief"]
    assert [len(one) for one in (facts.tests, facts.stops, facts.counters, facts.photos["a:x:1"])] == [1, 1, 1, 1]
    assert facts.tests[0].figure("swept_m3_per_h") == 90.5
    assert facts.earliest_at == AT


def test_of_a_choice_the_rest_is_read_beside_it() -> None:
    """Closed jobs from what was chosen, tests and checks from all of the period."""
    closed = _record(1, ClosedJob.KIND, job_no="a:x:1", done_at=AT, verdict="late")
    facts = period_facts([closed], [closed, _record(2, ClosedJob.KIND, done_at=AT), _record(3, "pump tested", at=AT)])
    assert (len(facts.closed), len(facts.tests)) == (1, 1)


def test_one_close_more_than_goes_on_paper_is_refused() -> None:
    """So many are taken."""
    many = [_record(1, ClosedJob.KIND, done_at=AT)] * MOST_CLOSED
    assert len(period_facts(many).closed) == MOST_CLOSED
    with pytest.raises(TooLarge, match="Choose a period"):
        period_facts([*many, many[0]])


def test_hours_fall_to_zero_at_each_job_and_are_reckoned_back_before_the_first() -> None:
    """By hand: 10 hours a day, 25 hours when it was done on the third day; what came after it is reckoned on, or back from now."""
    days, ends = _days(10, 10, 10, 10, 10), [(date(2026, 1, 3), 25.0)]
    first, last = since_curves(days, ends, since_now_hours=None)
    assert [(on.day, hours) for on, hours in first] == [(1, 5.0), (2, 15.0), (3, 25.0)]
    assert [(on.day, hours) for on, hours in last] == [(3, 0.0), (4, 10.0), (5, 20.0)]
    assert [(on.day, hours) for on, hours in since_curves(days, ends, since_now_hours=24.0)[1]] == [
        (3, 0.0), (4, 4.0), (5, 14.0), (5, 24.0),
    ]  # fmt: skip


def test_without_a_job_they_are_reckoned_back_from_now_as_far_as_that_goes() -> None:
    """25 hours after four days of 10: nothing is known of the first day, on which it must have been done."""
    assert [[hours for _, hours in run] for run in since_curves(_days(10, 10, 10, 10), [], since_now_hours=25.0)] == [
        [5.0, 15.0, 25.0]
    ]
    assert since_curves(_days(10), [], since_now_hours=None) == []
    assert since_curves([], [], since_now_hours=3.0) == []
    assert [hours for _, hours in since_curves(_days(10, 10), [], since_now_hours=20.0)[0]] == [0.0, 10.0, 20.0]


def test_where_nobody_counted_there_is_a_gap() -> None:
    """Nothing is drawn before the last day without hours, in whichever stretch it lies, nor on from it."""
    days = _days(10, None, 10, 10, None, 10, 10)
    first, last = since_curves(days, [(date(2026, 1, 4), 90.0)], since_now_hours=30.0)
    assert [(on.day, hours) for on, hours in first] == [(3, 80.0), (4, 90.0)]
    assert [(on.day, hours) for on, hours in last] == [(6, 10.0), (7, 20.0), (7, 30.0)]
    assert [on.day for on, _ in since_curves(days, [(date(2026, 1, 4), 90.0)], since_now_hours=None)[1]] == [4, 5]


def test_thinning_keeps_the_ends() -> None:
    """However few are wanted."""
    points = since_curves(_days(*[10.0] * 20), [], since_now_hours=200.0)[0]
    few = thinned(points, 4)
    assert (few[0], few[-1]) == (points[0], points[-1])
    assert len(few) < len(points)
    assert thinned(points, 1000) == points


def test_months_are_those_that_lie_whole_within_two_dates() -> None:
    """A day short at either end and the month is not over."""
    assert months_over(date(2025, 12, 1), date(2026, 2, 28)) == ["2025-12", "2026-01", "2026-02"]
    assert months_over(date(2025, 12, 2), date(2026, 2, 27)) == ["2026-01"]
    assert months_over(date(2026, 1, 2), date(2026, 1, 31)) == []


def test_hours_of_a_month_are_those_of_its_known_days() -> None:
    """What is not known counts nothing."""
    assert month_hours(_days(*[2.0] * 31, 5.0, None)) == {"2026-01": 62.0, "2026-02": 5.0}
