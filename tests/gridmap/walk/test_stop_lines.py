"""The classic stop lines against published figures, and against the likelihood ratio they come from."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import nbinom

from gridmap.errors import InputRefused
from gridmap.walk import stop_lines


def test_a_published_plan():
    """Black bean aphid, from memory: Krebs, Ecological Methodology, chapter 9 (T = 13.893 n +- 58.219)."""
    slope, lower, upper = stop_lines(m0=10, m1=20, k=0.8, alpha=0.1, beta=0.1)
    assert slope == pytest.approx(13.893, abs=0.0005)
    assert upper == pytest.approx(58.219, abs=0.001)
    assert lower == pytest.approx(-58.219, abs=0.001)


@settings(max_examples=80, deadline=None)
@given(
    m0=st.floats(0.2, 20), times=st.floats(1.2, 6), k=st.floats(0.2, 8), alpha=st.floats(0.02, 0.3),
    beta=st.floats(0.02, 0.3), n=st.integers(1, 60),
)
def test_on_a_line_the_likelihood_ratio_is_walds(m0, times, k, alpha, beta, n):
    """Wald 1947: the test stops at ratio (1 - beta) / alpha and beta / (1 - alpha). The ratio is scipy's own."""
    m1 = m0 * times
    lines = stop_lines(m0, m1, k, alpha, beta)
    assert m0 < lines.slope < m1

    def log_ratio(total):
        # The sum of n such counts is negative binomial too, with size n k; its ratio is linear in the total.
        at = [nbinom.logpmf(whole, n * k, k / (k + m1)) - nbinom.logpmf(whole, n * k, k / (k + m0)) for whole in (0, 1)]
        return at[0] + total * (at[1] - at[0])

    scale = max(1.0, abs(log_ratio(0)))
    over = log_ratio(lines.upper + lines.slope * n)
    under = log_ratio(lines.lower + lines.slope * n)
    assert over == pytest.approx(math.log((1 - beta) / alpha), abs=1e-7 * scale)
    assert under == pytest.approx(math.log(beta / (1 - alpha)), abs=1e-7 * scale)


@pytest.mark.parametrize(
    ("given_", "message"),
    [((0, 4, 1, 0.1, 0.1), "M0 is 0"), ((4, 4, 1, 0.1, 0.1), "m0 must be under m1"), ((2, 4, 0, 0.1, 0.1), "K is 0"),
     ((2, 4, 1, 0.6, 0.4), "together they must be under 1"), ((2, math.nan, 1, 0.1, 0.1), "M1 is nan")],
)
def test_numbers_that_make_no_plan(given_, message):
    with pytest.raises(InputRefused, match=message):
        stop_lines(*given_)
