"""Due dates and IMO numbers against published rules, worked examples and hand arithmetic."""

from datetime import UTC, datetime, timedelta

import pytest

from scheduler.domain.base.enums import Subject, Trigger
from scheduler.domain.due.forecast import forecast
from scheduler.domain.due.intervals import add_months, calendar_due
from scheduler.domain.due.last_done import Done, JobId
from scheduler.domain.vessel.document import imo_number_holds
from scheduler.domain.vessel.job_kinds import JobKind
from tests.unit.domain.plants import due_jobs, plant, steady_days, steady_hours


def test_a_yearly_audit_and_its_three_months_of_grace():
    """Source: ISM Code 12.1: internal audits at intervals not exceeding 12 months, in exceptional cases 3 months more."""
    audit = JobKind(code="audit", name="Audit", subject=Subject.PLANT, takes_hours=1, interval_months=12)
    due_at = calendar_due(audit, datetime(2025, 1, 15, tzinfo=UTC))
    assert due_at == datetime(2026, 1, 15, tzinfo=UTC)
    assert add_months(due_at, 3) == datetime(2026, 4, 15, tzinfo=UTC)


def test_the_forecast_of_a_steady_plant_is_the_same_division():
    """Source: the same derivation; a plant that always ran 9.6 h a day gives the same date, found from its history."""
    at = datetime(2025, 3, 1, tzinfo=UTC)
    steady = [round(9.6 * 3600)] * 400
    found = forecast(
        at=at, hours_left_seconds=800 * 3600, own_daily_seconds=steady, sister_daily_seconds=[steady] * 2, as_of=at
    )
    assert abs(found.likely_at - datetime(2025, 5, 23, 8, tzinfo=UTC)) < timedelta(minutes=1)


def test_ten_thousand_hours_or_a_year_is_due_by_the_calendar_when_little_was_run():
    """Source: a liquid-ring pump manual's rule, 10 000 hours or one year whichever first: 3 600 h in 366 days."""
    kind = JobKind(
        code="yearly",
        name="Yearly inspection",
        subject=Subject.PUMP,
        takes_hours=4,
        interval_running_hours=10_000,
        interval_months=12,
    )
    started_at = datetime(2026, 3, 1, tzinfo=UTC)
    at = started_at + timedelta(days=366)
    last = Done(job_id=JobId(kind="yearly", subject="u1", sequence=1), done_at=started_at, running_seconds=0)
    jobs = due_jobs(
        plant=plant(kind),
        done={("yearly", "u1"): last},
        hours=steady_hours(3600 * 3600, at),
        daily=steady_days(10.0, 365),
        at=at,
    )
    job = next(job for job in jobs if job.job_id.key == "yearly:u1:2")
    assert job.trigger is Trigger.CALENDAR
    assert job.due_at == datetime(2027, 3, 1, tzinfo=UTC) <= at


@pytest.mark.parametrize("imo", ["9074729", "7654329", "7625811"])
def test_published_numbers_hold(imo):
    """Source: published worked examples of the check digit (139 -> 9, 139 -> 9, 141 -> 1)."""
    assert imo_number_holds(imo)


@pytest.mark.parametrize("imo", ["9074728", "9074792", "9047729"])
def test_one_wrong_or_swapped_digit_is_found(imo):
    """Source: derived from 9074729: a wrong last digit, two swaps (9 for 8, 3 for 2, 6 for 9)."""
    assert not imo_number_holds(imo)


@pytest.mark.parametrize("imo", ["1234567", "7605811"])
def test_the_digit_has_known_weak_spots(imo):
    """Source: published: 1234567 passes, and 7605811 passes as well as 7625811 (an even error on an even weight)."""
    assert imo_number_holds(imo)


@pytest.mark.parametrize("imo", ["0123450", "0246800", "0135790", "0987650"])
def test_invented_numbers_hold_and_begin_with_nought(imo):
    """Source: derived; that a leading nought is never issued is from memory."""
    assert imo_number_holds(imo)
    assert imo[0] == "0"


def test_a_company_number_is_not_taken_for_a_ships():
    """Source: published: 2041999 holds as a company number (178 mod 11 = 2 -> 9), which goes by another rule."""
    assert not imo_number_holds("2041999")


@pytest.mark.parametrize("imo", ["", "907472", "90747290", "\uff19074729", "907472x", "-074729"])
def test_anything_but_seven_plain_digits_does_not_hold(imo):
    """Source: IMO ship identification number scheme: seven digits."""
    assert not imo_number_holds(imo)
