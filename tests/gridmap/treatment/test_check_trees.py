"""Check trees: the power told beforehand against simulated trials, and which trees are named."""

import numpy as np
import pytest

from gridmap.errors import InputRefused
from gridmap.treatment import Counted, check_trees_needed, efficacy_of_counts, power_of, propose_check_trees


def _trial(random, k, trees, efficacy):
    """Simulate clustered counts of a trial whose control grows by half."""
    def draw(mean, n):
        return Counted(tuple(random.poisson(random.gamma(k, mean / k, n)).astype(float)))

    return draw(8, trees[0]), draw(8 * 1.5 * (1 - efficacy), trees[0]), draw(10, trees[1]), draw(15, trees[1])


def test_power_is_what_simulated_trials_show():
    # Simulated truth (no published example): the chance that the lower limit is over 0 is the power told beforehand.
    random = np.random.default_rng(6)
    needed = check_trees_needed(8, 1.0, 25, efficacy_percent=80, power=0.8)
    assert needed is not None
    proved = 0
    for _ in range(1000):
        groups = _trial(random, 1.0, (25, needed), 0.8)
        proved += efficacy_of_counts(*groups).low > 0
    # The means of the simulated control differ a little from the design's, and k is estimated.
    assert proved / 1000 == pytest.approx(power_of(8, 1.0, 25, needed, efficacy_percent=80), abs=0.08)


def test_more_check_trees_more_power():
    powers = [power_of(5, 0.8, 20, n, efficacy_percent=70) for n in (2, 5, 10, 40)]
    assert powers == sorted(powers)
    assert check_trees_needed(5, 0.8, 20, efficacy_percent=95) <= check_trees_needed(5, 0.8, 20, efficacy_percent=80)


def test_check_trees_are_like_the_zone():
    # Physical sense: each layer of pressure gives one, so their mean is near the zone's; the same seed, the same trees.
    random = np.random.default_rng(3)
    xy, expected = random.uniform(0, 100, (200, 2)), random.gamma(2, 4, 200)
    chosen = propose_check_trees(xy, expected, 12, seed=4)
    assert len(set(chosen.tolist())) == 12
    assert expected[chosen].mean() == pytest.approx(expected.mean(), rel=0.2)
    assert (propose_check_trees(xy, expected, 12, seed=4) == chosen).all()
    assert (propose_check_trees(xy, expected, 12, seed=5) != chosen).any()
    gaps = np.linalg.norm(xy[chosen][:, None] - xy[chosen][None], axis=2) + np.eye(12) * 1e9
    assert gaps.min() > 5


def test_a_zone_of_check_trees_only_is_refused():
    with pytest.raises(InputRefused, match="1 check trees were asked for in a zone of 1 trees"):
        propose_check_trees([[0, 0]], [1], 1)
