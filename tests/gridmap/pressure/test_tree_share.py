"""The tree's share of unevenness: estimated from repeat beats of simulated trees; no published example."""

from __future__ import annotations

import numpy as np
import pytest

from gridmap.pressure import PressureModel


def repeats(share, seed, trees=60, beats=3, k=0.8):
    """Beats of trees whose unevenness of size k is the tree's by ``share``, on a wave that reaches far."""
    rng = np.random.default_rng(seed)
    xy = rng.uniform(0, 200, (trees, 2))
    whole = np.log1p(1 / k)
    of_tree = np.exp(rng.normal(-0.5 * share * whole, np.sqrt(share * whole), trees))
    size = 1 / np.expm1((1 - share) * whole)
    mean = np.repeat(5 * np.exp(np.sin(xy[:, 0] / 30)) * of_tree, beats)
    return np.repeat(xy, beats, axis=0), rng.poisson(mean * rng.gamma(size, 1 / size, len(mean)))


@pytest.mark.slow
def test_repeat_beats_tell_the_share():
    found = {share: np.mean([
        PressureModel(5).fit(*repeats(share, seed)).tree_share_ for seed in range(6)
    ]) for share in (0.05, 0.5, 0.9)}
    print(f"\nshare put in and mean of six estimates: {found}")
    # Held back by its prior: near places that differ much look like trees that differ.
    assert found[0.05] < 0.2 < found[0.5] < found[0.9]
    assert found[0.9] > 0.4


def test_without_repeats_a_quarter_and_what_is_given_stands():
    xy, counts = repeats(0.9, 0)
    assert PressureModel(5).fit(xy[::3], counts[::3]).tree_share_ == 0.25
    assert PressureModel(5, tree_share=0.4).fit(xy, counts).tree_share_ == 0.4
    # Four trees beaten twice are too few.
    assert PressureModel(5).fit(xy[:12], counts[:12]).tree_share_ == 0.25
    # The same tree on another visit is no repeat.
    visits = np.tile([1, 2, 3], 20)
    assert PressureModel(5).fit(xy[:60], counts[:60], visit=visits).tree_share_ == 0.25
