"""The balanced draw: what its authors prove of it, and how even it is by a published measure."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.distance import cdist

from gridmap.errors import InputRefused
from gridmap.walk.balanced import balanced_draw, inclusion


def voronoi_balance(xy, probability, chosen):
    """Return the variance of summed probabilities over the trees nearest to each chosen one; 0 is perfectly even.

    Stevens and Olsen 2004, J. Am. Stat. Assoc. 99:262-278, doi:10.1198/016214504000000250, section 5.
    """
    nearest = cdist(xy, xy[chosen]).argmin(axis=1)
    return float(np.mean((np.bincount(nearest, probability, len(chosen)) - 1) ** 2))


def test_every_tree_keeps_its_probability():
    """Grafström, Lundström and Schelin 2012 (doi:10.1111/j.1541-0420.2011.01699.x), section 3: exactly."""
    rng = np.random.default_rng(2)
    xy = rng.uniform(0, 100, (40, 2))
    probability = inclusion(rng.uniform(1, 3, 40), 8)
    draws = 1500
    often = np.zeros(40)
    for _ in range(draws):
        often[balanced_draw(xy, probability, seed=rng)] += 1
    off = (often / draws - probability) / np.sqrt(probability * (1 - probability) / draws)
    assert np.abs(off).max() < 4
    assert 0.6 < (off**2).mean() < 1.5


def test_more_even_than_by_lot():
    rng = np.random.default_rng(5)
    xy = rng.uniform(0, 100, (300, 2))
    probability = np.full(300, 0.1)
    ours = [voronoi_balance(xy, probability, balanced_draw(xy, probability, seed=seed)) for seed in range(30)]
    lot = [voronoi_balance(xy, probability, rng.choice(300, 30, replace=False)) for _ in range(30)]
    # The authors report about a third of the value of simple random sampling for settings like these (their table 1).
    assert np.mean(ours) < 0.5 * np.mean(lot)


@settings(max_examples=60, deadline=None)
@given(n=st.integers(1, 30), more=st.integers(0, 40), seed=st.integers(0, 10**6), same=st.booleans())
def test_as_many_as_asked_for(n, more, seed, same):
    rng = np.random.default_rng(seed)
    xy = np.zeros((n + more, 2)) if same else rng.uniform(0, 50, (n + more, 2))
    probability = inclusion(rng.uniform(0.5, 4, n + more), n)
    assert probability.sum() == pytest.approx(n)
    chosen = balanced_draw(xy, probability, seed=seed)
    assert len(set(chosen.tolist())) == n
    assert (chosen == balanced_draw(xy, probability, seed=seed)).all()


@pytest.mark.parametrize("wrong", [-0.1, 1.1, np.nan])
def test_a_probability_that_is_none(wrong):
    with pytest.raises(InputRefused, match="from 0 to 1"):
        balanced_draw([[0, 0]], [wrong])
