"""The planner's worker gives the plans it gave: slots to the hour, tier values, what was proved, what falls short."""

import pytest

from tests.frozen.kept import differences, load
from tests.frozen.planning import planned
from tests.frozen.test_answers import named


@pytest.mark.long
def test_every_frozen_problem_has_the_plan_it_had() -> None:
    """Published sets, drawn problems, demo ships, and what was planned in the frozen world."""
    problems, plans = load("problems.json.gz"), load("plans.json.gz")
    assert problems.keys() == plans.keys()
    found = []
    for name, (plan, _) in zip(problems, planned(problems.values()), strict=True):
        found += [f"{name}{one}" for one in differences(plans[name], plan)]
    assert not found, named(found)
