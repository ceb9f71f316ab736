"""Laws of a slot moved by hand, on small random plants: the judge, asked apart, agrees with every trial."""

from dataclasses import replace
from datetime import timedelta

from hypothesis import given
from hypothesis import strategies as st

from scheduler.planning.judge.check import judge
from scheduler.planning.judge.check_hours import hands_by_hour, hours_worked
from scheduler.planning.move.trial import taken_out, try_start
from scheduler.planning.problem.values import Plan, Problem, Slot
from scheduler.planning.search.stagger import greedy_plan, stagger
from tests.property.test_plan_laws import problems


@st.composite
def planned(draw: st.DrawFn) -> tuple[Problem, Plan, str]:
    """A problem with at times a chain of two turns, its plan, and a job that has a slot in it."""
    problem = draw(problems().filter(lambda problem: len(problem.jobs) > 0))
    if len(problem.jobs) > 1 and draw(st.booleans()):
        first, second = problem.jobs[:2]
        chained = replace(second, after=first.key, interval_steps=draw(st.integers(0, 30)))
        problem = replace(problem, jobs=(first, chained, *problem.jobs[2:]))
    made = (
        stagger if draw(st.integers(0, 4)) == 4 else greedy_plan
    )  # the solver's plan has pairs, the plain one is quick
    plan = made(problem)
    keys = [slot.key for slot in plan.slots]
    if not keys:
        problem = replace(problem, minimum=(), pumps=tuple(replace(p, derated=()) for p in problem.pumps))
        plan = made(problem)
        keys = [slot.key for slot in plan.slots] or [problem.jobs[0].key]
    return problem, plan, draw(st.sampled_from(keys))


def together(plan: Plan, key: str) -> list[str]:
    """The job, or the two jobs of its isolation in their order."""
    pair = next((s for s in plan.slots if s.isolation_of and key in (s.key, s.isolation_of)), None)
    return [key] if pair is None or pair.isolation_of is None else [pair.isolation_of, pair.key]


def by_hand(problem: Problem, plan: Plan, key: str, start: int) -> tuple[Problem, Plan] | None:
    """The same move written down without the code under test; none when the work does not end on the grid."""
    jobs = {job.key: job for job in problem.jobs}
    slots = {slot.key: slot for slot in plan.slots}
    hands = hands_by_hour(problem)
    at, spared, first = start, 0, None
    for one in together(plan, key):
        worked = hours_worked(problem, jobs[one], at, hands, spared) if 0 <= at < problem.steps else []
        if not worked:
            return None
        end = worked[-1][0] + 1
        slots[one] = Slot(
            key=one, pump=jobs[one].pump, start=at, end=end, least_margin_litres_per_h=0, isolation_of=first
        )
        jobs[one] = replace(jobs[one], earliest=min(at, jobs[one].earliest))
        at, first = end, one
    allowed = replace(problem, jobs=tuple(jobs.values()), start_steps=(*problem.start_steps, start))
    short = tuple(s for s in plan.shortfalls if s.key not in slots)
    return allowed, replace(plan, slots=tuple(slots.values()), shortfalls=short)


def later_than_planned(problem: Problem, plan: Plan, moved: Plan, key: str) -> bool:
    """Whether a moved job ends past its limit, and later than in the plan."""
    jobs = {job.key: job for job in problem.jobs}
    was, ends = ({slot.key: slot.end for slot in one.slots} for one in (plan, moved))

    def later(one: str) -> bool:
        job, limit = jobs[one], jobs[one].limit
        if job.after in ends and job.interval_steps is not None:
            limit = min(limit, ends[job.after] + job.interval_steps + job.limit - job.due)
        return ends[one] > max(limit, was.get(one, ends[one]))

    return any(later(one) for one in together(plan, key))


@given(planned(), st.integers(-3, 75))
def test_a_trial_holds_exactly_when_the_judge_and_the_three_other_rules_say_so(found, start: int) -> None:
    """One that holds is lawful as kept; one that does not is past, later than planned, or faulted by the judge. All other
    slots stay, and every job is answered once."""
    problem, plan, key = found
    told = try_start(problem, plan, key, start)
    own = {key, *told.with_keys}
    was, now = ({s.key: (s.start, s.end) for s in one.slots if s.key not in own} for one in (plan, told.plan))
    assert now == was
    answered = [slot.key for slot in told.plan.slots] + [s.key for s in told.plan.shortfalls if s.key is not None]
    assert sorted(answered) == sorted(job.key for job in problem.jobs)
    if told.holds:
        assert not told.against
        assert judge(told.problem, told.plan).lawful
        own = [slot for slot in told.plan.slots if slot.key in (key, *told.with_keys)]
        assert (min(s.start for s in own), max(s.end for s in own)) == (start, told.end) == (told.start, told.end)
        return
    assert told.against
    other = by_hand(problem, plan, key, start)
    if other is None:
        return
    rules = {fault.rule.name for fault in judge(*other).faults} - {"RIGHT_MARGIN"}
    assert rules or later_than_planned(problem, plan, other[1], key)


@given(planned(), st.integers(0, 75))
def test_every_time_offered_holds_when_tried(found, start: int) -> None:
    """Five at most, two a ship's day, and the planned one among them, marked, unless it does not hold itself."""
    problem, plan, key = found
    told = try_start(problem, plan, key, start)
    assert len(told.nearest) <= 5
    days = [one.start // 24 for one in told.nearest]
    assert all(days.count(day) <= 2 for day in days)
    for one in told.nearest:
        tried = try_start(problem, plan, key, one.start)
        assert tried.holds, tried.against
        assert (tried.end, tried.least_margin_litres_per_h) == (one.end, one.least_margin_litres_per_h)
    was = {slot.key: slot.start for slot in plan.slots if slot.key == together(plan, key)[0]}
    marked = [one.start for one in told.nearest if one.as_planned]
    assert marked == list(was.values())


@given(planned(), st.integers(-3, 75), st.integers(1, 400))
def test_a_shift_of_dates_shifts_the_trial(found, start: int, days: int) -> None:
    """Some days later the same move has the same outcome; what is told of it is the same."""
    problem, plan, key = found
    later = replace(problem, starts_at=problem.starts_at + timedelta(days=days))
    one = try_start(problem, plan, key, start)
    two = try_start(later, plan, key, start)
    assert (two.against, two.cautions, two.nearest) == (one.against, one.cautions, one.nearest)
    assert two.plan.slots == one.plan.slots


@given(planned(), st.integers(0, 75))
def test_a_move_undone_gives_the_plan_back(found, start: int) -> None:
    """Moved and moved back, every slot is where it was and as wide; taken out, only the job's own is gone. With work begun
    nothing is moved or offered."""
    problem, plan, key = found
    told = try_start(problem, plan, key, start)
    own = together(plan, key)
    was = next((slot for slot in plan.slots if slot.key == own[0]), None)
    if not told.holds or was is None:
        return
    begun = try_start(problem, plan, key, start, begun=True)
    assert (begun.holds, begun.nearest, sorted(begun.plan.slots)) == (False, (), sorted(plan.slots))
    back = try_start(told.problem, told.plan, key, was.start, going_back=True)
    assert back.holds
    assert sorted(back.plan.slots) == sorted(plan.slots)
    _, without = taken_out(told.problem, told.plan, key)
    assert sorted(s.key for s in without.slots) == sorted(s.key for s in plan.slots if s.key not in own)
    assert key in [short.key for short in without.shortfalls]


@given(planned(), st.integers(0, 75))
def test_what_is_set_by_hand_is_never_moved_by_planning_again(found, start: int) -> None:
    """Pinned where it was put, the job stays there, and what was published and still holds stays too."""
    problem, plan, key = found
    told = try_start(problem, plan, key, start)
    if not told.holds:
        return
    starts = {slot.key: slot.start for slot in told.plan.slots}
    if told.with_keys:
        return  # a pair is pinned with the work that is left to its second job: see the tests of the frame
    jobs = tuple(
        replace(job, fixed_start=start) if job.key == key else replace(job, published_start=starts.get(job.key))
        for job in problem.jobs
    )
    again = stagger(replace(problem, jobs=jobs))
    assert start in [slot.start for slot in again.slots if slot.key == key]
