"""Due jobs: due point, window, limit, state, outlook, renewals, first intervals."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from scheduler.domain.base.enums import JobState, Subject, Trigger
from scheduler.domain.due.forecast import Forecast
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.due.last_done import Done, FirstDate, JobId, reckon_first
from scheduler.domain.due.meters import Meters
from scheduler.domain.due.subjects import renewals, subjects_of, where
from scheduler.domain.hours.running import RunningHours
from scheduler.domain.vessel.document import Counter, Fitting, Stay
from scheduler.domain.vessel.job_kinds import JobKind, LastDone
from tests.unit.domain.plants import (
    ALARM,
    AT,
    KNIVES,
    OVERHAUL,
    SET_UP_AT,
    VALVE,
    due_jobs,
    plant,
    steady_days,
    steady_hours,
)

H = 3600
DAY = timedelta(days=1)
MIDNIGHT = datetime(2027, 3, 1, tzinfo=UTC)


def done(kind: str, subject: str, at: datetime, hours: float = 0, sequence: int = 4) -> dict[tuple[str, str], Done]:
    job_id = JobId(kind=kind, subject=subject, sequence=sequence)
    return {(kind, subject): Done(job_id=job_id, done_at=at, running_seconds=round(hours * H))}


def jobs(*kinds: JobKind, run: float = 1000, at: datetime = MIDNIGHT, **changes: Any) -> dict[str, DueJob]:
    """Jobs by key, every subject having run `run` hours and 10 h a day."""
    arguments: dict[str, Any] = {
        "plant": plant(*kinds),
        "done": {},
        "hours": steady_hours(round(run * H), at),
        "daily": steady_days(10.0, 420),
        "at": at,
    }
    return {job.job_id.key: job for job in due_jobs(**(arguments | changes))}


def test_a_pump_that_stands_nowhere_has_its_hours_and_no_pace():
    """A spare pump on the shelf, and the parts in it: what it ran is known, and nothing goes on."""
    ashore = plant(stays=(Stay(pump="u1", position="vp1", from_at=SET_UP_AT),))
    meters = Meters(plant=ashore, hours=steady_hours(1000 * H, MIDNIGHT), daily=steady_days(10.0, 420), at=MIDNIGHT)
    for subject, subject_id in ((Subject.PUMP, "u2"), (Subject.PART, "k2")):
        meter = meters.of(subject, subject_id)
        assert meter is not None
        assert (meter.pace, meter.silent) == (None, False)
        assert meter.seconds_by(MIDNIGHT + 30 * DAY) == meter.seconds
        assert meter.reach(meter.seconds + H, MIDNIGHT) is None
        assert meter.likely_at(meter.seconds + H, MIDNIGHT) is None
        assert meter.likely_at(meter.seconds, MIDNIGHT) == meter.read_at


@pytest.mark.parametrize("silent_days", [0, 5])
def test_the_likely_date_alone_is_that_of_the_whole_forecast(silent_days):
    """Passed, reached now, ahead; also of a counter that has been silent."""
    read = steady_hours(1000 * H, MIDNIGHT - silent_days * DAY)
    meter = Meters(plant=plant(), hours=read, daily=steady_days(10.0, 420), at=MIDNIGHT).of(Subject.PUMP, "u1")
    assert meter is not None
    for seconds in (-5000 * H, 0, 999 * H, 1000 * H, 1000 * H + 1, 1234 * H, 90_000 * H):
        whole = meter.reach(seconds, MIDNIGHT)
        assert whole is not None
        assert meter.likely_at(seconds, MIDNIGHT) == whole.likely_at


def test_hours_first_then_calendar():
    """Last done at 900 h: 1400 h left at 5 h a day is after six months, 300 h left at 10 h a day is before."""
    kinds = replace(KNIVES, tolerance_running_hours=50, tolerance_days=10)
    late = jobs(kinds, done=done("knives", "k1", MIDNIGHT - DAY, 900), daily=steady_days(5.0, 420))["knives:k1:5"]
    assert (late.trigger, late.due_at) == (Trigger.CALENDAR, datetime(2027, 8, 28, tzinfo=UTC))
    soon = jobs(kinds, run=2100, done=done("knives", "k1", MIDNIGHT - DAY, 900))["knives:k1:5"]
    assert soon.trigger is Trigger.RUNNING_HOURS
    assert abs(soon.due_at - (MIDNIGHT + 30 * DAY)) < DAY
    assert (soon.due_running_seconds, soon.running_seconds_left) == (2400 * H, 300 * H)
    assert (soon.since_seconds, soon.interval_seconds) == (1200 * H, 1500 * H)
    assert abs(soon.window_opens_at - (MIDNIGHT + 20 * DAY)) < DAY
    assert abs(soon.limit_at - (MIDNIGHT + 35 * DAY)) < DAY
    assert soon.limit_running_seconds == 2450 * H
    assert (soon.pump, soon.position) == ("u1", "vp1")


@pytest.mark.parametrize(
    ("run", "state"),
    [
        (2000, JobState.AHEAD),
        (2299, JobState.AHEAD),
        (2300, JobState.WINDOW_OPEN),
        (2399, JobState.WINDOW_OPEN),
        (2400, JobState.PAST_DUE),
        (2450, JobState.PAST_DUE),
        (2451, JobState.PAST_LIMIT),
    ],
)
def test_hours_are_judged_on_hours(run, state):
    """Window at 100 h before, due at, limit 50 h after: the running hours decide, and past due lies in the past."""
    kind = replace(KNIVES, interval_months=None, tolerance_running_hours=50)
    job = jobs(kind, run=run, done=done("knives", "k1", MIDNIGHT - 150 * DAY, 900))["knives:k1:5"]
    assert job.state is state
    assert (job.due_at <= MIDNIGHT) == (state in (JobState.PAST_DUE, JobState.PAST_LIMIT))


@pytest.mark.parametrize(
    ("days", "state"),
    [
        (-8, JobState.AHEAD),
        (-7, JobState.WINDOW_OPEN),
        (0, JobState.PAST_DUE),
        (3, JobState.PAST_DUE),
        (3.1, JobState.PAST_LIMIT),
    ],
)
def test_the_calendar_is_judged_on_time(days, state):
    """Window 7 days before, limit 3 days after a monthly alarm test."""
    due_at = datetime(2027, 2, 10, 9, tzinfo=UTC)
    last = done("alarm", "aft", datetime(2027, 1, 10, 9, tzinfo=UTC))
    job = jobs(replace(ALARM, tolerance_days=3), at=due_at + days * DAY, done=last)["alarm:aft:5"]
    assert (job.due_at, job.state) == (due_at, state)
    assert (job.pump, job.position, job.forecast, job.hours_as_of) == (None, None, None, None)


def test_a_postponement_moves_the_limit_and_the_state_and_nothing_else():
    """Due point, window and trigger stay; past the new limit it is past limit again."""
    last = done("alarm", "aft", datetime(2027, 1, 10, tzinfo=UTC))
    before = jobs(ALARM, done=last)["alarm:aft:5"]
    new_limit = MIDNIGHT + 5 * DAY
    after = jobs(ALARM, done=last, postponed={"alarm:aft:5": new_limit})["alarm:aft:5"]
    assert before.state is JobState.PAST_LIMIT
    assert after == replace(before, limit_at=new_limit, postponed_to=new_limit, state=JobState.POSTPONED)
    again = jobs(ALARM, done=last, at=new_limit + DAY, postponed={"alarm:aft:5": new_limit})["alarm:aft:5"]
    assert again.state is JobState.PAST_LIMIT


def test_the_outlook_keeps_month_ends_and_counts_on():
    """Monthly from 31 January: the last day of each month to come, sequences 5, 6, 7, only the first one first."""
    last = done("alarm", "aft", datetime(2027, 1, 31, 9, tzinfo=UTC))
    found = list(jobs(ALARM, at=datetime(2027, 2, 5, tzinfo=UTC), done=last, horizon_days=100).values())
    assert [(j.job_id.sequence, j.due_at.month, j.due_at.day) for j in found] == [
        (5, 2, 28),
        (6, 3, 31),
        (7, 4, 30),
    ]
    assert [j.first for j in found] == [True, False, False]


def test_the_outlook_of_a_job_past_due_counts_from_now():
    """Due three days ago: the next is a month from now, not from then."""
    at = datetime(2027, 2, 13, tzinfo=UTC)
    found = jobs(ALARM, at=at, done=done("alarm", "aft", datetime(2027, 1, 10, tzinfo=UTC)), horizon_days=40)
    assert found["alarm:aft:6"].due_at == datetime(2027, 3, 13, tzinfo=UTC)


def test_the_outlook_by_hours_adds_whole_intervals():
    """Every 1500 h: the second figure is 1500 h after the first, and its date about 150 days later."""
    found = jobs(VALVE, run=2200, done=done("valve", "vp2", MIDNIGHT - 200 * DAY, 900), horizon_days=365)
    first, second = found["valve:vp2:5"], found["valve:vp2:6"]
    assert second.due_running_seconds == first.due_running_seconds + 1500 * H
    assert abs(second.due_at - first.due_at - 150 * DAY) < 2 * DAY
    assert second.since_seconds is None


def test_an_open_turn_is_shown_however_far_off():
    """An overhaul years ahead is listed; its outlook is not."""
    found = [key for key in jobs(OVERHAUL, run=0) if key.startswith("overhaul:u1")]
    assert found == ["overhaul:u1:1"]


def test_without_anything_done_the_last_time_is_not_known():
    """Due now, no limit, no hours left, no state that is judged; what comes after is counted as if it were done now."""
    stays = (Stay(pump="u1", position="vp1", from_at=SET_UP_AT, opening_running_hours=12_000.0),)
    found = jobs(plant=plant(OVERHAUL, stays=stays), run=13_000, horizon_days=5000)
    job, after = found["overhaul:u1:1"], found["overhaul:u1:2"]
    assert (job.state, job.first, job.due_at, job.limit_at) == (JobState.NOT_KNOWN, True, MIDNIGHT, None)
    assert (job.due_running_seconds, job.running_seconds_left, job.calendar_due_at) == (None, None, None)
    assert after.due_running_seconds == 21_000 * H


def test_a_first_date_makes_a_turn_like_any_other():
    """Due on the date that was set, with the kind's window and tolerance around it; then the interval counts from that day."""
    stays = (Stay(pump="u1", position="vp1", from_at=SET_UP_AT, opening_running_hours=12_000.0),)
    given = FirstDate(due_at=MIDNIGHT + 30 * DAY, set_at=MIDNIGHT, running_seconds=13_000 * H)
    found = jobs(
        plant=plant(OVERHAUL, stays=stays), run=13_000, horizon_days=5000, first_dates={("overhaul", "u1"): given}
    )
    job, after = found["overhaul:u1:1"], found["overhaul:u1:2"]
    assert (job.due_at, job.trigger, job.first_set_at) == (MIDNIGHT + 30 * DAY, Trigger.CALENDAR, MIDNIGHT)
    assert job.limit_at == MIDNIGHT + (30 + OVERHAUL.tolerance_days) * DAY
    assert job.due_running_seconds == 21_000 * H
    assert job.state in (JobState.AHEAD, JobState.WINDOW_OPEN)
    assert (job.calendar_start_at, job.since_seconds) == (None, None)
    assert after.calendar_start_at == job.due_at


def test_a_whole_interval_run_since_brings_a_first_date_forward():
    """At a whole interval it is due, whatever date was set; an hour less and it is not."""
    stays = (Stay(pump="u1", position="vp1", from_at=SET_UP_AT, opening_running_hours=12_000.0),)
    given = FirstDate(due_at=MIDNIGHT + 900 * DAY, set_at=MIDNIGHT - 400 * DAY, running_seconds=13_000 * H)
    for run, state in ((21_000, JobState.PAST_DUE), (20_999, JobState.WINDOW_OPEN)):
        found = jobs(plant=plant(OVERHAUL, stays=stays), run=run, first_dates={("overhaul", "u1"): given})
        assert found["overhaul:u1:1"].state is state


def test_what_is_known_by_now_counts_before_a_first_date():
    """Once the job was done, or its last time stands in the document, the date that was set is over."""
    given = {("overhaul", "u1"): FirstDate(due_at=MIDNIGHT + DAY, set_at=MIDNIGHT, running_seconds=0)}
    found = jobs(OVERHAUL, run=100, done=done("overhaul", "u1", MIDNIGHT - DAY, 0), first_dates=given)
    assert found["overhaul:u1:5"].first_set_at is None


def test_an_overhaul_whose_last_time_is_not_known_takes_what_it_renews_with_it():
    """Both are due now: one isolation, not two."""
    found = jobs(OVERHAUL, KNIVES, run=100)
    assert found["knives:k1:1"].renewed_by == "overhaul:u1:1"
    assert found["overhaul:u1:1"].renewed_by is None


def test_pumps_ashore_and_parts_in_them_are_left_out_and_an_empty_position_keeps_its_calendar():
    """u2 on the shelf: no job for it or its knives; its position keeps what goes by the calendar."""
    stays = tuple(replace(stay, to_at=AT - 30 * DAY if stay.pump == "u2" else None) for stay in plant().stays)
    monthly = replace(VALVE, code="grease", interval_months=1)
    last = done("valve", "vp2", SET_UP_AT) | done("grease", "vp2", SET_UP_AT)
    found = jobs(plant=plant(OVERHAUL, KNIVES, VALVE, monthly, stays=stays), done=last)
    subjects = {job.job_id.subject for job in found.values()}
    assert subjects == {"u1", "u3", "k1", "k3", "vp1", "vp2", "vp3"}
    at_vp2 = [job for job in found.values() if job.job_id.subject == "vp2" and job.first]
    assert [(job.job_id.kind, job.trigger, job.pump) for job in at_vp2] == [("grease", Trigger.CALENDAR, None)]


def test_hours_already_past_stay_past_due_in_an_empty_position():
    """A valve past its hours does not come back into order because the pump was taken away."""
    found = jobs(plant=plant(VALVE, stays=plant().stays[:1]), run=1600, done=done("valve", "vp3", SET_UP_AT))
    job = found["valve:vp3:5"]
    assert (job.state, job.due_at <= MIDNIGHT, job.pump) == (JobState.PAST_LIMIT, True, None)


def test_a_silent_counter_lets_a_job_fall_due_and_is_marked():
    """100 h left at 10 h a day, no reading for 20 days: past due by the usual rate, estimated; after 30 h it is not."""
    kind = replace(VALVE, tolerance_running_hours=500)
    last = done("valve", "vp1", MIDNIGHT - 200 * DAY)
    quiet = jobs(kind, done=last, hours=steady_hours(1400 * H, MIDNIGHT - 20 * DAY))["valve:vp1:5"]
    assert (quiet.state, quiet.estimated) == (JobState.PAST_DUE, True)
    assert quiet.due_at <= MIDNIGHT
    assert quiet.hours_as_of == MIDNIGHT - 20 * DAY
    fresh = jobs(kind, done=last, hours=steady_hours(1400 * H, MIDNIGHT - timedelta(hours=30)))["valve:vp1:5"]
    assert (fresh.state, fresh.estimated) == (JobState.AHEAD, False)


def test_how_long_a_counter_may_be_quiet_is_its_own_setting():
    """With 12 hours allowed, 30 hours are silence."""
    quick = plant(VALVE, counters=(Counter(id="c1", position="vp1", quiet_after_hours=12),))
    hours = steady_hours(1400 * H, MIDNIGHT - timedelta(hours=30))
    assert jobs(plant=quick, hours=hours, done=done("valve", "vp1", SET_UP_AT))["valve:vp1:5"].estimated


def test_without_any_reading_hours_go_on_from_when_the_pump_was_put_in():
    """No reading since the stay began 420 days ago: the valve is past due by the default rate, and marked."""
    job = jobs(VALVE, hours=steady_hours(0, None), daily={}, done=done("valve", "vp1", SET_UP_AT))["valve:vp1:5"]
    assert (job.state, job.estimated, job.hours_as_of) == (JobState.PAST_LIMIT, True, None)


def test_an_overhaul_takes_the_turn_it_reaches_first_with_it():
    """Overhaul due in 20 days, knives in 50: the turn is listed as renewed by it, the next counts from there."""
    last = done("overhaul", "u1", MIDNIGHT - 400 * DAY, 0) | done("knives", "k1", MIDNIGHT - 100 * DAY, 6800)
    found = jobs(OVERHAUL, KNIVES, run=7800, done=last, horizon_days=400)
    overhaul, taken, after = found["overhaul:u1:5"], found["knives:k1:5"], found["knives:k1:6"]
    assert (taken.renewed_by, after.renewed_by) == ("overhaul:u1:5", None)
    assert taken.due_running_seconds == 8300 * H
    assert after.due_running_seconds == pytest.approx(9500 * H, abs=H)
    assert after.calendar_start_at == overhaul.due_at


def test_a_turn_due_before_the_overhaul_stands():
    """Knives due in 10 days, overhaul in 20: that turn is its own, the one after is taken along."""
    last = done("overhaul", "u1", MIDNIGHT - 400 * DAY, 0) | done("knives", "k1", MIDNIGHT - 100 * DAY, 6400)
    found = jobs(OVERHAUL, KNIVES, run=7800, done=last, horizon_days=400)
    assert [found[f"knives:k1:{n}"].renewed_by for n in (5, 6, 7)] == [None, "overhaul:u1:5", None]


def test_an_overhaul_past_due_is_taken_as_done_now():
    """Overdue for 100 h: the knives' next turn counts from now."""
    last = done("overhaul", "u1", MIDNIGHT - 400 * DAY, 0) | done("knives", "k1", MIDNIGHT - 100 * DAY, 7000)
    found = jobs(OVERHAUL, KNIVES, run=8100, done=last, horizon_days=400)
    assert found["knives:k1:5"].renewed_by == "overhaul:u1:5"
    assert found["knives:k1:6"].calendar_start_at == MIDNIGHT


def test_jobs_come_by_due_point_then_occurrence():
    """Sorted by due point; at one instant by kind, subject and sequence."""
    found = due_jobs(plant=plant(), done={}, hours=steady_hours(1000 * H), daily=steady_days(), at=AT, horizon_days=200)
    assert list(found) == sorted(found, key=lambda job: (job.due_at, job.job_id))
    assert {job.job_id.kind for job in found} == {"overhaul", "knives", "valve", "alarm"}


def test_kinds_that_renew_in_a_ring_still_end():
    """The document is refused for it; asked all the same, the answer comes and is the same each time."""
    ring = (replace(OVERHAUL, renews=("knives",)), replace(KNIVES, renews=("overhaul",)))
    assert jobs(*ring) == jobs(*ring) != {}


def test_subjects_and_where_they_are():
    """A part is where its pump is; a plant is nowhere in particular."""
    ship = plant()
    assert subjects_of(ship, KNIVES, AT) == ("k1", "k2", "k3")
    assert subjects_of(ship, ALARM, AT) == ("aft",)
    assert where(ship, Subject.PART, "k2", AT) == ("u2", "vp2")
    assert where(ship, Subject.PART, "k2", SET_UP_AT - DAY) == (None, None)
    assert where(ship, Subject.POSITION, "vp3", AT) == ("u3", "vp3")
    assert where(ship, Subject.PLANT, "aft", AT) == (None, None)


def test_what_a_job_takes_with_it():
    """An overhaul takes the knives in its pump and the valve of its position, on the bench only the knives."""
    kind = replace(OVERHAUL, renews=("knives", "valve"))
    ship = plant(kind, KNIVES, VALVE)
    assert renewals(ship, kind, "u2", AT) == (("knives", "k2"), ("valve", "vp2"))
    ashore = plant(kind, KNIVES, VALVE, stays=plant().stays[:1])
    assert renewals(ashore, kind, "u2", AT) == (("knives", "k2"),)
    whole = replace(ALARM, renews=("valve",))
    assert [subject for _, subject in renewals(plant(whole, VALVE), whole, "aft", AT)] == ["vp1", "vp2", "vp3"]


def at_hours(seconds: int) -> Any:
    return lambda subject, subject_id, at: RunningHours(seconds=seconds, as_of=at)


OLD = tuple(replace(stay, opening_running_hours=500.0) for stay in plant().stays)
OLD_PARTS = tuple(replace(fitting, opening_running_hours=500.0) for fitting in plant().fittings)


def test_a_pump_or_part_put_to_use_new_counts_from_there():
    """Nothing can have been done on it before; with hours on it already, nobody knows."""
    new = replace(plant().stays[0], opening_running_hours=0.0)
    found = reckon_first(
        plant(OVERHAUL, KNIVES, VALVE, ALARM, stays=(new, *OLD[1:]), fittings=OLD_PARTS), at_hours(9 * H)
    )
    assert {key: (d.done_at, d.running_seconds, d.estimated) for key, d in found.items()} == {
        ("overhaul", "u1"): (SET_UP_AT, 0, False)
    }


@pytest.mark.parametrize(("late", "known"), [(DAY, True), (DAY + timedelta(seconds=1), False), (-DAY, True)])
def test_new_before_its_kind_was_kept_count_of_is_not_known(late, known):
    """To the second; neither hours nor interval matter, so that none of them can hide a late job."""
    since = {"overhaul": SET_UP_AT + late}
    for run in (0, 10**9):
        found = reckon_first(plant(OVERHAUL, fittings=OLD_PARTS), at_hours(run), since=since)
        assert (("overhaul", "u1") in found) is known


def test_what_is_not_known_does_not_hide_behind_a_postponed_overhaul():
    """The overhaul will be later than now: the knives are planned by themselves."""
    last = done("overhaul", "u1", MIDNIGHT - 2000 * DAY, 0)
    late = jobs(OVERHAUL, KNIVES, run=9000, done=last)
    assert late["knives:k1:1"].renewed_by == "overhaul:u1:5"
    put_off = jobs(OVERHAUL, KNIVES, run=9000, done=last, postponed={"overhaul:u1:5": MIDNIGHT + 200 * DAY})
    assert put_off["knives:k1:1"].renewed_by is None


def test_last_done_counts_as_sequence_nought():
    """Given hours are taken; missing ones come from the ledger and are marked; a plant has none."""
    ship = plant(
        stays=OLD,
        fittings=OLD_PARTS,
        last_done=(
            LastDone(kind="knives", subject="k1", done_at=AT, running_hours=55.5),
            LastDone(kind="knives", subject="k2", done_at=AT),
            LastDone(kind="alarm", subject="aft", done_at=AT),
        ),
    )
    found = reckon_first(ship, at_hours(77 * H))
    assert {key: (d.running_seconds, d.estimated, d.job_id.sequence) for key, d in found.items()} == {
        ("knives", "k1"): (199_800, False, 0),
        ("knives", "k2"): (77 * H, True, 0),
        ("alarm", "aft"): (0, False, 0),
    }


def test_of_several_last_dones_the_latest_counts_and_an_overhaul_counts_for_what_it_renews():
    """Knives inspected before the overhaul start anew with it; inspected after, they keep their own."""
    ship = plant(
        last_done=(
            LastDone(kind="overhaul", subject="u1", done_at=AT, running_hours=500.0),
            LastDone(kind="knives", subject="k1", done_at=AT - DAY, running_hours=400.0),
            LastDone(kind="overhaul", subject="u2", done_at=AT, running_hours=500.0),
            LastDone(kind="knives", subject="k2", done_at=AT + DAY, running_hours=9.0),
        )
    )
    found = reckon_first(ship, at_hours(0))
    assert (found["knives", "k1"].done_at, found["knives", "k1"].running_seconds) == (AT, 0)
    assert (found["knives", "k2"].done_at, found["knives", "k2"].running_seconds) == (AT + DAY, 9 * H)


def test_a_part_moved_to_another_pump_goes_by_that_pump():
    """Knives moved from u1 to u2 are shown there."""
    fittings = (
        Fitting(part="k1", pump="u1", from_at=SET_UP_AT, to_at=AT - 9 * DAY),
        Fitting(part="k1", pump="u2", from_at=AT - 9 * DAY),
    )
    found = jobs(plant=plant(KNIVES, fittings=fittings))
    assert (found["knives:k1:1"].pump, found["knives:k1:1"].position) == ("u2", "vp2")


def test_hours_lost_at_a_counters_restart_bring_the_early_date_forward_until_answered():
    """Up to 100 h missing since the last overhaul: early moves days forward; lost before it: nothing."""
    overhauled = done("overhaul", "u1", MIDNIGHT - 300 * DAY)

    def overhaul(**changes: Any) -> DueJob:
        return jobs(OVERHAUL, done=overhauled, run=5000, **changes)["overhaul:u1:5"]

    plain, lost = overhaul(), overhaul(losses={"vp1": [(MIDNIGHT - 30 * DAY, 100 * H)]})
    assert plain.forecast is not None
    assert lost.forecast is not None
    assert lost.forecast.early_at <= plain.forecast.early_at - 5 * DAY
    assert lost.forecast.likely_at == plain.forecast.likely_at
    assert (lost.may_miss_seconds, lost.estimated) == (100 * H, True)
    assert overhaul(losses={"vp1": [(MIDNIGHT - 301 * DAY, 100 * H)], "vp2": [(MIDNIGHT - DAY, H)]}) == plain


PROOF = JobKind(
    code="pull_down",
    name="Pull-down test",
    subject=Subject.PUMP,
    takes_hours=1,
    takes_pump_out=False,
    interval_days=30,
    window_days=5,
    tolerance_days=6,
)
OPENS_IT = JobKind(
    code="overhaul",
    name="Overhaul",
    subject=Subject.PUMP,
    takes_hours=8,
    interval_days=60,
    window_days=10,
    tolerance_days=10,
    renews=("pull_down",),
)


@pytest.mark.parametrize(
    ("test_due_in", "overhaul_due_in", "by"),
    [
        (timedelta(days=9), timedelta(days=15), "overhaul:u1:5"),
        (timedelta(days=9), timedelta(days=15, hours=1), None),
        (timedelta(days=5), timedelta(days=10), "overhaul:u1:5"),
        (timedelta(days=5), timedelta(days=15, hours=1), None),
        (timedelta(days=1), timedelta(days=6), "overhaul:u1:5"),
        (timedelta(days=-1), timedelta(days=4), "overhaul:u1:5"),
        (timedelta(days=-7), timedelta(days=4), None),
        (timedelta(days=20), timedelta(days=15), "overhaul:u1:5"),
    ],
)
def test_a_test_due_while_its_overhaul_may_be_done_is_done_by_it(
    test_due_in: timedelta, overhaul_due_in: timedelta, by: str | None
) -> None:
    """Inside the overhaul's window and with the overhaul due by the test's limit, to the hour; past that it stands by itself."""
    last = done("overhaul", "u1", MIDNIGHT + overhaul_due_in - 60 * DAY)
    last |= done("pull_down", "u1", MIDNIGHT + test_due_in - 30 * DAY)
    assert jobs(OPENS_IT, PROOF, done=last)["pull_down:u1:5"].renewed_by == by


@pytest.mark.parametrize(("early", "by"), [(timedelta(0), "overhaul:u1:5"), (timedelta(seconds=1), None)])
def test_a_test_due_before_the_overhauls_window_stands_by_itself(early: timedelta, by: str | None) -> None:
    """Due as the window opens it is done by the overhaul, a second before it is not, however long its own limit."""
    patient = replace(PROOF, tolerance_days=20)
    last = done("overhaul", "u1", MIDNIGHT - 45 * DAY) | done("pull_down", "u1", MIDNIGHT - 25 * DAY - early)
    found = jobs(OPENS_IT, patient, done=last)
    assert found["overhaul:u1:5"].window_opens_at == MIDNIGHT + 5 * DAY
    assert found["pull_down:u1:5"].renewed_by == by


def test_an_inspection_that_opens_the_pump_keeps_its_own_due_point() -> None:
    """Only what a job ends with waits for it: a job that opens the pump is never put off to another's."""
    opens = replace(PROOF, takes_pump_out=True)
    last = done("overhaul", "u1", MIDNIGHT - 45 * DAY) | done("pull_down", "u1", MIDNIGHT - 21 * DAY)
    assert jobs(OPENS_IT, opens, done=last)["pull_down:u1:5"].renewed_by is None


@pytest.mark.parametrize(
    ("as_of", "days", "hours"), [(AT, 2, 24), (AT, 0, 0), (AT, -1, 0), (None, 2, 12), (AT - timedelta(days=1), 2, 36)]
)
def test_hours_likely_by_an_instant_go_on_from_the_reading(as_of: datetime | None, days: int, hours: int) -> None:
    """At 12 h a day from the reading, from now where there is none (a day later); never less than none."""
    forecast = Forecast(early_at=AT, likely_at=AT, late_at=AT, h_per_day=12.0, look_back_days=30, runs=3)
    job = replace(next(iter(jobs(OVERHAUL).values())), forecast=forecast, hours_as_of=as_of)
    now_at = AT + timedelta(days=1)
    assert job.likely_seconds_by(AT + timedelta(days=days), now_at) == hours * H
    assert replace(job, forecast=None).likely_seconds_by(AT, now_at) is None
