"""Every tier against exhaustive search, on small plants with turns that follow each other, pinned and published dates."""

from itertools import product

from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.planning.blockers import blockers
from scheduler.planning.check import judge
from scheduler.planning.greedy import greedy, legal_offers
from scheduler.planning.ground import candidate_at, survey
from scheduler.planning.model import Answer, Model, Outcome
from scheduler.planning.problem import MinimumStretch, PlanJob, Problem, PumpCapacity
from scheduler.planning.stagger import greedy_plan, stagger
from scheduler.planning.tiers import values_of
from tests.unit.planning.cases import STARTS_AT, crew_by_day, starts_by_day

DAYS = 12
STARTS = starts_by_day(DAYS, hours=(8,))

Choice = tuple[int, list[int]] | None


@st.composite
def problems(draw: st.DrawFn) -> Problem:
    """Twelve days with one start a day, two pumps of which one may be out, two series of up to two turns."""
    jobs = []
    for series in ("a", "b"):
        before = None
        pump = draw(st.sampled_from(["P1", "P2", None]))
        first = draw(st.integers(-24, 96))
        gap = draw(st.integers(0, 120))
        for turn in range(1, draw(st.integers(1, 2)) + 1):
            due = first + gap * (turn - 1) + draw(st.integers(0, 30))
            date = draw(st.sampled_from(STARTS))
            shown = draw(st.sampled_from(["new", "new", "published", "pinned"]))
            jobs.append(
                PlanJob(
                    key=f"{series}:x:{turn}",
                    pump=pump,
                    work_steps=draw(st.integers(1, 14)),
                    hands=draw(st.integers(1, 2)),
                    earliest=max(0, due - draw(st.integers(0, 96))),
                    ideal=due - draw(st.integers(-96, 48)),
                    due=due,
                    limit=due + draw(st.integers(0, 60)),
                    after=before,
                    interval_steps=gap if before else None,
                    fixed_start=date if shown == "pinned" else None,
                    published_start=date if shown == "published" else None,
                )
            )
            before = jobs[-1].key
    return Problem(
        starts_at=STARTS_AT,
        steps=24 * DAYS,
        pumps=(PumpCapacity(pump="P1", litres_per_h=60), PumpCapacity(pump="P2", litres_per_h=50)),
        minimum=(
            MinimumStretch(from_step=0, to_step=96, litres_per_h=draw(st.sampled_from([0, 50, 55]))),
            MinimumStretch(from_step=96, to_step=24 * DAYS, litres_per_h=draw(st.sampled_from([0, 50, 55]))),
        ),
        crew=crew_by_day(DAYS, hands=draw(st.integers(1, 3))),
        start_steps=STARTS,
        jobs=tuple(jobs),
    )


def _up(hours: int) -> int:
    return max(0, -(-hours // 24))


def _options(problem: Problem, job: PlanJob) -> list[Choice]:
    """No place, or a start with the steps in which it is worked on. Written apart from the planner."""
    hands = problem.crew[0].hands
    at_work = [step for step in range(problem.steps) if 8 <= step % 24 < 17 and hands >= job.hands]
    starts = problem.start_steps if job.fixed_start is None else (job.fixed_start,)
    options: list[Choice] = [None]
    for start in starts:
        worked = [step for step in at_work if step >= start][: job.work_steps]
        early = job.fixed_start is None and (start < job.earliest or start not in worked)
        if len(worked) == job.work_steps and not early:
            options.append((start, worked))
    return options


def _value(problem: Problem, choice: tuple[Choice, ...]) -> tuple[int, ...]:
    by_key = dict(zip((job.key for job in problem.jobs), choice, strict=True))
    pinned = unplaced = late = moved = off = 0
    for job in problem.jobs:
        own = by_key[job.key]
        shown = job.published_start is not None and job.fixed_start is None
        if own is None:
            unplaced += 1
            pinned += job.fixed_start is not None
            moved += shown
            continue
        limit, before = job.limit, by_key.get(job.after or "")
        if before is not None and job.interval_steps is not None:
            limit = min(limit, before[1][-1] + 1 + job.interval_steps + job.limit - job.due)
        late += _up(own[1][-1] + 1 - limit)
        moved += shown and own[0] != job.published_start
        off += _up(abs(own[0] - job.ideal) - 72)
    return pinned, unplaced, late, moved, off


def _holds(problem: Problem, choice: tuple[Choice, ...]) -> bool:
    placed = [(job, own) for job, own in zip(problem.jobs, choice, strict=True) if own is not None]
    by_key = {job.key: own for job, own in placed}
    for job, (start, _) in placed:
        before = by_key.get(job.after or "")
        if before is not None and start <= before[1][-1]:
            return False
    gives = {p.pump: p.litres_per_h for p in problem.pumps}
    for step in range(problem.steps):
        out = [job.pump for job, (start, worked) in placed if job.pump and start <= step <= worked[-1]]
        need = problem.minimum[0 if step < 96 else 1].litres_per_h
        if len(out) != len(set(out)) or (out and sum(gives.values()) - sum(gives[p] for p in out) < need):
            return False
        if sum(job.hands for job, (_, worked) in placed if step in worked) > problem.crew[0].hands:
            return False
    return True


def best_by_enumeration(problem: Problem) -> tuple[int, ...]:
    """(pinned lost, without a place, days late, moved, days off) of the best lawful placement, trying all in order."""
    choices = product(*(_options(problem, job) for job in problem.jobs))
    for value, choice in sorted(((_value(problem, c), c) for c in choices), key=lambda pair: pair[0]):
        if _holds(problem, choice):
            return value
    raise AssertionError("the empty placement always holds")


@settings(max_examples=30)
@given(problems())
def test_each_tier_equals_exhaustive_search(problem: Problem) -> None:
    """The plan is lawful and proven, and its tiers up to the ideal dates are the best there are, in their order."""
    plan = stagger(problem)
    assert judge(problem, plan).faults == ()
    assert plan.proven
    assert tuple(tier.value for tier in plan.tiers if tier.tier < 6) == best_by_enumeration(problem)


@given(problems())
def test_the_plain_rule_is_lawful_and_answers_every_job(problem: Problem) -> None:
    """The greedy plan passes the judge too, says who made it and never claims to be proven."""
    plan = greedy_plan(problem, "asked for")
    assert judge(problem, plan).faults == ()
    assert (plan.by, plan.proven, plan.remarks) == ("greedy", False, ("asked for",))


@given(problems(), st.data())
def test_whatever_a_solver_answers_the_plan_is_lawful_and_no_worse_than_the_plain_rule(
    problem: Problem, data: st.DataObject
) -> None:
    """Starts that ignore every row, dear ones, any or none, with any bound: no fault, and no tier in its order above the
    plain rule's."""

    def any_answer(model: Model) -> Answer:
        count = len(model.cost)
        how = data.draw(st.sampled_from(["cheapest", "dearest", "any", "none"]))
        if how == "any":
            used = {data.draw(st.sampled_from(choice)) for choice in model.choices}
        else:
            best = {"cheapest": min, "dearest": max}.get(how)
            used = {best(choice, key=lambda c: model.cost[c]) for choice in model.choices} if best else set()
        return Answer(
            outcome=data.draw(st.sampled_from([Outcome.OPTIMAL, Outcome.OPTIMAL, Outcome.LIMIT, Outcome.FAILED])),
            values=tuple(float(c in used) for c in range(count)),
            bound=data.draw(st.floats()),
            bound_if_used=data.draw(st.sampled_from([(), (0.0,) * count, (1e9,) * count])),
        )

    plan = stagger(problem, optimise=any_answer)
    assert judge(problem, plan).faults == ()
    ground = survey(problem)
    starts = {slot.key: candidate_at(ground, ground.by_key[slot.key], slot.start) for slot in plan.slots}
    assert tuple(tier.value for tier in plan.tiers) == values_of(ground, {k: c for k, c in starts.items() if c})
    assert all(tier.bound <= tier.value for tier in plan.tiers)
    plain = tuple(tier.value for tier in greedy_plan(problem).tiers)
    assert tuple(tier.value for tier in plan.tiers) <= plain


@given(problems())
def test_blockers_cover_exactly_the_starts_that_are_not_free(problem: Problem) -> None:
    """In a greedy placement a job without a place has a blocker over every allowed start of its window."""
    ground = survey(problem)
    placement = greedy(ground, legal_offers(ground))
    for job in ground.jobs:
        if job.key in placement:
            continue
        window = [s for s in STARTS if s >= job.earliest] if job.fixed_start is None else [job.fixed_start]
        found = blockers(ground, job, placement)
        barred = [s for s in window if any(b.from_step <= s < b.to_step for b in found)]
        assert barred == window
        assert sum(b.starts for b in found) == len(window)
