"""The sentence that explains a due date, and the facts it says."""

import re
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from scheduler.domain.base.enums import Trigger
from scheduler.domain.due.explain_date import explain_date
from scheduler.domain.due.jobs import Done, DueJob, JobId, due_jobs
from scheduler.domain.voyage.days import Calendar, Stretch
from scheduler.wording.due import due_words
from tests.unit.domain.plants import ALARM, AT, KNIVES, OVERHAUL, plant, steady_days, steady_hours

DAY = timedelta(days=1)


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
    why = explain_date(due, AT, 60)
    assert due.forecast is not None
    assert why.to_go == "20 running h, about Wed 3 Mar 2027"
    assert why.sentence == (
        "Due in 20 running h, about Wed 3 Mar 2027 (in 2 days), at 10.0 running h a day (half this pump's own, half "
        "the plant's mean, of the last 365 days; no operating calendar); "
        f"early Wed 3 Mar 2027, late Wed 3 Mar 2027, as {due.forecast.runs} past runs on this ship turned out; "
        "by the calendar it would be due later, on Tue 13 Feb 2029; hours as of 1 Mar 2027 09:00."
    )
    assert (why.trigger, why.running_hours_left, why.h_per_day) == (Trigger.RUNNING_HOURS, 20, pytest.approx(10))
    assert (why.calendar_used, why.estimated, why.projected, why.other_at) == (False, False, False, due.calendar_due_at)


def test_by_the_calendar_it_says_since_when_and_how_long_the_hours_would_last():
    """The trigger that comes second is said too, with its date."""
    due = job(KNIVES, run=500, days_ago=150)
    why = explain_date(due, AT, 0)
    assert why.sentence.startswith(
        "Due on Fri 2 Apr 2027 (in 32 days) by the calendar, counted from Fri 2 Oct 2026; its 1\u202f000 "
    )
    assert "running h left would last longer, until about Wed 9 Jun 2027, at 10.0 running h a day" in why.sentence
    assert why.to_go == "in 32 days, on Fri 2 Apr 2027"
    assert why.other_at is not None
    assert why.other_at > why.due_at


def test_beyond_the_point_it_says_by_how_much_and_since_when():
    """50 h over at 10 h a day: five days ago."""
    why = explain_date(job(run=8050), AT, 0)
    assert why.sentence.startswith("Due since about Wed 24 Feb 2027 (5 days ago): 50 running h beyond the point; ")
    assert why.to_go == "50 running h over, about Wed 24 Feb 2027"
    assert why.days_left == pytest.approx(-5, abs=0.4)


def test_a_silent_counter_is_named_and_its_hours_are_carried_on():
    """60 h left at a reading eight days old: reached by now at the usual rate, and estimated since that reading."""
    why = explain_date(job(run=7940, hours=steady_hours(7940 * 3600, AT - 8 * DAY)), AT, 0)
    assert why.projected
    assert why.estimated
    assert why.sentence == (
        "Due since about Sat 27 Feb 2027 (2 days ago): the 60 running h left at the last reading have run by now at 10.0 "
        "running h a day (half this pump's own, half the plant's mean, of the last 365 days; no operating calendar); "
        "by the calendar it would be due later, on Tue 13 Feb 2029; hours as of 21 Feb 2027 08:00 and estimated since."
    )


def test_with_the_operating_calendar_it_says_the_rate_at_sea_and_that_the_plan_was_followed():
    """Both rates: a day at sea, and one in the usual mix."""
    at_sea = Stretch(from_on=AT.date() - 800 * DAY, to_on=AT.date() + 30 * DAY, kind="sea")
    why = explain_date(job(calendar=Calendar(stretches=(at_sea,))), AT, 0)
    assert why.calendar_used
    assert "at 10.0 running h a day at sea, 10.0 in the usual mix of days (half this pump's own" in why.sentence
    assert "; along the operating calendar)" in why.sentence


def test_a_pump_that_stands_and_a_ship_without_a_past_are_said():
    """Wide dates and a rate that is taken for want of a past have their words."""
    stood = steady_days(days=700) | {"u1": [36_000] * 680 + [0] * 20}
    assert (
        "the pump has hardly run of late, so early and late lie wide" in explain_date(job(daily=stood), AT, 0).sentence
    )
    new = explain_date(job(daily={}), AT, 0).sentence
    assert "8.0 running h a day (taken until there is a past; no operating calendar)" in new
    assert "no past runs here to go by yet" in new
    assert "no counter has been read yet" in explain_date(job(hours=steady_hours(0, None)), AT, 0).sentence


def test_postponement_outlook_and_a_plants_own_job():
    """A postponement leaves the date; a later turn rests on the one before; a plant has no hours to speak of."""
    plain = job(ALARM, days_ago=20)
    assert (
        explain_date(plain, AT, 0).sentence
        == "Due on Tue 9 Mar 2027 (in 8 days) by the calendar, counted from Tue 9 Feb 2027."
    )
    later = replace(plain, first=False)
    assert explain_date(later, AT, 0).sentence.startswith(
        "If the turn before it is done when due, due on Tue 9 Mar 2027"
    )
    held = replace(plain, postponed_to=AT + 20 * DAY)
    assert explain_date(held, AT, 0).sentence.endswith("; postponed to Sun 21 Mar 2027, the due date itself stays.")


def test_hours_that_may_be_missing_are_said():
    """At most so many, and that the early date allows for them."""
    why = explain_date(job(run=7000, losses={"vp1": [(AT - 5 * DAY, 21 * 3600)]}), AT, 0)
    assert why.may_miss_hours == 21
    assert why.estimated
    assert "; up to 21 running h more may have run where a counter started again, and early allows" in why.sentence


def test_dates_are_ship_dates():
    """Eleven hours east the same instant is another date."""
    due = job(ALARM, days_ago=20)
    late = replace(due, due_at=due.due_at.replace(hour=20))
    assert "Tue 9 Mar 2027" in explain_date(late, AT, 0).sentence
    assert "Wed 10 Mar 2027" in explain_date(late, AT, 660).sentence


def test_hours_left_are_those_of_every_list_while_a_counter_is_silent():
    """Carried on since the last reading: 520 h left then, 440 by now."""
    quiet = job(run=7480, hours=steady_hours(7480 * 3600, AT - 8 * DAY))
    assert quiet.projected_seconds_left == pytest.approx(440 * 3600, abs=3 * 3600)
    why = explain_date(quiet, AT, 0)
    left = f"{(quiet.projected_seconds_left or 0) / 3600:.0f} running h"
    assert why.to_go.startswith(f"{left}, about")
    assert why.sentence.startswith(f"Due in {left}, about")


def test_a_pump_that_hardly_ran_is_said_of_a_turn_by_the_calendar_too():
    """Its hours would last; the dates of them lie wide."""
    due = job(KNIVES, run=500, days_ago=150)
    assert (due.trigger, due.forecast is None) == (Trigger.CALENDAR, False)
    assert due.forecast is not None
    assert "hardly run" not in explain_date(due, AT, 0).sentence
    wide = replace(due, forecast=replace(due.forecast, standing=True))
    assert "the pump has hardly run of late, so early and late lie wide" in explain_date(wide, AT, 0).sentence


@pytest.mark.parametrize("run_seconds", [28_728_000, 28_725_840, 28_733_760, 28_620_000])
@pytest.mark.parametrize("later", [0, 7, 15, 23])
def test_the_list_and_the_sentence_say_the_same_figures(run_seconds: int, later: int) -> None:
    """Hours to go and days to the due point are rounded alike, so that one page never says 20 h and 21 h of a job."""
    found = job(hours=steady_hours(run_seconds))
    now = AT + later * DAY / 24
    sentence = explain_date(found, now, 60).sentence.replace("\u202f", "")
    listed = due_words(found, now, 60).replace("\u00a0", " ").replace("\u202f", "")
    hours, days = re.fullmatch(r"due in ([\d.]+) running h, about (?:(\d+) days?|less than a day): .*", listed).groups()
    near = {None: "today", "1": "tomorrow"}.get(days, f"in {days} days")
    assert f"Due in {hours} running h, " in sentence
    assert f"({near})" in sentence
