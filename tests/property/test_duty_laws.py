"""The lead order: all hours are shared out, every pump keeps some, and the one most above its rung leads."""

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from scheduler.planning.explain.lead_order import LEAST_SHARE, advise

pumps = st.dictionaries(st.sampled_from([f"p{i}" for i in range(8)]), st.floats(-200, 8000), min_size=1, max_size=8)


@given(pumps, st.floats(500, 10_000), st.floats(0.5, 100))
def test_every_hour_is_given_and_every_pump_keeps_its_least_share(left, interval, total):
    """What the pumps can run at all is given out, none above a day, none under a quarter of an equal share."""
    told = advise(left, interval_hours=interval, pump_hours_per_day=total, now_h_per_day={})
    n = len(left)
    given_out = sum(rung.h_per_day for rung in told.ladder)
    assert abs(given_out - min(total, 24 * n)) < 1e-6
    assert all(LEAST_SHARE * min(total / n, 24) - 1e-9 <= rung.h_per_day <= 24 + 1e-9 for rung in told.ladder)


@given(pumps, st.floats(500, 10_000), st.floats(0.5, 100))
def test_the_rungs_are_even_and_the_one_most_above_leads(left, interval, total):
    """Neighbouring rungs lie an nth of the interval apart, their sum is that of the hours left."""
    told = advise(left, interval_hours=interval, pump_hours_per_day=total, now_h_per_day={})
    rungs = sorted(rung.rung_hours for rung in told.ladder)
    assert all(abs(b - a - interval / len(left)) < 1e-6 * interval for a, b in pairwise(rungs))
    assert abs(sum(rungs) - sum(left.values())) < 1e-6 * (1 + sum(map(abs, left.values())))
    aboves = [rung.above_hours for rung in told.ladder]
    assert aboves == sorted(aboves, reverse=True)


@given(pumps, st.floats(500, 10_000), st.floats(0.5, 100), st.randoms(use_true_random=False))
def test_the_order_of_the_input_does_not_matter(left, interval, total, random):
    """A shuffled mapping gives the same advice."""
    items = list(left.items())
    random.shuffle(items)
    kwargs = {"interval_hours": interval, "pump_hours_per_day": total, "now_h_per_day": {}}
    assert advise(dict(items), **kwargs) == advise(left, **kwargs)
