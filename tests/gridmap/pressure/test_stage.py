"""Wing buds as a share: against the binomial's own limits; refusals."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from scipy.special import expit, logit

from gridmap.errors import InputRefused
from gridmap.pressure import stage_share
from gridmap.pressure._laplace import laplace_of_shares


def test_common_share_is_that_of_the_binomial():
    """Scipy's beta posterior: with a flat prior 30 of 40 gives beta(31, 11); a wide normal prior is near to flat."""
    posterior = laplace_of_shares(np.full((1, 1, 1), 3.0), np.array([30.0]), np.array([40.0]), 0.0)
    mean = 3.0 * posterior.pull[0, 0]
    variance = 3.0 - 9.0 * posterior.precision()[0, 0, 0]
    exact = logit(stats.beta(31, 11).rvs(200_000, random_state=0))
    assert mean == pytest.approx(exact.mean(), abs=0.08)
    assert variance**0.5 == pytest.approx(exact.std(), rel=0.08)


def test_a_grove_without_pattern_gets_its_share_within_limits():
    rng = np.random.default_rng(0)
    xy = rng.uniform(0, 200, (80, 2))
    words = np.where(rng.random(80) < 0.3, "some", "none").tolist()
    told = stage_share(xy, words, xy)
    share = np.mean([word == "some" for word in words])
    assert told["median_share"].mean() == pytest.approx(share, abs=0.05)
    assert ((told["low_90"] < share) & (share < told["high_90"])).all()
    assert told[["low_90", "low_80", "low_50", "median_share", "high_50", "high_80", "high_90"]].to_numpy() == (
        pytest.approx(np.sort(told.iloc[:, :7].to_numpy(), axis=1)))


def test_most_is_rarer_than_some_and_missing_says_nothing():
    xy = [[0, 0], [10, 0], [20, 0], [30, 0]]
    words = ["some", "most", "none", None]
    some, most = (stage_share(xy, words, xy, at_least=word)["median_share"] for word in ("some", "most"))
    assert (most < some).all()
    assert stage_share(xy[:3], words[:3], xy)["median_share"].to_numpy() == pytest.approx(some.to_numpy())


def test_limits_hold_the_true_share():
    """Simulation: a logit field over 60 trees, 20 groves; 80 % limits hold about 80 % (no published example)."""
    inside = []
    for seed in range(20):
        rng = np.random.default_rng(seed)
        xy = rng.uniform(0, 150, (160, 2))
        K = 1.2 * np.exp(-2 * np.hypot(*(xy[:, None] - xy).transpose(2, 0, 1)) / 50)
        share = expit(rng.normal(0, 1) + np.linalg.cholesky(K + 1e-8 * np.eye(160)) @ rng.standard_normal(160))
        words = np.where(rng.random(60) < share[:60], "some", "none").tolist()
        told = stage_share(xy[:60], words, xy[60:])
        inside.append(((told["low_80"] < share[60:]) & (share[60:] < told["high_80"])).mean())
    print(f"\n80 % limits of the share hold {np.mean(inside):.3f}")
    assert np.mean(inside) == pytest.approx(0.8, abs=0.08)


@pytest.mark.parametrize(("arguments", "message"), [
    (([[0, 0]], [None], [[0, 0]]), "0 beats tell the stage"),
    (([[0, 0]], ["many"], [[0, 0]]), "Wing buds at index 0 is 'many': it must be one of none, some, most"),
    (([[0, 0]], [], [[0, 0]]), "wing_buds has 0 entries"),
])
def test_refusals(arguments, message):
    with pytest.raises(InputRefused, match=message):
        stage_share(*arguments)
