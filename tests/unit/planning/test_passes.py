"""Hours and dates together: outages and turns done early or late move the dates that rest on them, in three passes at most."""

from dataclasses import replace

from scheduler.planning.judge.check import judge
from scheduler.planning.problem.digest import problem_digest
from scheduler.planning.problem.values import MinimumStretch, Plan, PlanJob, Problem, PumpCapacity, Slot
from scheduler.planning.search.passes import MOST_PASSES, Running, drift, settle, starts_moved
from scheduler.planning.search.stagger import stagger
from tests.unit.planning.cases import STARTS_AT, crew_by_day, ship, starts_by_day

DAYS = 90
RUNNING = Running(h_per_day={"P1": 8.0, "P2": 8.0, "P3": 8.0})


def _problem(*jobs: PlanJob) -> Problem:
    return Problem(
        starts_at=STARTS_AT,
        steps=24 * DAYS,
        pumps=tuple(PumpCapacity(pump=p, litres_per_h=60) for p in ("P1", "P2", "P3")),
        minimum=(MinimumStretch(from_step=0, to_step=24 * DAYS, litres_per_h=60),),
        crew=crew_by_day(DAYS),
        start_steps=starts_by_day(DAYS),
        jobs=jobs,
    )


def _job(key: str, day: int, *, pump: str = "P1", after: str | None = None, interval: int = 0) -> PlanJob:
    due = 24 * day + 12
    return PlanJob(
        key=key, pump=pump, work_steps=3, hands=1, earliest=max(0, due - 240), ideal=due - 40, due=due, limit=due + 96,
        after=after, interval_steps=24 * interval if after else None,
    )  # fmt: skip


def _plan(*slots: tuple[str, str | None, int, int]) -> Plan:
    made = tuple(Slot(key=k, pump=p, start=s, end=e, least_margin_litres_per_h=0) for k, p, s, e in slots)
    return Plan(problem_digest="", slots=made, shortfalls=())


def test_an_open_pump_does_not_run_and_the_others_run_its_hours() -> None:
    """Ten days of P2 out: P1 and P3 run 8 x 10 / 2 = 40 h more each, 5 days' worth; P2's own dates come 10 days later."""
    problem = _problem(_job("knife:P1:1", 40), _job("knife:P2:1", 40, pump="P2"))
    running = replace(RUNNING, pump_of={"knife:P1:1": "P1", "knife:P2:1": "P2"})
    found = drift(problem, _plan(("overhaul:P2:1", "P2", 240, 480)), {}, running)
    assert found == {"knife:P1:1": -120, "knife:P2:1": 240}


def test_dates_by_the_calendar_stay_where_they_are() -> None:
    """A job that is not by hours moves with nothing but the turn before it."""
    problem = _problem(_job("knife:P1:1", 40))
    assert drift(problem, _plan(("overhaul:P2:1", "P2", 240, 480)), {}, RUNNING) == {"knife:P1:1": 0}


def test_what_an_overhaul_renews_counts_from_where_the_overhaul_is_planned() -> None:
    """Parts come a month late: the seal inspection that the overhaul renews is planned from its end on, not from its due point."""
    overhaul = replace(_job("overhaul:P1:1", 20), parts_from=24 * 40, limit=24 * 60)
    seal = _job("seal:P1:2", 50, after="overhaul:P1:1", interval=30)
    problem = _problem(overhaul, seal)
    asked, plan = settle(problem, RUNNING, stagger)
    slots = {slot.key: slot for slot in plan.slots}
    dates = {job.key: job for job in asked.jobs}
    assert judge(asked, plan).lawful
    assert plan.unsettled == ()
    assert slots["overhaul:P1:1"].start == 24 * 40 + 8
    assert dates["seal:P1:2"].due == slots["overhaul:P1:1"].end + 24 * 30
    assert dict(plan.moved_by)["seal:P1:2"] == dates["seal:P1:2"].due - seal.due
    assert plan.asked == problem_digest(problem)
    assert settle(problem, RUNNING, stagger, dict(plan.moved_by))[1].slots == plan.slots
    assert slots["seal:P1:2"].end <= dates["seal:P1:2"].limit
    assert sum(tier.value for tier in plan.tiers if tier.tier == 1) == 0


def test_turns_a_little_early_leave_the_next_ones_where_they_are() -> None:
    """A turn some days before its due point moves nothing; one three weeks before it moves all that follow it."""
    turns = [
        _job(f"knife:P1:{n}", 20 * n, after=f"knife:P1:{n - 1}" if n > 1 else None, interval=20) for n in (1, 2, 3)
    ]
    problem = _problem(*turns)
    early = _plan(
        ("knife:P1:1", "P1", 20 * 24 + 12 - 100, 20 * 24 + 12 - 90), ("knife:P1:2", "P1", 40 * 24, 40 * 24 + 3)
    )
    assert set(drift(problem, early, {}, RUNNING).values()) == {0}
    much = _plan(("knife:P1:1", "P1", 8, 11), ("knife:P1:2", "P1", 40 * 24, 40 * 24 + 3))
    assert drift(problem, much, {}, RUNNING) == {"knife:P1:1": 0, "knife:P1:2": 11 - 492, "knife:P1:3": 963 - 481 - 972}


def test_a_plan_whose_dates_hold_is_made_once() -> None:
    """Without turns that follow each other and with short outages one pass is enough, and nothing moves."""
    problem = _problem(_job("knife:P1:1", 40), _job("knife:P2:1", 44, pump="P2"))
    calls: list[Problem] = []

    def solve(asked: Problem) -> Plan:
        calls.append(asked)
        return stagger(asked)

    running = replace(RUNNING, pump_of={"knife:P1:1": "P1", "knife:P2:1": "P2"})
    asked, plan = settle(problem, running, solve)
    assert (len(calls), asked, plan.unsettled) == (1, problem, ())


def test_dates_that_never_settle_are_the_earliest_seen_with_the_days_they_may_move() -> None:
    """A solver that throws the outage to and fro: three passes, the earliest due point, and the days are said."""
    problem = _problem(_job("knife:P1:1", 60))
    calls: list[Problem] = []

    def to_and_fro(asked: Problem) -> Plan:
        calls.append(asked)
        days = 4 if len(calls) % 2 else 20
        return _plan(("overhaul:P2:1", "P2", 240, 240 + 24 * days))

    asked, plan = settle(problem, replace(RUNNING, pump_of={"knife:P1:1": "P1"}), to_and_fro)
    assert len(calls) == MOST_PASSES
    assert asked.jobs[0].due == problem.jobs[0].due - 24 * 10
    assert plan.unsettled == (("knife:P1:1", 8),)


def test_a_ring_of_turns_is_cut() -> None:
    """Two jobs that each claim to follow the other do not hang the planner."""
    ring = _problem(_job("a:P1:1", 20, after="b:P1:1", interval=10), _job("b:P1:1", 30, after="a:P1:1", interval=10))
    _, plan = settle(ring, RUNNING, stagger)
    assert len(plan.slots) + len([s for s in plan.shortfalls if s.key]) == 2


def test_a_whole_ship_settles() -> None:
    """Half a year of a three-pump ship with turns that follow each other: at most three passes, every plan lawful."""
    problem = ship(3, days=120)
    running = Running(
        h_per_day={f"P{n}": 9.0 for n in (1, 2, 3)}, pump_of={j.key: str(j.pump) for j in problem.jobs if j.pump}
    )
    asked, plan = settle(problem, running, stagger)
    assert judge(asked, plan).lawful
    assert {job.key for job in asked.jobs} == {job.key for job in problem.jobs}
    assert starts_moved(problem, {}) == problem
    assert all(days <= 10 for _, days in plan.unsettled)
