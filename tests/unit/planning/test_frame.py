"""From due jobs to a problem: ship's hours on UTC steps, windows, turns that follow each other, slots already taken."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.domain.base.enums import JobState, Subject, Trigger
from scheduler.domain.capacity.minimum import Outage, Swept, minimum_at
from scheduler.domain.due.forecast import Forecast
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.due.last_done import JobId
from scheduler.domain.vessel.crew import Crew, MinimumBlock, NoWork
from scheduler.domain.vessel.document import Plant, Position, Pump, Stay
from scheduler.domain.vessel.job_kinds import JobKind
from scheduler.errors import Refused
from scheduler.planning.judge.check import judge
from scheduler.planning.problem.facts import Bar, BarCode
from scheduler.planning.problem.frame import RUN_OUT_DAYS, Circumstances, frame, slot_times
from scheduler.planning.problem.values import Derated, PlanJob, Problem, Slot
from scheduler.planning.search.stagger import stagger
from scheduler.wording.plan import shortfall_words
from tests.unit.planning.cases import words_for

AT = datetime(2026, 12, 1, 10, 20, tzinfo=UTC)
GRID = datetime(2026, 12, 1, 11, tzinfo=UTC)
DAY = timedelta(days=1)
HOUR = timedelta(hours=1)
CAPACITIES = {"P1": Swept(60.0), "P2": Swept(57.3), "P3": Swept(40.0)}


def plant(**changes: object) -> Plant:
    """Two pumps in positions and one ashore; busy hours 7 to 10 and a full ship on two dates."""
    made = Plant(
        id="plover-plant",
        name="Vacuum plant",
        receiver_m3=4.0,
        start_vacuum_kpa=40.0,
        stop_vacuum_kpa=55.0,
        minimum_swept_m3_per_h=40.0,
        positions=(Position(id="VP1", name="one"), Position(id="VP2", name="two")),
        pumps=tuple(Pump(id=p, serial=p, rated_swept_m3_per_h=60.0) for p in ("P1", "P2", "P3")),
        stays=(
            Stay(pump="P1", position="VP1", from_at=AT - 900 * DAY),
            Stay(pump="P2", position="VP2", from_at=AT - 900 * DAY),
        ),
        counters=(),
        job_kinds=(JobKind(code="knife", name="Knife inspection", subject=Subject.PUMP, takes_hours=3),),
        minimum_blocks=(
            MinimumBlock(minimum_swept_m3_per_h=50.0, label="busy hours", from_hour=7, to_hour=10),
            MinimumBlock(
                minimum_swept_m3_per_h=55.0005, label="full ship", from_on=date(2026, 12, 24), to_on=date(2026, 12, 25)
            ),
        ),
    )
    return replace(made, **changes)


def due(
    sequence: int = 1, *, pump: str | None = "P1", days: float = 20.0, kind: str = "knife", **changes: object
) -> DueJob:
    """A knife inspection due so many days ahead, its window five days before, its limit three days after."""
    at = AT + days * DAY
    made = DueJob(
        job_id=JobId(kind=kind, subject=pump or "plover-plant", sequence=sequence),
        kind_name="Knife inspection",
        pump=pump,
        position=None,
        takes_hours=3,
        hands=1,
        takes_pump_out=True,
        due_at=at,
        window_opens_at=at - 5 * DAY,
        limit_at=at + 3 * DAY,
        trigger=Trigger.CALENDAR,
        state=JobState.AHEAD,
        first=sequence == 1,
        calendar_start_at=at - 50 * DAY,
    )
    return replace(made, **changes)


def framed(*jobs: DueJob, **changes: object) -> Problem:
    """The problem of these jobs at AT in ship time UTC, 60 days ahead."""
    given_ = {
        "plant": plant(),
        "capacities": CAPACITIES,
        "outages": (),
        "offset_minutes": 0,
        "at": AT,
        "horizon_days": 60,
        **changes,
    }
    return frame(jobs=jobs, **given_)


def only(problem: Problem) -> PlanJob:
    (job,) = problem.jobs
    return job


def test_the_grid_starts_at_the_next_whole_hour_and_goes_past_the_horizon() -> None:
    """11:00 after 10:20, 10:00 at 10:00 sharp; the run-out gives jobs due on the last days somewhere to go."""
    assert framed().starts_at == GRID
    assert framed().steps == (60 + RUN_OUT_DAYS) * 24
    assert framed(at=GRID).starts_at == GRID


def test_pumps_in_no_position_are_left_out_and_capacities_round_down() -> None:
    """Only P1 and P2 stand in a position; 57.3 m3/h is 57300 litres/h exactly."""
    assert [(p.pump, p.litres_per_h) for p in framed().pumps] == [("P1", 60_000), ("P2", 57_300)]


def test_an_outage_becomes_a_stretch_widened_to_whole_hours() -> None:
    """From the hour in which it begins to the end of the one in which it ends; a stop without an end is assumed to last fourteen
    days, and what only counts for less goes on to the end of the grid."""
    outages = (
        Outage(
            pump="P1", from_at=GRID + 1.5 * HOUR, to_at=GRID + 2.5 * HOUR, counts_for=Swept(48.0), reason="not proved"
        ),
        Outage(pump="P2", from_at=AT - DAY, to_at=None, counts_for=Swept(0.0), reason="tripped"),
        Outage(pump="P1", from_at=AT - 2 * DAY, to_at=AT - DAY, counts_for=Swept(0.0), reason="over"),
    )
    problem = framed(outages=outages)
    assert problem.pumps[0].derated == (Derated(from_step=1, to_step=3, litres_per_h=48_000),)
    assert problem.pumps[1].derated == (Derated(from_step=0, to_step=13 * 24, litres_per_h=0, back="assumed"),)
    less = Outage(pump="P2", from_at=AT - DAY, to_at=None, counts_for=Swept(40.0), reason="not proved")
    assert framed(outages=(less,)).pumps[1].derated[0].to_step == problem.steps


@pytest.mark.parametrize(
    ("expected_at", "to_day", "back"),
    [
        (AT + 3 * DAY, 3, "expected"),
        (AT, None, ""),
        (AT - DAY, None, ""),
        (GRID + HOUR, 1 / 24, "expected"),
        (None, 13, "assumed"),
    ],
)
def test_a_return_as_told_holds_until_it_has_passed(
    expected_at: datetime | None, to_day: float | None, back: str
) -> None:
    """Told: till then; told and passed, to the minute: without end; not told: assumed, from the stop, whatever day it is."""
    trip = Outage(
        pump="P2", from_at=AT - DAY, to_at=None, counts_for=Swept(0.0), reason="tripped", expected_at=expected_at
    )
    problem = framed(outages=(trip,))
    (stretch,) = problem.pumps[1].derated
    whole = problem.steps if to_day is None else round(24 * to_day)
    assert (stretch.to_step, stretch.back) == (whole, back)


def test_an_assumed_return_that_has_passed_is_out_without_end() -> None:
    """Fourteen days after the stop nothing is assumed any more; an hour of the grid before it still is."""
    for since, end in ((14 * DAY, None), (14 * DAY - (GRID + HOUR - AT), 1)):
        trip = Outage(pump="P2", from_at=AT - since, to_at=None, counts_for=Swept(0.0), reason="tripped")
        problem = framed(outages=(trip,))
        assert problem.pumps[1].derated[0].to_step == (end or problem.steps)


@given(st.integers(-14 * 4, 14 * 4), st.integers(0, 74 * 24 - 1), st.integers(0, 59))
def test_the_minimum_of_a_step_is_never_below_any_minute_of_it(quarters: int, step: int, minute: int) -> None:
    """Whatever the offset, each minute's own minimum in ship time is met by its step's; with whole hours it is equal."""
    offset = 15 * quarters
    stretches = framed(offset_minutes=offset).minimum
    (stretch,) = [m for m in stretches if m.from_step <= step < m.to_step]
    wall = (GRID + step * HOUR + timedelta(minutes=minute + offset)).replace(tzinfo=None)
    need = minimum_at(plant(), wall)[0].m3_per_h * 1000
    assert stretch.litres_per_h >= need
    if offset % 60 == 0:
        assert stretch.litres_per_h < need + 1
        assert stretch.label == minimum_at(plant(), wall)[1]


@given(st.integers(-14 * 4, 14 * 4), st.integers(0, 59))
def test_hands_are_only_where_the_whole_step_is_working_time(quarters: int, minute: int) -> None:
    """Each minute of a step with hands lies in the ship's working hours, and each allowed start within an hour after its own."""
    offset = 15 * quarters
    crew = Crew(work_from_hour=20, work_to_hour=4, start_hours=(20, 1))
    problem = framed(plant=plant(crew=crew), offset_minutes=offset)
    at_work = {step for s in problem.crew for step in range(s.from_step, s.to_step)}
    for step in range(96):
        wall = GRID + step * HOUR + timedelta(minutes=minute + offset)
        if step in at_work:
            assert wall.hour >= 20 or wall.hour < 4
        elif offset % 60 == 0:
            assert 4 <= wall.hour < 20
    for step in problem.start_steps[:6]:
        begins = GRID + step * HOUR + timedelta(minutes=offset)
        since = min((begins - begins.replace(hour=h, minute=0)).total_seconds() % 86_400 for h in crew.start_hours)
        assert since < 3600
        assert step in at_work


def test_nobody_works_in_a_stretch_without_work() -> None:
    """Every step that such a stretch touches has no hands."""
    quiet = NoWork(from_at=GRID + 22.5 * HOUR, to_at=GRID + 24.5 * HOUR, label="pilotage")
    crew = framed(plant=plant(crew=Crew(no_work=(quiet,)))).crew
    at_work = {step for s in crew for step in range(s.from_step, s.to_step)}
    assert not at_work & {22, 23, 24}
    assert {21, 25} <= at_work


def test_a_job_keeps_its_window_and_is_aimed_before_its_due_point() -> None:
    """Window, due and limit in steps; the ideal lies 6 % of the 50 days' interval before the due point."""
    job = only(framed(due()))
    at = AT + 20 * DAY
    assert job.pump == "P1"
    assert job.earliest == -((GRID - (at - 5 * DAY)) // HOUR)
    assert (job.due, job.limit) == ((at - GRID) // HOUR, (at + 3 * DAY - GRID) // HOUR)
    assert job.ideal == (at - 3 * DAY - GRID) // HOUR
    assert (job.after, job.interval_steps, job.fixed_start, job.published_start) == (None, None, None, None)


def test_the_aim_never_lies_before_the_window() -> None:
    """An interval so long that 6 % of it is more than the window: aimed at the window's opening."""
    job = only(framed(due(calendar_start_at=AT - 600 * DAY)))
    assert job.ideal == (AT + 15 * DAY - GRID) // HOUR


def test_running_hours_aim_by_their_rate() -> None:
    """600 running hours at 12 h a day are 50 days, of which 6 % are three."""
    forecast = Forecast(early_at=AT, likely_at=AT, late_at=AT, h_per_day=12.0, look_back_days=30, runs=3)
    job = only(framed(due(trigger=Trigger.RUNNING_HOURS, interval_seconds=600 * 3600, forecast=forecast)))
    assert job.ideal == (AT + 17 * DAY - GRID) // HOUR


def test_a_past_due_job_may_start_now() -> None:
    """Its earliest start is the first step, never before; due and limit stay in the past."""
    job = only(framed(due(days=-30.0)))
    assert job.earliest == 0
    assert job.limit < 0


@pytest.mark.parametrize(
    ("changes", "planned"),
    [
        ({"days": 59.0}, True),
        ({"days": 70.0}, False),
        ({"days": 70.0, "limit_at": AT + 50 * DAY}, True),
        ({"renewed_by": "overhaul:P1:1"}, False),
        ({"state": JobState.DONE}, False),
        ({"state": JobState.WITHDRAWN}, False),
        ({"state": JobState.POSTPONED}, True),
    ],
)
def test_which_jobs_are_planned(changes: dict, planned: bool) -> None:
    """Those due or at their limit by the horizon, unless done, withdrawn or renewed by another job."""
    assert bool(framed(due(**changes)).jobs) is planned


@pytest.mark.parametrize(
    "changes", [{"pump": "P3"}, {"pump": None}, {"takes_pump_out": False}], ids=["ashore", "plant", "stays in"]
)
def test_a_job_that_takes_no_pump_out_says_so(changes: dict) -> None:
    """A pump ashore, a job of the plant, a job done with the pump running: no pump is taken."""
    assert only(framed(due(**changes))).pump is None


def test_a_turn_follows_the_one_before_it() -> None:
    """The next turn's interval runs from the due point of the one before, or from now when that is past."""
    ahead = {j.key: j for j in framed(due(1), due(2, days=50.0)).jobs}
    assert ahead["knife:P1:2"].after == "knife:P1:1"
    assert ahead["knife:P1:2"].interval_steps == 30 * 24
    past = {j.key: j for j in framed(due(1, days=-10.0), due(2, days=30.0)).jobs}
    assert past["knife:P1:2"].interval_steps == 30 * 24


def test_a_turn_after_a_renewed_one_follows_the_job_that_renews() -> None:
    """An overhaul that takes a knife inspection with it starts the next knife interval."""
    jobs = (
        due(1, kind="overhaul", days=18.0),
        due(1, renewed_by="overhaul:P1:1"),
        due(2, days=48.0),
    )
    by_key = {j.key: j for j in framed(*jobs).jobs}
    assert sorted(by_key) == ["knife:P1:2", "overhaul:P1:1"]
    assert (by_key["knife:P1:2"].after, by_key["knife:P1:2"].interval_steps) == ("overhaul:P1:1", 30 * 24)


@pytest.mark.parametrize(
    ("start_at", "fixed", "kept", "published"),
    [
        (GRID + 3 * DAY, None, 72, None),
        (GRID + 7 * DAY - HOUR, None, 167, None),
        (GRID + 7 * DAY, None, None, 168),
        (GRID - 3 * HOUR, -3, None, None),
        (GRID - 9 * HOUR, None, None, None),
    ],
    ids=["in the frozen days", "their last hour", "later", "begun", "its end has passed"],
)
def test_slots_already_taken(start_at: datetime, fixed: int | None, kept: int | None, published: int | None) -> None:
    """Kept within the frozen days unless impossible, pinned when begun, worth keeping later, planned anew when its end passed."""
    job = only(framed(due(), taken={"knife:P1:1": (start_at, start_at + 5 * HOUR)}))
    assert (job.fixed_start, job.kept_start, job.published_start) == (fixed, kept, published)


def test_a_slot_that_has_begun_keeps_its_times() -> None:
    """Begun at 08:00 with an end at 13:00: the plan goes on to 13:00, and the slot's own start comes back."""
    taken = {"knife:P1:1": (GRID - 3 * HOUR, GRID + 2 * HOUR)}
    problem = framed(due(takes_hours=5), taken=taken)
    assert only(problem).work_steps == 2
    plan = stagger(problem)
    assert judge(problem, plan).faults == ()
    assert slot_times(problem.starts_at, plan.slots[0]) == taken["knife:P1:1"]


def test_a_frozen_date_that_has_become_impossible_moves_alone() -> None:
    """P2 trips, so P1 may not be opened tomorrow as agreed: its date moves, and no other frozen date does; set by hand it stays
    and says that it cannot be kept."""
    taken = {"knife:P1:1": (GRID + 22 * HOUR, GRID + 25 * HOUR), "knife:P2:1": (GRID + 46 * HOUR, GRID + 49 * HOUR)}
    jobs = (due(days=3.0), due(pump="P2", days=3.0), due(pump="P1", kind="seal", days=20.0))
    before = framed(*jobs, taken=taken)
    assert [(s.key, s.start) for s in stagger(before).slots[:2]] == [("knife:P1:1", 22), ("knife:P2:1", 46)]
    trip = Outage(pump="P2", from_at=AT, to_at=AT + 5 * DAY, counts_for=Swept(0.0), reason="tripped")
    after = framed(*jobs, taken=taken, outages=(trip,))
    plan = stagger(after)
    assert judge(after, plan).faults == ()
    starts = {s.key: s.start for s in plan.slots}
    assert starts["knife:P2:1"] == 46
    assert starts["knife:P1:1"] >= 5 * 24
    assert [t.value for t in plan.tiers if t.name == "frozen dates moved"] == [1]
    pins = Circumstances(pins={"knife:P1:1": taken["knife:P1:1"][0]})
    by_hand = framed(*jobs, taken=taken, outages=(trip,), circumstances=pins)
    plan = stagger(by_hand)
    assert judge(by_hand, plan).faults == ()
    (lost,) = [s for s in plan.shortfalls if s.key is not None]
    assert lost.key == "knife:P1:1"
    assert "VP1 knife cannot keep its date Wed 2 Dec 09:00 (" in shortfall_words(lost, words_for(by_hand))


@pytest.mark.long
@settings(max_examples=15)
@given(st.integers(1, 700), st.integers(-14 * 4, 14 * 4), st.lists(st.floats(-20.0, 50.0), min_size=1, max_size=4))
def test_a_shift_of_every_date_by_whole_days_shifts_the_plan(days: int, quarters: int, dues: list[float]) -> None:
    """The same jobs, slots, outages and hours some days later: every slot lies as many days later."""
    yearless = plant(minimum_blocks=plant().minimum_blocks[:1])

    def slots(shift: timedelta) -> dict[str, tuple[datetime, datetime]]:
        jobs = []
        for turn, ahead in enumerate(sorted(dues), start=1):
            job = due(turn, days=ahead, pump=("P1", "P2")[turn % 2])
            moved = {name: getattr(job, name) + shift for name in ("due_at", "window_opens_at", "limit_at")}
            jobs.append(replace(job, calendar_start_at=AT + (ahead - 50) * DAY + shift, **moved))
        trip = Outage(
            pump="P2", from_at=AT + shift, to_at=AT + 2 * DAY + shift, counts_for=Swept(0.0), reason="tripped"
        )
        problem = framed(*jobs, plant=yearless, outages=(trip,), offset_minutes=15 * quarters, at=AT + shift)
        return {s.key: slot_times(problem.starts_at, s) for s in stagger(problem).slots}

    shift = days * DAY
    assert slots(shift) == {key: (a + shift, b + shift) for key, (a, b) in slots(0 * DAY).items()}


def test_a_job_longer_than_the_grid_or_than_any_opening_is_a_shortfall_in_words() -> None:
    """2000 h of work do not end on the grid; 12 h of work always reach into the busy hours, 3 h do not."""
    busy = MinimumBlock(minimum_swept_m3_per_h=100.0, label="busy hours", from_hour=7, to_hour=10)
    jobs = (
        due(1, takes_hours=2000),
        due(1, kind="overhaul", pump="P2", takes_hours=12),
        due(1, pump="P2"),
    )
    plan = stagger(framed(*jobs, plant=plant(minimum_blocks=(busy,))))
    assert [s.key for s in plan.slots] == ["knife:P2:1"]
    longest, overhaul = plan.shortfalls
    assert (longest.key, overhaul.key) == ("knife:P1:1", "overhaul:P2:1")
    assert [one.bar.code for one in longest.blockers] == [BarCode.NOT_FINISHED]
    assert overhaul.blockers[0].bar == Bar(code=BarCode.MINIMUM, label="busy hours")
    assert overhaul.lacking_litres_per_h == 40_000
    assert overhaul.pump == "P2"


def test_slot_times_are_the_inverse_of_steps() -> None:
    """Step 5 is five hours after the grid's start."""
    slot = Slot(key="knife:P1:1", pump="P1", start=5, end=8, least_margin_litres_per_h=0)
    assert slot_times(framed().starts_at, slot) == (GRID + 5 * HOUR, GRID + 8 * HOUR)


def test_a_capacity_that_is_no_figure_is_refused() -> None:
    """Infinite capacity: the message names the pump."""
    with pytest.raises(Refused, match="P1"):
        framed(capacities={"P1": Swept(float("inf"))})
