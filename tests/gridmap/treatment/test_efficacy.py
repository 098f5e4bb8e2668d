"""Efficacy against published examples, and limits against simulated trials."""

import numpy as np
import pytest

from gridmap.errors import InputRefused
from gridmap.treatment import (
    Counted,
    abbott,
    abbott_from_mortality,
    change_of_counts,
    efficacy_of_counts,
    henderson_tilton,
)


def test_abbott_of_the_epa_manual():
    # US EPA short-term chronic manual, table J1, as printed in R package ecotoxicology: 0.6410256 (input shares 1/40
    # and 26/40 from memory).
    assert abbott_from_mortality(26 / 40, 1 / 40) == pytest.approx(0.6410256, abs=5e-8)


def test_abbott_of_counts_alike_before():
    # The formula's own arithmetic: 100 left unsprayed, 20 sprayed.
    assert abbott(20, 100) == pytest.approx(80)


def test_henderson_tilton_of_an_open_test_suite():
    # No published paper example found; an open repository's tests hold Cb 40, Ca 60, Tb 50, Ta 5 -> 93.3333.
    assert henderson_tilton(50, 5, 40, 60).percent == pytest.approx(93.3333, abs=5e-5)


# Four counts and four parameters: the fit is perfect, as it should be.
@pytest.mark.filterwarnings("ignore:Perfect separation")
def test_henderson_tilton_limits_are_those_of_the_rate_ratio():
    # The 95 % limits of a ratio of ratios of Poisson counts, by statsmodels' log-linear model of the same 2 x 2 table.
    import statsmodels.api as sm

    counts = np.array([50, 5, 40, 60.0])
    design = np.array([[1, 1, 0, 0], [1, 1, 1, 1], [1, 0, 0, 0], [1, 0, 1, 0.0]])
    fit = sm.Poisson(counts, design).fit(disp=0, tol=1e-12)
    low, high = fit.conf_int()[3]
    found = henderson_tilton(50, 5, 40, 60)
    assert found.percent == pytest.approx(100 * (1 - np.exp(fit.params[3])), abs=1e-6)
    assert (found.low, found.high) == pytest.approx((100 * (1 - np.exp(high)), 100 * (1 - np.exp(low))), abs=1e-4)


def test_equal_counts_before_give_abbott():
    # Identity, no published example: with Tb = Cb the two formulas are one.
    assert henderson_tilton(70, 12, 70, 55).percent == pytest.approx(abbott(12, 55))


def test_none_left_is_all_gone_with_a_limit():
    found = henderson_tilton(50, 0, 40, 60)
    assert found.percent == 100.0
    assert 0 < found.low < found.high <= 100


def _trial(random, k, trees, efficacy):
    """Simulate clustered counts of a trial whose control grows by half."""
    def draw(mean, n):
        return Counted(tuple(random.poisson(random.gamma(k, mean / k, n)).astype(float)))

    return draw(8, trees[0]), draw(8 * 1.5 * (1 - efficacy), trees[0]), draw(10, trees[1]), draw(15, trees[1])


def test_limits_of_counts_hold_and_those_of_totals_do_not():
    # Simulated truth (no published example): 1,500 trials with k = 1; 95 % limits must hold in 92 to 98 of 100 trials
    # (standard error 0.6), those that take totals for Poisson in far fewer.
    random = np.random.default_rng(5)
    held = {"counts": 0, "totals": 0}
    trials = 0
    for _ in range(1500):
        groups = _trial(random, 1.0, (25, 12), 0.8)
        if groups[0].total == 0 or groups[2].total == 0:
            continue
        trials += 1
        wide = efficacy_of_counts(*groups)
        narrow = henderson_tilton(*(group.total for group in groups))
        held["counts"] += wide.low <= 80 <= wide.high
        held["totals"] += narrow.low <= 80 <= narrow.high
    assert 0.92 < held["counts"] / trials < 0.98
    assert held["totals"] / trials < 0.8


def test_a_fall_without_check_trees_is_change():
    found = change_of_counts(Counted((8, 6, 10)), Counted((2, 1, 3)))
    assert found.percent == pytest.approx(75)
    assert found.low < 75 < found.high


@pytest.mark.parametrize(("call", "message"), [
    (lambda: henderson_tilton(0, 0, 4, 4), "No insect was counted before on the sprayed trees"),
    (lambda: henderson_tilton(5, 1, 0, 4), "No insect was counted before on the check trees"),
    (lambda: henderson_tilton(5, -1, 3, 4), "Count after of the sprayed trees is -1 insects"),
    (lambda: abbott(5, 0), "Count of check trees is 0 insects: it must be over 0"),
    (lambda: abbott_from_mortality(0.5, 1), "Share dead of the check trees is 1: it must be under 1"),
    (lambda: efficacy_of_counts(Counted(()), Counted((1,)), Counted((1,)), Counted((1,))), "No tree was counted of"),
    (lambda: efficacy_of_counts(Counted((-2,)), Counted((1,)), Counted((1,)), Counted((1,))), "is -2: it must be 0"),
    (lambda: change_of_counts(Counted((0,)), Counted((1,))), "No insect was counted before"),
])
def test_what_can_not_be_is_refused(call, message):
    with pytest.raises(InputRefused, match=message):
        call()
