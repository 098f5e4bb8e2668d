"""Prediction in its normal limit against two independent kriging programs; gathered curves against plain sums."""

from __future__ import annotations

import numpy as np
import pytest
from pykrige.ok import OrdinaryKriging
from scipy.spatial.distance import cdist

from gridmap.pressure._fit import fit_walk
from gridmap.pressure._laplace import gaussian, laplace
from gridmap.pressure._predict import block_index, evaluate, gather
from gridmap.pressure._prior import Grid
from gridmap.pressure._walk import covariance, read_walk

# Exponential range convention. Kriging programs: gamma = sill (1 - exp(-3 h / range)), the effective range where 95 %
# is reached. Here: correlation exp(-2 h / rho), 13 % left at rho. Hence rho = 2/3 of their range.
RHO_OF_RANGE = 2.0 / 3.0


def krige(xy, value, target, *, sill, range_m, noise, count=False, sd_free=100.0):
    """Return mean and variance at the targets by the model's own path, with no block term and a free mean.

    ``sd_free`` is the prior of the mean: so wide that it says nothing beside the data.
    """
    start = np.log(value).mean() if count else value.mean()
    walk = read_walk(xy, np.zeros(len(xy)), None, None, None, 3.0)
    points = Grid(np.array([RHO_OF_RANGE * range_m]), np.array([sill**0.5]), np.array([1.0]), np.zeros(1))
    K = sill * np.exp(-3 * cdist(xy, xy) / range_m)[None] + sd_free**2
    if count:
        posterior = laplace(K, value, np.full(len(xy), start), np.array([1.0 / noise]))
    else:
        posterior = gaussian(K, value - start, noise)
    none = np.zeros(1)
    curve = gather(
        walk, points, posterior, np.ones(1), log_mean=start, shift=none, extra=none, sd_mean=sd_free
    )
    found = evaluate(walk, curve, np.asarray(target, dtype=float), block_index(walk, None, len(target)))
    return found.mean[0], found.variance[0]


def pykrige(xy, value, target, *, sill, range_m, noise):
    program = OrdinaryKriging(
        xy[:, 0], xy[:, 1], value, variogram_model="exponential", exact_values=False,
        variogram_parameters={"psill": sill, "range": range_m, "nugget": noise},
    )
    mean, variance = program.execute("points", target[:, 0], target[:, 1])
    # Their variance is that of a new noisy value; the model's is that of the field itself.
    return np.asarray(mean), np.asarray(variance) - noise


@pytest.fixture
def field():
    rng = np.random.default_rng(11)
    xy, target = rng.uniform(0, 200, (40, 2)), rng.uniform(-50, 250, (60, 2))
    return xy, np.sin(xy[:, 0] / 40) + rng.normal(0, 0.3, 40), target


def test_normal_limit_is_ordinary_kriging(field):
    """PyKrige 1.7.3, exponential variogram, ordinary kriging with a nugget."""
    xy, value, target = field
    ours = krige(xy, value, target, sill=1.4, range_m=90.0, noise=0.1)
    theirs = pykrige(xy, value, target, sill=1.4, range_m=90.0, noise=0.1)
    # What is left over: the mean's own variance (0.1 or so) squared over that of its prior (1e4), and rounding.
    assert ours[0] == pytest.approx(theirs[0], abs=1e-5)
    assert ours[1] == pytest.approx(theirs[1], abs=1e-5)


def test_many_insects_and_large_k_is_ordinary_kriging_of_the_log(field):
    """PyKrige 1.7.3 on log counts: with counts near a million and k = 1e4 a count is its log with variance 1e-4."""
    xy, value, target = field
    counts = np.round(1e6 * np.exp(value))
    ours = krige(xy, counts, target, sill=1.4, range_m=90.0, noise=1e-4, count=True)
    theirs = pykrige(xy, np.log(counts), target, sill=1.4, range_m=90.0, noise=1e-4)
    # The log of such a count is skewed by half its variance, 5e-5; the variance differs by 1 part in 1e4.
    assert ours[0] == pytest.approx(theirs[0], abs=3e-4)
    assert ours[1] == pytest.approx(theirs[1], abs=3e-4)


def test_normal_limit_is_the_answer_of_an_independent_program(open_data):
    """KT3D_H2O, ordinary kriging, exponential, sill 500, range 3000, no nugget (answer file of PyKrige's tests)."""
    folder = open_data / "kt3d_reference"
    data = np.loadtxt(folder / "data.txt")
    lines = (folder / "ok_answer.asc").read_text().splitlines()[7:107]
    answer = np.array([line.split() for line in lines], dtype=float)
    east = 1067275.0 + 50.0 * np.arange(100)
    # First line north, lower-left cell centre in the header.
    north = 241459.0 + 25.0 * np.arange(100)[::-1]
    target = np.column_stack([np.tile(east, 100), np.repeat(north, 100)])
    mean, _ = krige(data[:, :2], data[:, 2], target, sill=500.0, range_m=3000.0, noise=1e-6, sd_free=1e3)
    # The answer is printed to 8 digits; the prior of the mean and a noise of 1e-6 leave 1e-3.
    assert mean.reshape(100, 100) == pytest.approx(answer, abs=5e-3)


def test_gathered_curves_have_the_mean_and_variance_of_the_mixture():
    """No published example: the law of total variance, grid point by grid point, by plain sums."""
    rng = np.random.default_rng(3)
    xy, block = rng.uniform(0, 80, (14, 2)), ["a"] * 8 + ["b"] * 6
    walk = read_walk(xy, rng.poisson(3, 14), None, block, None, 3.0)
    fitted = fit_walk(walk, 0.7)
    target, where = rng.uniform(0, 90, (5, 2)), ["a", "b", "c", "c", "a"]
    extra = rng.uniform(0, 0.2, len(fitted.points))
    curves = evaluate(
        walk, gather(walk, fitted.points, fitted.posterior, fitted.weight, log_mean=0.7, shift=-extra / 2, extra=extra),
        target, block_index(walk, where, 5),
    )
    means, variances, taught, local = [], [], [], []
    same = np.array([[w == b for b in block] for w in where], dtype=float)
    for g, M in enumerate(fitted.posterior.precision()):
        square = fitted.points.spread[g] ** 2
        place = square * np.exp(-2 * cdist(target, xy) / fitted.points.range_m[g]) + 0.25 * same
        k = place + 1.5**2
        means.append(0.7 + k @ fitted.posterior.pull[g] - extra[g] / 2)
        variances.append(square + 0.25 + 1.5**2 + extra[g] - np.einsum("ti,ij,tj->t", k, M, k))
        taught.append(np.einsum("ti,ij,tj->t", place, M, place))
        local.append(square + 0.25)
    means, variances = np.array(means), np.array(variances)
    mean = fitted.weight @ means
    variance = fitted.weight @ (variances + (means - mean) ** 2)
    gathered = curves.weight @ curves.mean
    assert gathered == pytest.approx(mean)
    assert curves.weight @ (curves.variance + (curves.mean - gathered) ** 2) == pytest.approx(variance)
    assert curves.informed == pytest.approx(fitted.weight @ np.array(taught) / (fitted.weight @ np.array(local)))


def test_suspected_beats_share_an_offset():
    """No published example: covariance by hand."""
    walk = read_walk([[0, 0], [30, 0], [0, 0]], [1, 2, 3], None, ["a", "a", "b"], [True, False, True], 3.0)
    points = Grid(np.array([30.0]), np.array([2.0]), np.array([1.0]), np.zeros(1))
    near, far = 4.0, 4.0 * np.exp(-2.0)
    expected = 2.25 + 1e-6 * np.eye(3) + np.array([
        [near + 0.25 + 2.25, far + 0.25, near + 2.25],
        [far + 0.25, near + 0.25, far],
        [near + 2.25, far, near + 0.25 + 2.25],
    ])
    assert covariance(walk, points)[0] == pytest.approx(expected)
