"""Our few distribution functions against scipy's, over the range that reliability figures reach."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import special

from scheduler.domain.record.distributions import chi2_quantile, chi2_survival, lower_gamma, root
from scheduler.errors import Refused

HALF_DEGREES = st.integers(1, 2000)


@given(HALF_DEGREES, st.floats(0, 5000))
def test_the_chi_square_survival_function(half: int, x: float) -> None:
    """Source: scipy.special.chdtrc, even degrees of freedom."""
    assert chi2_survival(x, 2 * half) == pytest.approx(float(special.chdtrc(2 * half, x)), rel=1e-9, abs=1e-300)


@given(HALF_DEGREES, st.sampled_from([0.005, 0.05, 0.5, 0.95, 0.995]))
def test_the_chi_square_quantile(half: int, probability: float) -> None:
    """Source: scipy.special.chdtri, even degrees of freedom."""
    table = float(special.chdtri(2 * half, 1 - probability))
    assert chi2_quantile(probability, 2 * half) == pytest.approx(table, rel=1e-9)


@pytest.mark.parametrize(("degrees", "upper"), [(2, 5.991), (4, 9.488), (10, 18.307), (20, 31.410), (100, 124.342)])
def test_the_printed_table_of_critical_values(degrees: int, upper: float) -> None:
    """Source: NIST/SEMATECH e-Handbook 1.3.6.7.4, upper-tail critical values of chi-square at 0.05."""
    assert chi2_quantile(0.95, degrees) == pytest.approx(upper, abs=5e-4)


@given(st.floats(0.01, 1), st.floats(0, 1e6))
def test_the_lower_incomplete_gamma_function(a: float, x: float) -> None:
    """Source: scipy.special.gammainc."""
    assert lower_gamma(a, x) == pytest.approx(float(special.gammainc(a, x)), rel=1e-12, abs=1e-300)


def test_a_root_is_found_to_the_last_digits_or_refused() -> None:
    """The square root of 2, also with the signs the other way round; a root at an end; none where there is none."""
    assert root(lambda x: x * x - 2, 0, 2) == pytest.approx(math.sqrt(2), rel=1e-15)
    assert root(lambda x: 2 - x * x, 0, 2) == pytest.approx(math.sqrt(2), rel=1e-15)
    assert root(lambda x: x, 0, 2) == 0
    assert root(lambda x: x - 2, 0, 2) == 2
    with pytest.raises(Refused, match="No figure is found between 1 and 2"):
        root(lambda x: x, 1, 2)
