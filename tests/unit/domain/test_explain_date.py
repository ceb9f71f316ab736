"""The sentence that explains a due date, and the facts it says."""

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from scheduler.domain.base.enums import Trigger
from scheduler.domain.due.explain_date import explain_date
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.due.last_done import Done, JobId
from scheduler.domain.voyage.days import Calendar, Stretch
from scheduler.wording.due import date_words, due_words, to_go_words
from tests.unit.domain.plants import ALARM, AT, KNIVES, OVERHAUL, due_jobs, plant, steady_days, steady_hours

DAY = timedelta(days=1)


def why_words(due: DueJob, offset_minutes: int = 0) -> str:
    """The sentence, no-break spaces as plain ones."""
    return date_words(explain_date(due, AT), offset_minutes).replace("\u00a0", " ").replace("\u202f", " ")


def to_go(due: DueJob, offset_minutes: int = 0) -> str:
    """Time to go, likewise."""
    return to_go_words(explain_date(due, AT), offset_minutes).replace("\u00a0", " ").replace("\u202f", " ")


def job(kind: Any = OVERHAUL, run: int = 7980, days_ago: int = 200, **changes: Any) -> DueJob:
    """The first turn of a kind on u1 or its knives, done `days_ago` at 0 running hours, every pump at 10 h a day."""
    subject = {"overhaul": "u1", "knives": "k1", "alarm": "aft"}[kind.code]
    done = Done(
        job_id=JobId(kind=kind.code, subject=subject, sequence=2),
        done_at=AT - days_ago * DAY,
        running_seconds=0,
    )
    found = due_jobs(
        **(
            {
                "plant": plant(kind),
                "done": {(kind.code, subject): done},
                "hours": steady_hours(run * 3600),
                "daily": steady_days(days=700),
                "at": AT,
            }
            | changes
        )
    )
    return next(j for j in found if j.job_id.key == f"{kind.code}:{subject}:3")


def test_by_hours_it_says_both_ways_the_rate_the_look_back_the_runs_and_the_other_trigger():
    """Every figure of the sentence is one of the forecast's."""
    due = job()
    why = explain_date(due, AT)
    assert due.forecast is not None
    assert to_go(due, 60) == "20 running h, about Wed 3 Mar (in 2 days)"
    assert why_words(due, 60) == (
        "Due in 20 running h, about Wed 3 Mar (in 2 days), at 10.0 running h a day (half this pump's own, half "
        "the plant's mean, of the last 365 days; no operating calendar); "
        f"early Wed 3 Mar, late Wed 3 Mar, as {due.forecast.runs} past runs on this ship turned out; "
        "by the calendar it would be due later, on Tue 13 Feb 2029; hours as of Mon 1 Mar 09:00."
    )
    assert (why.seconds_to_go, why.projected, why.other_at) == (20 * 3600, False, due.calendar_due_at)


def test_by_the_calendar_it_says_since_when_and_how_long_the_hours_would_last():
    """The trigger that comes second is said too, with its date."""
    due = job(KNIVES, run=500, days_ago=150)
    why, said = explain_date(due, AT), why_words(due)
    assert said.startswith("Due on Fri 2 Apr (in 32 days) by the calendar, counted from Fri 2 Oct 2026; its 1 000 ")
    assert "running h left would last longer, until about Wed 9 Jun, at 10.0 running h a day" in said
    assert to_go(due) == "Fri 2 Apr (in 32 days)"
    assert why.other_at is not None
    assert why.other_at > due.due_at


def test_beyond_the_point_it_says_by_how_much_and_since_when():
    """50 h over at 10 h a day: five days ago."""
    due = job(run=8050)
    assert why_words(due).startswith("Due since about Wed 24 Feb (5 days ago): 50 running h beyond the point; ")
    assert to_go(due) == "50 running h over, since about Wed 24 Feb (5 days ago)"
    assert explain_date(due, AT).days_left == pytest.approx(-5, abs=0.4)


def test_hours_to_go_are_never_more_than_there_are():
    """59 minutes short of 20 hours are 19; the last hour is said as such."""
    assert to_go(job(hours=steady_hours(7981 * 3600 - 3599))).startswith("19 running h, about")
    assert to_go(job(hours=steady_hours(8000 * 3600 - 60))).startswith("less than 1 running h, about")


def test_a_silent_counter_is_named_and_its_hours_are_carried_on():
    """60 h left at a reading eight days old: reached by now at the usual rate, and estimated since that reading."""
    due = job(run=7940, hours=steady_hours(7940 * 3600, AT - 8 * DAY))
    assert explain_date(due, AT).projected
    assert why_words(due) == (
        "Due since about Sat 27 Feb (2 days ago): the 60 running h left at the last reading have run by now at 10.0 "
        "running h a day (half this pump's own, half the plant's mean, of the last 365 days; no operating calendar); "
        "by the calendar it would be due later, on Tue 13 Feb 2029; hours as of Sun 21 Feb 08:00 and estimated since."
    )


def test_with_the_operating_calendar_it_says_the_rate_at_sea_and_that_the_plan_was_followed():
    """Both rates: a day at sea, and one in the usual mix."""
    at_sea = Stretch(from_on=AT.date() - 800 * DAY, to_on=AT.date() + 30 * DAY, kind="sea")
    said = why_words(job(calendar=Calendar(stretches=(at_sea,))))
    assert "at 10.0 running h a day at sea, 10.0 in the usual mix of days (half this pump's own" in said
    assert "; along the operating calendar)" in said


def test_a_pump_that_stands_and_a_ship_without_a_past_are_said():
    """Wide dates and a rate that is taken for want of a past have their words."""
    stood = steady_days(days=700) | {"u1": [36_000] * 680 + [0] * 20}
    assert "the pump has hardly run of late, so early and late lie wide" in why_words(job(daily=stood))
    new = why_words(job(daily={}))
    assert "8.0 running h a day (taken until there is a past; no operating calendar)" in new
    assert "no past runs here to go by yet" in new
    assert "no counter has been read yet" in why_words(job(hours=steady_hours(0, None)))


def test_postponement_outlook_and_a_plants_own_job():
    """A postponement leaves the date; a later job rests on the one before; a plant has no hours to speak of."""
    plain = job(ALARM, days_ago=20)
    assert why_words(plain) == "Due on Tue 9 Mar (in 8 days) by the calendar, counted from Tue 9 Feb."
    later = replace(plain, first=False)
    assert why_words(later).startswith("If the job before it is done when due, due on Tue 9 Mar")
    held = replace(plain, postponed_to=AT + 20 * DAY)
    assert why_words(held).endswith("; postponed to Sun 21 Mar, the due date itself stays.")


def test_hours_that_may_be_missing_are_said():
    """At most so many, and that the early date allows for them."""
    said = why_words(job(run=7000, losses={"vp1": [(AT - 5 * DAY, 21 * 3600)]}))
    assert "; up to 21 running h more may have run where a counter started again, and early allows" in said


def test_dates_are_ship_dates():
    """Eleven hours east the same instant is another date."""
    due = job(ALARM, days_ago=20)
    late = replace(due, due_at=due.due_at.replace(hour=20))
    assert "Tue 9 Mar" in why_words(late)
    assert "Wed 10 Mar" in why_words(late, 660)


def test_hours_left_are_those_of_every_list_while_a_counter_is_silent():
    """Carried on since the last reading: 520 h left then, 440 by now."""
    quiet = job(run=7480, hours=steady_hours(7480 * 3600, AT - 8 * DAY))
    assert quiet.projected_seconds_left == pytest.approx(440 * 3600, abs=3 * 3600)
    left = f"{(quiet.projected_seconds_left or 0) // 3600} running h"
    assert to_go(quiet).startswith(f"{left}, about")
    assert why_words(quiet).startswith(f"Due in {left}, about")


def test_a_pump_that_hardly_ran_is_said_of_a_job_by_the_calendar_too():
    """Its hours would last; the dates of them lie wide."""
    due = job(KNIVES, run=500, days_ago=150)
    assert due.trigger is Trigger.CALENDAR
    assert due.forecast is not None
    assert "hardly run" not in why_words(due)
    wide = replace(due, forecast=replace(due.forecast, idle=True))
    assert "the pump has hardly run of late, so early and late lie wide" in why_words(wide)


@pytest.mark.parametrize("run_seconds", [28_728_000, 28_725_840, 28_733_760, 28_620_000])
@pytest.mark.parametrize("later", [0, 7, 15, 23])
def test_the_list_and_the_sentence_say_the_same_figures(run_seconds: int, later: int) -> None:
    """Hours to go and days to the due point are rounded alike, so that one page never says 20 h and 21 h of a job."""
    found = job(hours=steady_hours(run_seconds))
    now = AT + later * DAY / 24
    sentence = date_words(explain_date(found, now), 60)
    assert sentence.startswith(f"D{due_words(found, now, 60)[1:]}, at ")
