"""Rough small ships against exhaustive search and the judge: what is claimed of a plan, and of each start it does not use, is true.

Pumps that count for less, minima that change within the day, ragged working hours, night starts, turns that follow any other
job, jobs that are pinned where they cannot be.
"""

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from random import Random
from typing import Any

from hypothesis import example, given, settings
from hypothesis import strategies as st

from scheduler.planning.explain.reasons import explain_place
from scheduler.planning.explain.reliefs import lateness
from scheduler.planning.judge.check import Rule, judge
from scheduler.planning.problem.codec import plan_to_text
from scheduler.planning.problem.digest import problem_digest
from scheduler.planning.problem.values import (
    CrewStretch,
    Derated,
    MinimumStretch,
    NotTogether,
    Occasion,
    Plan,
    PlanJob,
    Problem,
    PumpCapacity,
    QuietStretch,
    Slot,
)
from scheduler.planning.search.ground import candidate_at, survey
from scheduler.planning.search.stagger import greedy_plan, stagger
from tests.unit.planning.brute import Brute, ranked
from tests.unit.planning.cases import STARTS_AT

EXAMPLES = 200 if settings.get_current_profile_name() == "full" else 12


def rough_ship(random: Random) -> Problem:
    """A ship of up to three pumps, a week and four jobs in which anything may stand in the way of anything."""
    days = random.choice([3, 4, 5, 7])
    steps = 24 * days
    names = ["P1", "P2", "P3"][: random.randint(1, 3)]
    starts = tuple(24 * d + h for d in range(days) for h in random.choice([(8,), (8, 13), (8, 22), (1,)]))
    return Problem(
        starts_at=STARTS_AT,
        steps=steps,
        pumps=tuple(_pump(random, name, steps) for name in names),
        minimum=_minimum(random, steps),
        crew=_crew(random, days),
        start_steps=starts,
        jobs=_jobs(random, names, starts, steps),
        person_hours=random.choice([24, 8, 5]),
        first_midnight=random.choice([0, 0, 5, 13]),
        occasions=tuple(
            Occasion(need="port", from_step=48 * n, to_step=48 * n + random.choice([12, 36])) for n in range(4)
        ),
        quiet=(
            QuietStretch(from_step=0, to_step=60, most_minutes=20, consent=random.choice(["hotel", " "])),
            QuietStretch(from_step=20, to_step=30, most_minutes=random.choice([10, 30]), consent="hotel"),
        ),
        not_together=random.choice([(), (), (NotTogether(pumps=tuple(names), most_out=1),)]),
    )


def _pump(random: Random, name: str, steps: int) -> PumpCapacity:
    begins = [random.randint(-10, steps - 1) for _ in range(random.choice([0, 0, 0, 1, 2]))]
    return PumpCapacity(
        pump=name,
        litres_per_h=random.choice([40, 50, 60]),
        derated=tuple(
            Derated(from_step=a, to_step=a + random.randint(1, 40), litres_per_h=random.choice([0, 0, 20, 70]))
            for a in begins
        ),
    )


def _minimum(random: Random, steps: int) -> tuple[MinimumStretch, ...]:
    found, at = [], 0
    while at < steps:
        ends = min(steps, at + random.choice([6, 12, 24, 40, 72]))
        litres = random.choice([0, 40, 50, 60, 90, 100, 110, 150])
        found.append(MinimumStretch(from_step=at, to_step=ends, litres_per_h=litres))
        at = ends
    if random.random() < 0.2:
        found.append(MinimumStretch(from_step=random.randint(0, steps - 2), to_step=steps, litres_per_h=100))
    return tuple(found)


def _crew(random: Random, days: int) -> tuple[CrewStretch, ...]:
    crew = []
    for day in range(days):
        ends = random.choice([12, 17, 17, 22, 32])
        crew.append(CrewStretch(from_step=24 * day + 8, to_step=24 * day + ends, hands=random.choice([0, 1, 2, 2, 3])))
        if random.random() < 0.3:
            begins = random.choice([0, 16, 22])
            crew.append(CrewStretch(from_step=24 * day + begins, to_step=24 * day + 24, hands=random.choice([1, 2])))
    return tuple(crew)


def _jobs(random: Random, names: list[str], starts: tuple[int, ...], steps: int) -> tuple[PlanJob, ...]:
    jobs: list[PlanJob] = []
    for number in range(random.randint(1, 4)):
        due, work, stop = random.randint(-50, steps + 20), random.randint(1, 14), random.choice([0] * 6 + [20])
        after = random.choice([None, None, *(job.key for job in jobs)])
        hands = tuple(random.randint(0, 2) for _ in range(work)) if random.random() < 0.15 and not stop else ()
        jobs.append(
            PlanJob(
                key=f"k{number}:x:1",
                pump=None if stop else random.choice([*names, *names, None]),
                work_steps=1 if stop else work,
                hands=random.randint(0, 2),
                earliest=max(0, due - random.randint(0, 96)),
                ideal=due - random.randint(-48, 96),
                due=due,
                limit=due + random.randint(0, 60),
                after=after,
                interval_steps=random.choice([None, random.randint(0, 100)]) if after else None,
                fixed_start=random.choice([None] * 5 + [random.choice(starts), random.randint(-5, steps)]),
                published_start=random.choice([None, None, random.choice(starts)]),
                setup_steps=random.randint(0, 3),
                hands_by_step=hands,
                needs=random.choice([(), (), (), ("port",)]),
                parts_from=random.choice([None] * 4 + [random.randint(0, steps + 10)]),
                stop_minutes=stop,
                tested=random.choice([*names, None]) if stop else None,
            )
        )
    return tuple(jobs)


RANDOMS = st.integers(0, 2**32).map(Random)


@settings(max_examples=EXAMPLES)
@example(rough_ship(Random(295)))  # a date shown before its window, at an hour without hands by now
@given(RANDOMS.map(rough_ship))
def test_a_proven_plan_is_the_best_of_all_in_every_tier(problem: Problem) -> None:
    """Lawful, proven, and no placement of all is better in any tier, in their order."""
    plan = stagger(problem)
    assert judge(problem, plan).faults == ()
    assert plan.proven, plan.remarks
    assert ranked(plan) == Brute(problem).best()


def _moved(problem: Problem, plan: Plan, key: str, start: int) -> Plan | None:
    """The plan with that job begun at `start` on an isolation of its own; none where it would not be finished."""
    ground = survey(problem)
    placed = candidate_at(ground, ground.by_key[key], start)
    if placed is None:
        return None
    pump = ground.by_key[key].pump
    slot = Slot(key=key, pump=pump, start=placed.start, end=placed.end, least_margin_litres_per_h=0)
    return replace(
        plan,
        slots=(*(s for s in plan.slots if s.key != key), slot),
        shortfalls=tuple(s for s in plan.shortfalls if s.key != key),
    )


@settings(max_examples=EXAMPLES)
@given(RANDOMS.map(rough_ship), st.sampled_from([stagger, greedy_plan]))
def test_a_start_is_called_forbidden_exactly_where_the_judge_faults_it(problem: Problem, make) -> None:
    """Each allowed start of each job, put into the plan in place of its own: faulted when the table names it, else lawful."""
    plan = make(problem)
    shares = {s.isolation_of for s in plan.slots} | {s.key for s in plan.slots if s.isolation_of}
    for job in problem.jobs:
        told = explain_place(problem, plan, job.key)
        named = [f for f in told.forbidden if f.starts]
        starts = (
            [job.fixed_start]
            if job.fixed_start is not None
            else [s for s in set(problem.start_steps) if s >= job.earliest]
        )
        for start in starts:
            reasons = [one.bar for one in named if one.from_step <= start < one.to_step]
            moved = _moved(problem, plan, job.key, start)
            faults = (
                [] if moved is None else [f for f in judge(problem, moved).faults if f.rule is not Rule.RIGHT_MARGIN]
            )
            forbidden = moved is None or bool(faults)
            if job.key in shares and not reasons:
                continue  # taken away from the isolation it shares, what is left of that one may be unlawful
            assert forbidden == bool(reasons), (job.key, start, reasons, faults)


@settings(max_examples=EXAMPLES)
@given(RANDOMS.map(rough_ship))
def test_a_job_is_told_as_many_days_late_as_its_plan_counts(problem: Problem) -> None:
    """By its own limit or by the one that the turn before it sets; in time, it is said to end before that limit."""
    plan = stagger(problem)
    late = lateness(problem, plan)
    for job in problem.jobs:
        told = explain_place(problem, plan, job.key)
        assert told.days_late == late.get(job.key, 0)
        if told.days_late is not None:
            assert told.reasons[0].code.startswith("late") == (told.days_late > 0)


def _tier_1(problem: Problem) -> tuple[int, ...]:
    return tuple(tier.value for tier in stagger(problem).tiers if tier.tier <= 1)


def _starts(problem: Problem) -> list[tuple[str, int, int, str | None]]:
    return [(slot.key, slot.start, slot.end, slot.isolation_of) for slot in stagger(problem).slots]


def _with_jobs(problem: Problem, change: Callable[[PlanJob], PlanJob]) -> Problem:
    return replace(problem, jobs=tuple(change(job) for job in problem.jobs))


@settings(max_examples=EXAMPLES)
@given(RANDOMS.map(rough_ship))
def test_more_room_never_worsens_a_rough_ship(problem: Problem) -> None:
    """Half the minimum, windows wider by a day each way, any one job less (unless another goes on with its isolation): never more
    pinned dates lost, jobs without a place or days late, in that order."""
    before = _tier_1(problem)
    easier = [
        replace(problem, minimum=tuple(replace(m, litres_per_h=m.litres_per_h // 2) for m in problem.minimum)),
        _with_jobs(problem, lambda job: replace(job, earliest=max(0, job.earliest - 24), limit=job.limit + 24)),
        *(
            replace(problem, jobs=tuple(j for j in problem.jobs if j != job))
            for job in problem.jobs
            if job.key not in _lends(problem)
        ),
    ]
    for other in easier:
        assert _tier_1(other) <= before


@settings(max_examples=EXAMPLES)
@given(RANDOMS.map(rough_ship))
def test_a_hand_more_never_worsens_a_rough_ship(problem: Problem) -> None:
    """Wherever there are hands, while no day's hours run out (a job may then use them up at a worse hour) and no job goes on with
    another's isolation (which would end elsewhere)."""
    whole = replace(problem, person_hours=24)
    if not _lends(whole):
        more = tuple(replace(c, hands=c.hands + 1) if c.hands else c for c in whole.crew)
        assert _tier_1(replace(whole, crew=more)) <= _tier_1(whole)


def _lends(problem: Problem) -> set[str]:
    return {slot.isolation_of for slot in stagger(problem).slots if slot.isolation_of is not None}


@settings(max_examples=EXAMPLES)
@given(RANDOMS.map(rough_ship), st.integers(1, 400), st.sampled_from([7, 1000]))
def test_a_rough_ship_planned_again_later_or_in_another_unit_moves_nothing(
    problem: Problem, days: int, factor: int
) -> None:
    """Its own starts published, the same slots; some days later, as many days later; in other units, the same."""
    first = _starts(problem)
    own = {key: start for key, start, _, _ in first}
    shown = _with_jobs(
        problem, lambda j: j if j.fixed_start is not None else replace(j, published_start=own.get(j.key))
    )
    pumps = tuple(
        replace(
            p,
            litres_per_h=factor * p.litres_per_h,
            derated=tuple(replace(d, litres_per_h=factor * d.litres_per_h) for d in p.derated),
        )
        for p in problem.pumps
    )
    minimum = tuple(replace(m, litres_per_h=factor * m.litres_per_h) for m in problem.minimum)
    assert _starts(shown) == first
    assert _starts(replace(problem, starts_at=problem.starts_at + timedelta(days=days))) == first
    assert _starts(replace(problem, pumps=pumps, minimum=minimum)) == first


@settings(max_examples=EXAMPLES)
@given(RANDOMS.map(rough_ship), st.randoms(use_true_random=False))
def test_the_order_of_a_rough_ships_parts_changes_nothing(problem: Problem, random: Random) -> None:
    """Every list mixed: the same digest of the problem and of its plan."""

    def mixed(name: str) -> tuple[Any, ...]:
        parts = list(getattr(problem, name))
        random.shuffle(parts)
        return tuple(parts)

    lists = ("pumps", "jobs", "minimum", "crew", "start_steps", "occasions", "quiet", "not_together")
    other = replace(problem, **{name: mixed(name) for name in lists})
    assert problem_digest(other) == problem_digest(problem)
    assert plan_to_text(stagger(other)) == plan_to_text(stagger(problem))
