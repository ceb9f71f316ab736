"""A plan's text: facts since version 2, sentences before; what was stored then is read as it was."""

import json
from dataclasses import replace

import pytest

from scheduler.planning.problem.codec import plan_from_text, plan_to_text, problem_from_text
from scheduler.planning.problem.values import Remark, RemarkCode, ShortCode
from scheduler.planning.search.stagger import stagger
from scheduler.wording.plan import remark_words, shortfall_words
from tests.frozen.kept import load
from tests.unit.planning.cases import words_for

OLD = {
    "asked": "",
    "by": "solver",
    "moved_by": [],
    "problem_digest": "0" * 64,
    "proven": True,
    "remarks": ["tier 1 (days late): stopped before it was proven; 3, at best 2"],
    "shortfalls": [
        {
            "key": "knife:P1:1",
            "lacking_litres_per_h": 1000,
            "pump": "P1",
            "says": "knife:P1:1 (P1) has no place (3 h of work, 1 hand): starts 2026-12-02T08:00Z: nobody is at work.",
            "steps": [[5, 9]],
        }
    ],
    "slots": [],
    "solver": "",
    "tiers": [],
    "unsettled": [],
}


def test_a_plan_stored_with_sentences_is_read_with_them() -> None:
    """Its shortfall says what it said, and its figures are as they were; written anew it stays so."""
    plan = plan_from_text(json.dumps(OLD))
    (short,) = plan.shortfalls
    assert (short.code, short.steps, short.lacking_litres_per_h) == (ShortCode.AS_STORED, ((5, 9),), 1000)
    problem = problem_from_text(load("problems.json.gz")["rough ship 301"])
    assert shortfall_words(short, words_for(problem)) == OLD["shortfalls"][0]["says"]
    (remark,) = plan.remarks
    assert remark_words(remark, words_for(problem)) == OLD["remarks"][0]
    assert plan_from_text(plan_to_text(plan)) == plan
    assert json.loads(plan_to_text(plan))["remarks"] == OLD["remarks"]


@pytest.mark.parametrize("code", RemarkCode)
def test_a_remark_is_read_as_it_was_written(code: RemarkCode) -> None:
    """With its figures; those that say nothing are left out."""
    plan = plan_from_text(json.dumps(OLD))
    made = Remark(code=code, tier=3, value=2, bound=float("-inf"), text="x")
    made = Remark(code=code, text="x") if code is RemarkCode.AS_STORED else made
    again = plan_from_text(plan_to_text(replace(plan, remarks=(made,))))
    assert again.remarks == (made,)


@pytest.mark.parametrize("name", ["rough ship 301", "rough ship 294", "planned in the world 6"])
def test_a_plan_with_facts_is_read_as_it_was_written(name: str) -> None:
    """Shortfalls with all that forbids them, whatever order they came in; equal plans have equal digests."""
    plan = stagger(problem_from_text(load("problems.json.gz")[name]))
    assert any(short.blockers for short in plan.shortfalls)
    again = plan_from_text(plan_to_text(plan))
    assert sorted(again.shortfalls, key=repr) == sorted(plan.shortfalls, key=repr)
    assert plan_to_text(again) == plan_to_text(plan)


def test_a_plan_of_a_version_to_come_is_refused() -> None:
    """Both versions are named."""
    with pytest.raises(ValueError, match="version 1 or 2 was expected, 3 came"):
        plan_from_text(json.dumps(OLD | {"version": 3}))
