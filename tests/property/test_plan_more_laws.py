"""Laws of the planner around the search: the solver's seed and threads, ships planned together, wider windows, shared isolations."""

import json
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.planning.judge.check import judge
from scheduler.planning.problem.codec import problem_to_text
from scheduler.planning.problem.values import MinimumStretch, Problem
from scheduler.planning.search import highs
from scheduler.planning.search.stagger import stagger
from tests.property.test_plan_laws import problems
from tests.property.test_plan_tiers import problems as fuller_problems
from tests.unit.planning.cases import ship

ROOT = Path(__file__).parents[2]


def _starts(problem: Problem) -> list[tuple[str, int, int, str | None]]:
    return [(slot.key, slot.start, slot.end, slot.isolation_of) for slot in stagger(problem).slots]


@pytest.mark.parametrize("seed", [1, 7, 2026])
def test_the_solvers_seed_changes_nothing(monkeypatch: pytest.MonkeyPatch, seed: int) -> None:
    """The optimum is one: whatever the solver's random seed, the same slots and the same tiers."""
    problem = ship(4, days=75)
    usual = stagger(problem)
    monkeypatch.setitem(highs._OPTIONS, "random_seed", seed)
    other = stagger(problem)
    assert other.slots == usual.slots
    assert [tier.value for tier in other.tiers] == [tier.value for tier in usual.tiers]


def test_the_number_of_threads_changes_nothing() -> None:
    """With two threads, in a process of its own, the slots are those of one thread."""
    problem = ship(3, days=60)
    program = (
        "import json, sys; from scheduler.planning.search import highs; highs._OPTIONS['threads'] = 2;"
        "from scheduler.planning.problem.codec import problem_from_text; from scheduler.planning.search.stagger import stagger;"
        "print(json.dumps([[s.key, s.start, s.end, s.isolation_of] for s in stagger(problem_from_text(sys.stdin.read())).slots]))"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], input=problem_to_text(problem), capture_output=True, text=True, check=True, cwd=ROOT
    )  # fmt: skip
    assert [tuple(slot) for slot in json.loads(done.stdout)] == _starts(problem)


def _apart(problem: Problem, name: str) -> Problem:
    """The problem of a ship of that name whose jobs need nobody and whose plant may be empty."""
    pumps = tuple(replace(pump, pump=f"{name}-{pump.pump}") for pump in problem.pumps)
    jobs = tuple(
        replace(job, key=f"{name}-{job.key}", pump=None if job.pump is None else f"{name}-{job.pump}", hands=0)
        for job in problem.jobs
    )
    minimum = (MinimumStretch(from_step=0, to_step=problem.steps, litres_per_h=0),)
    return replace(problem, pumps=pumps, jobs=jobs, minimum=minimum)


@given(problems(), problems())
def test_two_ships_that_share_nothing_are_planned_together_as_apart(one: Problem, other: Problem) -> None:
    """Put into one problem, with nothing to share, each keeps the slots it has alone."""
    a, b = _apart(one, "a"), _apart(other, "b")
    together = replace(a, pumps=a.pumps + b.pumps, jobs=a.jobs + b.jobs)
    assert sorted(_starts(together)) == sorted(_starts(a) + _starts(b))


@given(problems(), st.integers(0, 48), st.integers(0, 48))
def test_a_wider_window_never_worsens_tier_1(problem: Problem, earlier: int, later: int) -> None:
    """Windows that open earlier and limits that come later never give more unplaced jobs or, with all placed, more days late."""

    def tier_1(asked: Problem) -> tuple[int, ...]:
        return tuple(tier.value for tier in stagger(asked).tiers if tier.tier <= 1)

    wider = replace(
        problem,
        jobs=tuple(replace(j, earliest=max(0, j.earliest - earlier), limit=j.limit + later) for j in problem.jobs),
    )
    assert tier_1(wider) <= tier_1(problem)


@given(fuller_problems())
def test_planning_again_moves_nothing_whatever_binds(problem: Problem) -> None:
    """With parts, needs, tests, branches and shared isolations too: the plan's own starts published, the same slots again."""
    first = stagger(problem)
    starts = {slot.key: slot.start for slot in first.slots}
    jobs = tuple(
        job if job.fixed_start is not None else replace(job, published_start=starts.get(job.key))
        for job in problem.jobs
    )
    again = stagger(replace(problem, jobs=jobs))
    assert judge(problem, first).lawful
    assert again.slots == first.slots
