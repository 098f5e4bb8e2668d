"""The best runs of a row against every possible set of runs, and against an integer programme."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import Bounds, LinearConstraint, milp

from gridmap.errors import InputRefused
from gridmap.treatment import best_runs, number_runs


def objective(mask, chance, cost, start, loss, barred, shut):
    """Cost of one set, straight from the definition; None where a barred tree is in it."""
    total, before = 0.0, False
    for i, on in enumerate(mask):
        if on and barred[i]:
            return None
        if on:
            total += cost[i] + (0 if before and not shut[i] else start)
        elif not barred[i]:
            total += loss * chance[i]
        before = on
    return total


def brute_force(*args):
    """Least cost over all subsets, and the fewest trees that reach it."""
    n = len(args[0])
    found = [(objective(mask, *args), sum(mask)) for mask in itertools.product([False, True], repeat=n)]
    return min(pair for pair in found if pair[0] is not None)


def solve(chance, cost, start, loss, barred, shut):
    return best_runs(chance, row=np.ones(len(chance)), cost_per_tree=cost, start_cost=start, loss_per_tree=loss,
                     barred=barred, shut_before=shut)


@st.composite
def rows(draw, most=14):
    """Rows whose costs are sums of sixteenths, so that equal costs are equal in floating point too."""
    n = draw(st.integers(0, most))

    def listed(items):
        return draw(st.lists(items, min_size=n, max_size=n))

    sixteenths = st.integers(0, 16).map(lambda k: k / 16)
    costs = listed(st.integers(1, 32).map(lambda k: k / 16))
    barred = listed(st.booleans() if draw(st.booleans()) else st.just(False))
    start, loss = draw(st.integers(0, 8)) / 2, draw(st.integers(0, 12))
    return listed(sixteenths), costs, start, loss, barred, listed(st.booleans())


@settings(max_examples=60, deadline=None)
@given(rows(most=11))
def test_equal_to_brute_force(row):
    """Property, no published example: cost and number of trees are those of the best of all 2^n sets."""
    best = solve(*row)
    assert (objective(best, *row), int(best.sum())) == (brute_force(*row) if row[0] else (0.0, 0))


@pytest.mark.slow
@settings(max_examples=40, deadline=None)
@given(rows(most=14))
def test_equal_to_brute_force_up_to_14_trees(row):
    """Property, no published example."""
    best = solve(*row)
    assert (objective(best, *row), int(best.sum())) == (brute_force(*row) if row[0] else (0.0, 0))


def test_every_row_of_few_chances():
    """Exhaustive: every row of up to 6 trees with chances 0, 1/2, 1 and every barred tree."""
    for n in range(1, 7):
        for chance in itertools.product((0.0, 0.5, 1.0), repeat=n):
            for bar in (None, *range(n)):
                row = (chance, [1.0] * n, 1.5, 3.0, [i == bar for i in range(n)], [False] * n)
                best = solve(*row)
                assert (objective(best, *row), int(best.sum())) == brute_force(*row)


@settings(max_examples=15, deadline=None)
@given(rows(most=14))
def test_equal_to_an_integer_programme(row):
    """Outside check: scipy.optimize.milp (HiGHS) on x sprayed and s started, s_i >= x_i - x_(i-1)."""
    chance, cost, start, loss, barred, shut = row
    n = len(chance)
    if not n:
        return
    weight = np.where(barred, 0.0, loss * np.array(chance))
    joined = np.eye(n) - np.diag([0.0 if shut[i] else 1.0 for i in range(1, n)], k=-1)
    answer = milp(np.concatenate([np.array(cost) - weight, np.full(n, start)]), integrality=np.ones(2 * n),
                  bounds=Bounds(0, np.concatenate([1.0 - np.array(barred), np.ones(n)])),
                  constraints=LinearConstraint(np.hstack([joined, -np.eye(n)]), ub=0.0))
    assert objective(solve(*row), *row) == pytest.approx(answer.fun + weight.sum(), abs=1e-6)


def test_rows_do_not_touch():
    """Rows one after the other give what each gives alone."""
    rng = np.random.default_rng(3)
    chance, row = rng.random(60), np.repeat([1, 2, 3], 20)
    settings_ = {"cost_per_tree": 1.0, "start_cost": 2.0, "loss_per_tree": 3.0}
    alone = [best_runs(chance[row == r], row=row[row == r], **settings_) for r in (1, 2, 3)]
    assert np.array_equal(best_runs(chance, row=row, **settings_), np.concatenate(alone))


def test_without_start_cost_the_rule_is_chance_over_the_ratio():
    """Physical sense: without a start cost a tree is sprayed when its chance is over c / L, never at it (a tie)."""
    best = best_runs([0.24, 0.25, 0.26], row=[1, 1, 1], cost_per_tree=1, start_cost=0, loss_per_tree=4)
    assert best.tolist() == [False, False, True]


def test_a_barred_tree_shuts_the_gun():
    row = {"row": [1, 1, 1], "cost_per_tree": 1, "loss_per_tree": 5, "barred": [False, True, False]}
    best = best_runs([1, 1, 1], start_cost=3.5, **row)
    assert best.tolist() == [True, False, True]
    assert number_runs(best, row=[1, 1, 1]).tolist() == [0, -1, 1]
    assert not best_runs([1, 1, 1], start_cost=4.5, **row).any()


@pytest.mark.parametrize(("change", "message"), [
    ({"chance_over": [1.5]}, "Chance over threshold is 1.5 at index 0: it must be from 0 to 1."),
    ({"chance_over": [float("nan")]}, "Chance over threshold is nan at index 0"),
    ({"start_cost": -1}, "Start cost is -1: it must be at least 0."),
    ({"cost_per_tree": -1}, "A cost per tree is negative or not finite"),
    ({"row": [1, 1]}, "Row has 2 entries"),
])
def test_bad_input_is_refused(change, message):
    given_ = {"chance_over": [0.5], "row": [1], "cost_per_tree": 1, "start_cost": 1, "loss_per_tree": 1} | change
    with pytest.raises(InputRefused, match=message):
        best_runs(given_.pop("chance_over"), **given_)
