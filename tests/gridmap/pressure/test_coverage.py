"""Do limits hold what they promise? Groves drawn from the prior, walked, mapped, and looked up."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.spatial.distance import cdist

from gridmap.pressure import PressureModel
from gridmap.pressure._prior import JITTER, MEAN_PER_BEAT, SD_BLOCK, SD_MEAN, grid, spacing_factor
from gridmap.statistics import negative_binomial_log_pmf

DRAWS, BEATEN, LOOKED_UP = 300, 50, 20


def grove(rng):
    """Return places and blocks of trees in four blocks of 16 x 16, beaten ones first."""
    east, north = np.meshgrid(np.arange(16) * 6.0, np.arange(16) * 6.0)
    one = np.column_stack([east.ravel(), north.ravel()])
    trees = np.vstack([one + np.array([120.0 * (b % 2), 120.0 * (b // 2)]) for b in range(4)])
    pick = rng.choice(len(trees), BEATEN + LOOKED_UP, replace=False)
    return trees[pick], np.repeat(np.arange(4), 256)[pick]


@pytest.mark.slow
def test_limits_of_the_expected_count_hold_their_promise():
    """50, 80 and 90 % limits, tree_share 0, 300 groves from the prior, fixed seed (simulation; no published example).

    Within 3 points plus two standard errors; a standard error counts groves, not trees, and is printed.
    """
    rng = np.random.default_rng(7)
    hits, chances = [], []
    for _ in range(DRAWS):
        xy, block = grove(rng)
        points = grid(spacing_factor(xy[:BEATEN]))
        g = rng.choice(len(points), p=np.exp(points.log_prior))
        K = points.spread[g] ** 2 * np.exp(-2 * cdist(xy, xy) / points.range_m[g]) + JITTER * np.eye(len(xy))
        K += SD_BLOCK**2 * (block[:, None] == block) + SD_MEAN**2
        expected = MEAN_PER_BEAT * np.exp(np.linalg.cholesky(K) @ rng.standard_normal(len(xy)))
        unevenness = rng.gamma(points.size[g], 1 / points.size[g], BEATEN)
        counts = rng.poisson(np.minimum(expected[:BEATEN] * unevenness, 9e5))
        model = PressureModel(5, tree_share=0).fit(xy[:BEATEN], counts, block=block[:BEATEN])
        table, truth = model.predict(xy[BEATEN:], block=block[BEATEN:]), expected[BEATEN:]
        hits.append([((table[f"low_{p}"] <= truth) & (truth <= table[f"high_{p}"])).mean() for p in (50, 80, 90)])
        chances.append((table["chance_over"].mean(), (truth > 5).mean()))
    coverage = np.mean(hits, axis=0)
    error = np.std(hits, axis=0) / DRAWS**0.5
    print(f"\ncoverage of 50/80/90 %: {coverage.round(4)}, standard errors {error.round(4)}")
    assert (np.abs(coverage - [0.5, 0.8, 0.9]) < 0.03 + 2 * error).all()
    told, came = np.array(chances).T
    print(f"mean chance over {told.mean():.4f}, share over {came.mean():.4f}")
    assert abs((told - came).mean()) < 0.01 + 2 * (told - came).std() / DRAWS**0.5


def test_prior_weights_sum_to_one_and_know_the_size_of_the_walk():
    points = grid(1.0)
    assert np.exp(points.log_prior).sum() == pytest.approx(1.0)
    assert grid(3.0).range_m == pytest.approx(3 * points.range_m)
    # The prior of the range is one of ratios: its weights don't change with the spacing.
    assert grid(3.0).log_prior == pytest.approx(points.log_prior)


def test_prior_of_the_range_leaves_a_tenth_under_15_m():
    """Fuglstad and others (2019), theorem 2.6 for d = 2: P(rho < rho_0) = exp(-lambda / rho_0).

    Integrated numerically from the density that the grid weighs: (lambda / rho) exp(-lambda / rho) over log rho.
    """
    points = grid(1.0)
    first = (points.spread == points.spread[0]) & (points.size == points.size[0])
    ranges, weight = points.range_m[first], np.exp(points.log_prior[first])
    rate = -np.log(0.1) * 15.0
    density = rate / ranges * np.exp(-rate / ranges) * np.gradient(np.log(ranges))
    assert weight / weight.sum() == pytest.approx(density / density.sum())
    below, _ = quad(lambda t: rate * np.exp(-t) * np.exp(-rate * np.exp(-t)), -20, np.log(15.0))
    assert below == pytest.approx(0.1, abs=1e-6)


def test_spacing_factor():
    """By hand: median distance to the nearest beaten tree over 15 m, within 0.5 and 10."""
    assert spacing_factor(np.array([[0.0, 0.0], [30.0, 0.0], [90.0, 0.0]])) == pytest.approx(2.0)
    assert spacing_factor(np.array([[0.0, 0.0], [0.0, 0.0]])) == 1.0
    assert spacing_factor(np.array([[0.0, 0.0], [1.0, 0.0]])) == 0.5
    assert spacing_factor(np.array([[0.0, 0.0], [1e6, 0.0]])) == 10.0


def test_counts_are_drawn_as_the_model_believes():
    """Gamma times Poisson is the negative binomial of the likelihood: mean log probability within its own error."""
    rng = np.random.default_rng(1)
    y = rng.poisson(3.0 * rng.gamma(0.8, 1 / 0.8, 40_000))
    values = np.arange(400)
    log_pmf = negative_binomial_log_pmf(values, 3.0, 0.8)
    entropy = (np.exp(log_pmf) * log_pmf).sum()
    assert log_pmf[y].mean() == pytest.approx(entropy, abs=0.02)
