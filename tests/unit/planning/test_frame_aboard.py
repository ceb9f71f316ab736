"""From the vessel document and what is known beside it to a problem: everything aboard that binds arrives on the grid."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from scheduler.domain.base.enums import Subject
from scheduler.domain.capacity.minimum import Concession, Swept
from scheduler.domain.checks.crew import crew_faults, occasion_faults
from scheduler.domain.checks.job_kinds import kind_faults
from scheduler.domain.vessel.crew import Branch, Crew, CrewBlock, EngineerVisit, MinimumBlock, NoWork, QuietHours
from scheduler.domain.vessel.document import Plant
from scheduler.domain.vessel.job_kinds import JobKind, caution_line
from scheduler.domain.voyage.days import Stretch
from scheduler.planning.judge.check import judge
from scheduler.planning.problem.codec import problem_from_text, problem_to_text
from scheduler.planning.problem.facts import Bar, BarCode
from scheduler.planning.problem.frame import SERVICE_ENGINEER, Circumstances
from scheduler.planning.problem.shiphours import wall_hours
from scheduler.planning.problem.values import NotTogether, Problem
from scheduler.planning.search.stagger import stagger
from scheduler.shiptime import ShipOffset
from tests.unit.planning.test_frame import AT, DAY, GRID, HOUR, due, framed, only, plant

MINUTE = timedelta(minutes=1)


def _kind(**changed: object) -> JobKind:
    kind = JobKind(code="knife", name="Knife inspection", subject=Subject.PUMP, takes_hours=3)
    return replace(kind, **changed)  # type: ignore[arg-type]


def _with_kind(**changed: object) -> Plant:
    return plant(job_kinds=(_kind(**changed),))


def _hands_at(problem: Problem, step: int) -> int:
    return next((c.hands for c in problem.crew if c.from_step <= step < c.to_step), 0)


def _step(day: int, hour: int) -> int:
    """Step at which that ship's hour (UTC) of that day of December begins."""
    return (day - 1) * 24 + hour - 11


def test_hands_by_day_and_night_work() -> None:
    """One more hand on a date, nobody on a holiday, one hand at night over midnight, the rule otherwise."""
    crew = Crew(
        hands=2,
        start_hours=(8, 23),
        blocks=(
            CrewBlock(hands=1, label="night", from_hour=22, to_hour=4),
            CrewBlock(hands=3, label="riding squad", from_on=date(2026, 12, 3), to_on=date(2026, 12, 3), from_hour=8, to_hour=17),
            CrewBlock(hands=0, label="holiday", from_on=date(2026, 12, 25), to_on=date(2026, 12, 25)),
        ),
    )  # fmt: skip
    problem = framed(due(), plant=plant(crew=crew))
    assert [_hands_at(problem, _step(2, h)) for h in (3, 4, 8, 17, 22)] == [1, 0, 2, 0, 1]
    assert (_hands_at(problem, _step(3, 9)), _hands_at(problem, _step(25, 9))) == (3, 0)
    assert {_step(2, 8), _step(2, 23)} <= set(problem.start_steps)
    assert list(crew_faults("", crew)) == []
    assert crew.most_hands == 3


def test_a_job_may_be_done_at_night_when_demand_is_low() -> None:
    """By day both pumps are needed; the night hand takes the job at 23 o'clock."""
    night = Crew(start_hours=(8, 23), blocks=(CrewBlock(hands=1, label="night", from_hour=22, to_hour=4),))
    blocks = (MinimumBlock(minimum_swept_m3_per_h=90.0, label="guests awake", from_hour=5, to_hour=22),)
    problem = framed(due(), plant=plant(crew=night, minimum_blocks=blocks))
    (slot,) = stagger(problem).slots
    assert (GRID + slot.start * HOUR).hour == 23
    assert judge(problem, stagger(problem)).lawful


def test_a_person_works_eight_hours_a_day_from_the_ships_midnight() -> None:
    """8 h a person unless the crew says otherwise; the ship's day begins at its own midnight, rounded up to whole steps."""
    assert framed().person_hours == 8
    assert framed(plant=plant(crew=Crew(hours_a_person=10))).person_hours == 10
    assert framed().first_midnight == 13
    assert framed(offset_minutes=120).first_midnight == 11
    assert framed(offset_minutes=330).first_midnight == 8


def test_a_stretch_without_work_says_what_closes_it_and_who_would_be_there() -> None:
    """Only where hands would be at work: the rest of the stretch is closed anyway; a holiday within working hours too."""
    arrival = NoWork(from_at=GRID + 18 * HOUR, to_at=GRID + 22 * HOUR, label="port arrival")
    holiday = CrewBlock(hands=0, label="holiday", from_on=date(2026, 12, 4), to_on=date(2026, 12, 4))
    problem = framed(due(), plant=plant(crew=Crew(hands=2, no_work=(arrival,), blocks=(holiday,))))
    assert [(c.from_step, c.to_step, c.hands, c.label) for c in problem.closed] == [
        (_step(2, 8), _step(2, 9), 2, "port arrival"),
        (_step(4, 8), _step(4, 17), 2, "holiday"),
    ]
    assert problem_from_text(problem_to_text(problem)).closed == problem.closed
    assert [_hands_at(problem, c.from_step) for c in problem.closed] == [0, 0]


def test_set_up_needs_and_short_tests_come_from_the_kind() -> None:
    """Set-up hours, what a job needs, and a short test that takes no pump out but names the one it runs."""
    job = only(framed(due(), plant=_with_kind(setup_hours=1, needs=("port", "port"))))
    assert (job.setup_steps, job.needs, job.stop_minutes, job.tested, job.pump) == (1, ("port",), 0, None, "P1")
    short = only(framed(due(takes_pump_out=False), plant=_with_kind(stop_minutes=20, takes_pump_out=False)))
    assert (short.stop_minutes, short.tested, short.pump) == (20, "P1", None)


def test_port_sea_and_service_engineer_become_occasions() -> None:
    """Days of the operating calendar by kind, whole ship's days; visits in whole steps; nothing that no job needs."""
    visit = EngineerVisit(from_at=GRID + 30 * HOUR + timedelta(minutes=20), to_at=GRID + 60 * HOUR, label="maker")
    fitted = replace(_with_kind(needs=("port", SERVICE_ENGINEER)), engineer_visits=(visit,))
    days = (
        Stretch(from_on=date(2026, 12, 3), to_on=date(2026, 12, 4), kind="port"),
        Stretch(from_on=date(2026, 12, 5), to_on=date(2026, 12, 9), kind="sea"),
    )
    problem = framed(due(), plant=fitted, circumstances=Circumstances(days=days))
    assert [(o.need, o.from_step, o.to_step) for o in problem.occasions] == [
        ("port", _step(3, 0), _step(5, 0)),
        (SERVICE_ENGINEER, 31, 60),
    ]
    assert framed(due(), circumstances=Circumstances(days=days)).occasions == ()


def test_parts_come_on_a_date() -> None:
    """From the first whole step with the parts aboard on."""
    key = due().job_id.key
    beside = Circumstances(parts_from={key: GRID + 5 * DAY + timedelta(minutes=1), "other:x:1": GRID})
    assert only(framed(due(), circumstances=beside)).parts_from == 121
    assert only(framed(due())).parts_from is None


def test_a_concession_lowers_the_minimum_only_when_both_have_signed() -> None:
    """A lower minimum for whole steps inside its hours; without the hotel's name it is nothing; it never raises."""
    agreed = Concession(
        from_at=GRID + timedelta(minutes=30),
        to_at=GRID + 6 * HOUR,
        minimum=Swept(20.0),
        chief="A. Chief",
        hotel="B. Hotel",
    )
    lowered = framed(circumstances=Circumstances(concessions=(agreed,))).minimum[:3]
    assert [(m.from_step, m.to_step, m.litres_per_h) for m in lowered] == [
        (0, 1, 40_000),
        (1, 6, 20_000),
        (6, 20, 40_000),
    ]
    assert lowered[1].label == "minimum, lower as agreed"
    for useless in (replace(agreed, hotel=" "), replace(agreed, minimum=Swept(70.0))):
        assert framed(circumstances=Circumstances(concessions=(useless,))).minimum == framed().minimum


def test_quiet_hours_are_whole_steps_with_their_consent() -> None:
    """Quiet from 2 to 4 with consent; half an hour off UTC only the hours wholly inside count."""
    quiet = (QuietHours(most_stop_minutes=20, consent="hotel, 1 Dec", from_hour=2, to_hour=4),)
    first = framed(plant=plant(quiet_hours=quiet)).quiet[0]
    assert (first.from_step, first.to_step, first.most_minutes, first.consent) == (
        _step(2, 2),
        _step(2, 4),
        20,
        "hotel, 1 Dec",
    )
    half = framed(plant=plant(quiet_hours=quiet), offset_minutes=30).quiet[0]
    assert half.to_step - half.from_step == 1


def test_pumps_of_one_branch_by_where_they_stand() -> None:
    """The positions of a branch become their pumps; a branch with no more pumps than may be open says nothing."""
    branch = Branch(positions=("VP1", "VP2"), most_open=1, label="suction valve")
    assert framed(plant=plant(branches=(branch,))).not_together == (NotTogether(pumps=("P1", "P2"), most_out=1),)
    alone = plant(branches=(branch,), stays=plant().stays[:1])
    assert framed(plant=alone).not_together == ()


def test_a_change_of_ship_time_moves_working_hours_and_blocks() -> None:
    """An hour forward on the third: from then on work, starts and busy hours are an hour earlier in UTC; the grid goes on."""
    change = (GRID + 2 * DAY - 11 * HOUR, 60)
    before, after = framed(), framed(circumstances=Circumstances(clock_changes=(change,)))
    assert after.steps == before.steps
    assert _hands_at(after, _step(2, 8)) == 2
    assert (_hands_at(after, _step(3, 7)), _hands_at(after, _step(3, 16))) == (2, 0)
    assert {_step(2, 8), _step(3, 7)} <= set(after.start_steps)
    assert _step(3, 8) not in after.start_steps
    shifted = {m.from_step for m in after.minimum if m.label == "busy hours"}
    assert {_step(2, 7), _step(3, 6)} <= shifted


def test_a_change_of_ship_time_within_a_step_counts_for_the_whole_step() -> None:
    """Back by an hour at 09:30 while work is from 9 on: the step at 9 lies in nine and eight o'clock, so nobody works in it."""
    change = (GRID + 2 * DAY - 90 * MINUTE, -60)
    crew = Crew(hands=2, work_from_hour=9, work_to_hour=17, start_hours=(9,))
    problem = framed(due(), plant=plant(crew=crew), circumstances=Circumstances(clock_changes=(change,)))
    assert [_hands_at(problem, _step(3, h)) for h in (8, 9, 10, 17)] == [0, 0, 2, 2]
    assert _hands_at(problem, _step(2, 9)) == 2
    (hours,) = wall_hours(GRID + 2 * DAY - 2 * HOUR, 1, ShipOffset(0, (change,)))
    assert [hour % 24 for hour in hours] == [9, 8]


def test_lay_up_leaves_every_pump_free_to_be_opened() -> None:
    """With a minimum of 0 in lay-up both pumps may be open at once, and nothing lacks."""
    idle = plant(minimum_blocks=(MinimumBlock(minimum_swept_m3_per_h=0.0, label="lay-up"),), crew=Crew(hands=2))
    jobs = [due(pump=p, days=3.0, limit_at=AT + 3 * DAY, window_opens_at=AT + 2 * DAY) for p in ("P1", "P2")]
    problem = framed(*jobs, plant=idle)
    plan = stagger(problem)
    assert judge(problem, plan).lawful
    assert plan.shortfalls == ()
    assert len(plan.slots) == 2


def test_two_pumps_of_which_one_is_not_enough() -> None:
    """A two-pump ship whose minimum exceeds one pump: said in words with what lacks; a signed concession opens a place."""
    tight = plant(minimum_swept_m3_per_h=60.0, minimum_blocks=())
    problem = framed(due(), plant=tight)
    plan = stagger(problem)
    (short,) = plan.shortfalls
    assert judge(problem, plan).lawful
    (bar,) = short.blockers
    assert (bar.bar, bar.lacking_litres_per_h) == (Bar(code=BarCode.MINIMUM, label="minimum"), 2700)
    night = Concession(from_at=AT + 15 * DAY, to_at=AT + 16 * DAY, minimum=Swept(50.0), chief="A", hotel="B")
    helped = framed(due(), plant=tight, circumstances=Circumstances(concessions=(night,)))
    assert len(stagger(helped).slots) == 1


def test_an_isolation_shared_in_the_plan_taken_stays_shared_when_frozen() -> None:
    """Both dates of one isolation are kept, and one plan keeps both with the set-up spared; where the first must leave, the second
    gets its full work; with the first begun, the second goes on as it was."""
    kinds = (_kind(setup_hours=1), _kind(code="seal", takes_hours=4, setup_hours=2))
    first, second = due(days=6.0), due(days=7.0, kind="seal", takes_hours=4)
    keys = (first.job_id.key, second.job_id.key)
    begins = GRID + 6 * DAY + 21 * HOUR
    taken = {keys[0]: (begins, begins + 3 * HOUR), keys[1]: (begins + 3 * HOUR, begins + 6 * HOUR)}
    beside = Circumstances(shared={keys[1]: keys[0]})
    problem = framed(first, second, plant=plant(job_kinds=kinds), taken=taken, circumstances=beside, frozen_days=7)
    jobs = {job.key: job for job in problem.jobs}
    assert (jobs[keys[0]].kept_start, jobs[keys[0]].work_steps) == (165, 3)
    assert (jobs[keys[1]].kept_start, jobs[keys[1]].work_steps) == (168, 4)
    slots = {slot.key: slot for slot in stagger(problem).slots}
    assert [(slots[key].start, slots[key].end) for key in keys] == [(165, 168), (168, 171)]
    assert slots[keys[1]].isolation_of == keys[0]
    late = replace(beside, parts_from={keys[0]: begins + DAY})
    split = framed(first, second, plant=plant(job_kinds=kinds), taken=taken, circumstances=late, frozen_days=7)
    slots = {slot.key: slot for slot in stagger(split).slots}
    assert judge(split, stagger(split)).faults == ()
    assert slots[keys[1]].start == 168
    assert slots[keys[1]].isolation_of is None
    assert slots[keys[1]].end > 171
    begun = {keys[0]: (GRID - HOUR, GRID + 2 * HOUR), keys[1]: (GRID + 2 * HOUR, GRID + 5 * HOUR)}
    under_way = framed(first, second, plant=plant(job_kinds=kinds), taken=begun, circumstances=beside, frozen_days=7)
    assert {job.key: (job.fixed_start, job.work_steps) for job in under_way.jobs}[keys[1]] == (2, 3)


def test_what_was_set_by_hand_is_pinned_wherever_it_is_until_its_time_has_passed() -> None:
    """Beyond the frozen days, without its slot in the plan taken, and though its parts come later; begun, it has the work
    left; over, it is planned anew."""
    job = due(days=40.0)
    key, start = job.job_id.key, GRID + 30 * DAY
    pins = Circumstances(pins={key: start}, parts_from={key: start + DAY})
    for taken in ({}, {key: (start, start + 3 * HOUR)}):
        (framed_job,) = framed(job, circumstances=pins, taken=taken).jobs
        assert (framed_job.fixed_start, framed_job.published_start) == (720, None)
    (begun,) = framed(
        job, circumstances=Circumstances(pins={key: GRID - HOUR}), taken={key: (GRID - HOUR, GRID + HOUR)}
    ).jobs
    assert begun.fixed_start == -1
    for taken in ({}, {key: (GRID - 5 * HOUR, GRID - 2 * HOUR)}):
        (over,) = framed(job, circumstances=Circumstances(pins={key: GRID - 5 * HOUR}), taken=taken).jobs
        assert over.fixed_start is None


def test_beyond_the_published_days_a_date_is_not_worth_keeping() -> None:
    """Of two dates taken only the one within the published days is kept as such."""
    near, far = due(1, days=12.0), due(2, days=50.0)
    taken = {
        near.job_id.key: (GRID + 11 * DAY, GRID + 11 * DAY + 3 * HOUR),
        far.job_id.key: (GRID + 45 * DAY, GRID + 45 * DAY + 3 * HOUR),
    }
    jobs = {job.key: job for job in framed(near, far, taken=taken, published_days=30).jobs}
    assert jobs[near.job_id.key].published_start == 264
    assert jobs[far.job_id.key].published_start is None


@pytest.mark.parametrize(
    ("changed", "where"),
    [
        ({"crew": Crew(hours_a_person=0)}, "/hours_a_person"),
        ({"crew": Crew(blocks=(CrewBlock(hands=-1, label="night"),))}, "/blocks/0/hands"),
        ({"crew": Crew(blocks=(CrewBlock(hands=1, label="", from_hour=5, to_hour=5),))}, "/blocks/0/from_hour"),
        ({"crew": Crew(start_hours=(8, 23))}, "/start_hours/1"),
    ],
)
def test_a_crew_that_makes_no_sense_is_said(changed: dict[str, Crew], where: str) -> None:
    """Hands below 0, no hours, a start when nobody works: each with its place and what to do."""
    assert where in {at for at, _ in crew_faults("", changed["crew"])}


def test_quiet_hours_visits_and_branches_that_make_no_sense_are_said() -> None:
    """No consent, a stop of an hour, a visit that ends before it begins, a branch of one or of strangers."""
    wrong = plant(
        quiet_hours=(QuietHours(most_stop_minutes=60, consent=" "),),
        engineer_visits=(EngineerVisit(from_at=AT, to_at=AT - DAY, label="maker"),),
        branches=(Branch(positions=("VP1", "VP9"), most_open=2, label="valve"),),
    )
    found = {at for at, _ in occasion_faults("", wrong)}
    assert {
        "/quiet_hours/0/consent",
        "/quiet_hours/0/most_stop_minutes",
        "/branches/0/positions/1",
        "/branches/0/most_open",
    } <= found
    assert any(at.startswith("/engineer_visits/0") for at in found)


@pytest.mark.parametrize(
    ("changed", "where"),
    [
        ({"setup_hours": 3}, "/setup_hours"),
        ({"stop_minutes": 60}, "/stop_minutes"),
        ({"stop_minutes": 5}, "/takes_pump_out"),
        ({"needs": ("",)}, "/needs/0"),
        ({"hands": 3}, "/hands"),
    ],
)
def test_a_kind_that_makes_no_sense_is_said(changed: dict[str, object], where: str) -> None:
    """Set-up as long as the work, a short test of an hour or of a pump taken out, an empty need, too many hands."""
    found = {at for at, _ in kind_faults("", _kind(interval_days=30, **changed), plant())}
    assert where in found
    assert caution_line(_kind(**changed))
