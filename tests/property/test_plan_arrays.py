"""What is found in arrays, or among fewer starts, is what is found one by one."""

from random import Random

from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.planning.problem.values import Problem
from scheduler.planning.search.build import columns_of
from scheduler.planning.search.greedy import greedy, legal_offers
from scheduler.planning.search.ground import legal_candidates, survey
from scheduler.planning.search.model import ModelRow
from scheduler.planning.search.offers import field_of
from scheduler.planning.search.row_table import RowTable
from scheduler.planning.search.rows import plant_rows, week_rows
from scheduler.planning.search.tiers import TIERS, tier_value
from tests.property.test_plan_rough import rough_ship
from tests.property.test_plan_trust import in_time
from tests.unit.planning.rows_one_by_one import plant_rows_of_each_step, week_rows_of_each_day

EXAMPLES = 200 if settings.get_current_profile_name() == "full" else 12
PROBLEMS = st.one_of(
    *(st.integers(0, 2**32).map(lambda seed, make=make: make(Random(seed))) for make in (rough_ship, in_time))
)


def _known(rows: list[ModelRow]) -> list[ModelRow]:
    return sorted(set(rows))


@settings(max_examples=EXAMPLES)
@given(PROBLEMS, st.booleans(), st.integers(0, 12))
def test_rows_in_arrays_are_the_rows_of_each_step(problem: Problem, peak: bool, at_most: int) -> None:
    """Minimum, number, hands, hours of a day, one job a pump, tests, branches, what needs all closed; the crew's busiest week."""
    ground = survey(problem)
    field = field_of(ground, legal_offers(ground))
    columns = columns_of(ground, field, late_allowed=False, peak=peak)
    found = plant_rows(ground, field)
    assert _known(found[:]) == _known(plant_rows_of_each_step(ground, field, columns))
    assert len(found) == len(set(found[:]))
    weeks = week_rows(field, columns, at_most)
    assert _known(weeks[:]) == _known(week_rows_of_each_day(columns, at_most))


@given(
    st.lists(
        st.tuples(st.lists(st.tuples(st.integers(0, 6), st.integers(-3, 3)), min_size=1, max_size=4), st.integers(0, 5))
    )
)
def test_of_equal_rows_the_tightest_stays(drawn: list[tuple[list[tuple[int, int]], int]]) -> None:
    """Each shape once, with its least right side."""
    rows = [
        ModelRow(
            columns=tuple(sorted(dict(terms))),
            coefficients=tuple(dict(terms)[c] for c in sorted(dict(terms))),
            at_most=most,
        )
        for terms, most in drawn
    ]
    least: dict[tuple[tuple[int, ...], tuple[int, ...]], int] = {}
    for row in rows:
        shape = (row.columns, row.coefficients)
        least[shape] = min(row.at_most, least.get(shape, row.at_most))
    found = RowTable.of(rows).tightest()
    assert [((row.columns, row.coefficients), row.at_most) for row in found] == list(least.items())


@settings(max_examples=EXAMPLES)
@given(PROBLEMS)
def test_starts_up_to_the_limit_are_those_of_all_that_end_by_it(problem: Problem) -> None:
    """For every job; and where the plain rule is in time with them, it is as with all."""
    ground = survey(problem)
    some, every = legal_offers(survey(problem), days_late=0), legal_offers(ground)
    for job in ground.jobs:
        assert some[job.key] == tuple(one for one in legal_candidates(ground, job) if one.end <= job.limit)
    placed = greedy(ground, some)
    if not any(tier_value(ground, tier, placed) for tier in TIERS if tier.tier <= 1):
        assert placed == greedy(ground, every)
