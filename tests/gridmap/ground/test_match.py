"""A survey of known trees: every tree itself again, nothing doubled, and how sure that is.

Simulated groves (`simulated_groves.py`) are the yardstick. Where errors are so large that neighbours can't be told
apart, the rate is checked against the error rate of any method: two trees of a row swap where the difference of their
errors along the row is over the spacing (normal distribution; Abramowitz, M. and Stegun, I. A. (1972), table 26.1).
The sparse assignment is checked against `scipy.optimize.linear_sum_assignment`, a reference library's own.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linear_sum_assignment
from scipy.spatial.distance import cdist
from scipy.stats import norm

from gridmap.errors import InputRefused
from gridmap.ground import match_survey

sys.path.insert(0, str(Path(__file__).parent))
from simulated_groves import Recipe, simulate


def again(seed: int, *, error_m: float, shift_m: float, spacing_m=(4.0, 7.0), lost: float = 0.0):
    """Survey a simulated grove again; return old and new positions, who is who, and the shift."""
    grove = simulate(seed, Recipe(tree_spacing_m=spacing_m, position_error_m=0.0))
    rng = np.random.default_rng(10_000 + seed)
    seen = rng.permutation(np.flatnonzero(rng.random(len(grove.xy)) >= lost))
    way = rng.uniform(0, 2 * np.pi)
    shift = shift_m * np.array([np.cos(way), np.sin(way)])
    return grove.xy, grove.xy[seen] + shift + rng.normal(0, error_m / np.sqrt(2), (len(seen), 2)), seen, shift


def rates(seeds, **how) -> dict[str, float]:
    right = trees = false_missing = unknown = missing = 0
    off, sure = [], []
    for seed in seeds:
        old, new, seen, shift = again(seed, **how)
        found = match_survey(old, new, limit_m=2 * how.get("spacing_m", (4.0,))[0])
        pairs = found.matched
        itself = seen[pairs["new"]] == pairs["old"].to_numpy()
        right, trees = right + itself.sum(), trees + len(seen)
        lost = set(range(len(old))) - set(seen.tolist())
        false_missing += len(set(found.not_seen["old"]) - lost)
        missing += len(lost)
        unknown += len(found.unknown)
        off.append(np.hypot(*(found.shift_m - shift)))
        sure.append(pairs["sure"].mean() - itself.mean())
    return {
        "right": right / trees,
        "false_missing": false_missing,
        "unknown": unknown,
        "missing": missing,
        "shift_off_m": max(off),
        "sure_too_much": float(np.mean(sure)),
    }


@pytest.mark.parametrize("error_m", [0.3, 1.0])
@pytest.mark.parametrize("shift_m", [0.0, 2.0, 4.0])
def test_every_tree_is_itself_at_1_m_error_and_a_shift_of_metres(error_m, shift_m):
    found = rates(range(12), error_m=error_m, shift_m=shift_m)
    assert found["right"] == 1.0
    assert (found["false_missing"], found["unknown"]) == (0, 0)
    assert found["shift_off_m"] < 0.5


def test_a_survey_2_m_off_as_a_whole_matches_every_tree_to_itself():
    for seed in range(12):
        old, new, seen, _ = again(seed, error_m=0.0, shift_m=2.0)
        found = match_survey(old, new, limit_m=6.0)
        assert (seen[found.matched["new"]] == found.matched["old"]).all()
        assert len(found.matched) == len(old)
        assert found.matched["distance_m"].max() < 1e-6


@pytest.mark.parametrize(("spacing_m", "least"), [(4.0, 0.94), (5.0, 0.98), (6.0, 0.99), (7.0, 0.998)])
def test_at_2_m_error_only_neighbours_that_nobody_can_tell_apart_are_swapped(spacing_m, least):
    found = rates(range(15), error_m=2.0, shift_m=2.0, spacing_m=(spacing_m, spacing_m + 0.01))
    # The errors of two trees differ along the row by a normal deviate of standard deviation 2 m (2 / sqrt(2) each);
    # over the spacing, they have passed each other. Each such pair counts two trees.
    swapped = 2 * norm.sf(spacing_m / 2.0)
    assert found["right"] == pytest.approx(1 - swapped, abs=0.015)
    assert found["right"] >= least
    assert (found["unknown"], found["false_missing"]) == (0, 0)  # nothing doubled, nothing proposed as missing
    assert found["sure_too_much"] < 0.01


def test_trees_that_are_gone_are_proposed_and_no_others():
    found = rates(range(12), error_m=1.0, shift_m=2.0, lost=0.05)
    assert found["missing"] > 80
    assert (found["false_missing"], found["unknown"]) == (0, 0)


def test_new_trees_and_doubles_are_nobody():
    old = np.array([[5.0 * i, 7.0 * j] for j in range(6) for i in range(8)])
    extra = np.array([[52.0, 3.0], [10.6, 14.2]])  # beyond the rows; a second point beside tree 18
    found = match_survey(old, np.vstack([old + 0.2, extra]), limit_m=4.0)
    assert len(found.matched) == 48
    assert found.unknown["new"].tolist() == [48, 49]
    assert found.unknown["nearest_m"].round(1).tolist() == [17.0, 0.4]
    assert found.not_seen.empty


def test_one_row_alone_does_not_tell_a_shift_from_a_tree_further_along():
    row = np.column_stack([5.0 * np.arange(20), np.zeros(20)])
    found = match_survey(row, row[:-1] + np.array([5.0, 0.0]), limit_m=6.0)
    assert found.shift_doubt > 0.9
    assert match_survey(row, row + np.array([0.5, 0.0]), limit_m=6.0).shift_doubt < 1e-6
    kept = match_survey(row, row[:-1] + np.array([5.0, 0.0]), limit_m=6.0, shift_m=[0, 0])
    assert kept.not_seen["old"].tolist() == [0]


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10_000), st.integers(1, 9), st.integers(1, 9))
def test_the_pairs_are_the_cheapest_there_are(seed, n, m):
    """Sparse and dense answers cost the same; reference: `scipy.optimize.linear_sum_assignment`."""
    rng = np.random.default_rng(seed)
    old, new, limit = rng.uniform(0, 12, (n, 2)), rng.uniform(0, 12, (m, 2)), 5.0
    found = match_survey(old, new, limit_m=limit, shift_m=[0, 0])
    limit = found.limit_m
    squared = cdist(old, new, "sqeuclidean")
    dense = np.full((n + m, n + m), 0.0)
    dense[:n, :m] = np.where(squared <= limit**2, squared, 1e9)
    dense[:n, m:] = dense[n:, :m] = limit**2 / 2
    pairs = found.matched
    cost = (pairs["distance_m"] ** 2).sum() + (n + m - 2 * len(pairs)) * limit**2 / 2
    assert cost == pytest.approx(dense[linear_sum_assignment(dense)].sum(), abs=1e-6)
    assert pairs["old"].is_unique
    assert pairs["new"].is_unique
    assert sorted([*pairs["old"], *found.not_seen["old"]]) == list(range(n))
    assert sorted([*pairs["new"], *found.unknown["new"]]) == list(range(m))
    assert pairs["sure"].between(0, 1).all()


def test_nothing_given_and_what_can_not_be():
    assert match_survey([], [], limit_m=3).matched.empty
    assert match_survey([], [[1, 2]], limit_m=3).unknown["new"].tolist() == [0]
    with pytest.raises(InputRefused, match="Limit is 0 m: it must be over 0 m"):
        match_survey([[0, 0]], [[0, 0]], limit_m=0)
    with pytest.raises(InputRefused):
        match_survey([[0, np.nan]], [[0, 0]], limit_m=3)
