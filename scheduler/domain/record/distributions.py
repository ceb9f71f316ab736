"""The few distributions that reliability figures need, by their closed forms and series; the normal one is `statistics`' own.

Checked against scipy in `tests/external/reliability`; scipy itself is 143 MB, too much to take to sea for four functions.
"""

from collections.abc import Callable
from math import exp, gamma, log

from scheduler.errors import Refused

_TINY = 1e-17


def chi2_survival(x: float, degrees: int) -> float:
    """The probability of more than x, for an even number of degrees of freedom (2, 4, ...), x 0 or more.

    Source: NIST/SEMATECH e-Handbook 1.3.6.6.6 with Abramowitz and Stegun 26.4.21: the sum of Poisson probabilities.
    """
    half, term, total = x / 2, 1.0, 1.0
    scale = 0.0  # terms are kept near 1, and what was taken out of them as its logarithm: exp(-x/2) alone may be 0
    for k in range(1, degrees // 2):
        term *= half / k
        total += term
        if total > 1e100:
            term, total, scale = term / 1e100, total / 1e100, scale + log(1e100)
    return min(1.0, exp(log(total) + scale - half))


def chi2_quantile(probability: float, degrees: int) -> float:
    """The x that is exceeded with 1 less `probability` (above 0, below 1), for an even number of degrees of freedom."""
    high = float(degrees)
    while chi2_survival(high, degrees) > 1 - probability:
        high *= 2
    return root(lambda x: 1 - probability - chi2_survival(x, degrees), 0.0, high)


def lower_gamma(a: float, x: float) -> float:
    """The regularised lower incomplete gamma function, a above 0 and at most 1, x 0 or more.

    Source: Abramowitz and Stegun 6.5.29, a series of terms that are all above 0.
    """
    if x > 45:  # exp(-45) is below the last digit of 1
        return 1.0
    if x <= 0:
        return 0.0
    term = total = 1 / gamma(a + 1)
    n = 0
    while term > total * _TINY:
        n += 1
        term *= x / (a + n)
        total += term
    return min(1.0, float(x**a) * exp(-x) * total)


def root(of: Callable[[float], float], low: float, high: float) -> float:
    """Where a function that is continuous crosses 0 between two points of different sign, to the last digits; by bisection.

    Raises Refused where the signs are the same.
    """
    below, above = of(low), of(high)
    if below == 0 or above == 0:
        return low if below == 0 else high
    if (below > 0) == (above > 0):
        raise Refused(f"No figure is found between {low:g} and {high:g}. Check the hours.")
    while True:
        middle = (low + high) / 2
        if not low < middle < high:
            return middle
        if (of(middle) > 0) == (below > 0):
            low = middle
        else:
            high = middle
