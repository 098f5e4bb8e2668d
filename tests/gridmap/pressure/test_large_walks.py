"""Windows against all beats at once, at 300 to 600 beats; no published example."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from gridmap.pressure import PressureModel
from gridmap.pressure._fit import fit_walk
from gridmap.pressure._walk import read_walk
from gridmap.pressure._windows import CELL, windows


def walk(n, seed=2):
    rng = np.random.default_rng(seed)
    xy = rng.uniform(0, 12 * n**0.5, (n, 2))
    expected = 3 * np.exp(np.sin(xy[:, 0] / 40) + 0.7 * np.cos(xy[:, 1] / 30))
    block = (xy[:, 0] // 100).astype(int)
    return xy, rng.poisson(expected * rng.gamma(0.9, 1 / 0.9, n)), block, rng.uniform(0, 12 * n**0.5, (400, 2))


def as_if(xy, counts, block, whole):
    """Fit in the way asked for."""
    model = PressureModel(5).fit(xy, counts, block=block)
    model._fitted = fit_walk(read_walk(xy, counts, None, block, None, 3.0), model._fitted.log_mean, whole=whole)
    return model


def apart(near, dense):
    """Return how far log medians (root mean square) and chances (mean) lie apart, and the ratio of widths."""
    gap = np.log(near["median_per_beat"] / dense["median_per_beat"])
    width = np.log(near["high_80"] / near["low_80"]) / np.log(dense["high_80"] / dense["low_80"])
    return np.sqrt((gap**2).mean()), (near["chance_over"] - dense["chance_over"]).abs().mean(), width.mean()


@pytest.mark.slow
@pytest.mark.parametrize("n", [300, 600])
def test_windows_say_what_all_beats_say(n):
    """Stated tolerances. The same grid points: log medians 0.06, chances 0.012, widths 3 %.

    With the points weighed on clusters: 0.16, 0.03, 10 %; a log median's own 80 % limits are some 1.5 apart.
    """
    xy, counts, block, trees = walk(n)
    of_trees = (trees[:, 0] // 100).astype(int)
    model = as_if(xy, counts, block, True)
    dense = model.predict(trees, block=of_trees)
    model._fitted = replace(model._fitted, posterior=None)
    same = apart(model.predict(trees, block=of_trees), dense)
    own = apart(as_if(xy, counts, block, False).predict(trees, block=of_trees), dense)
    print(f"\n{n} beats, log median, chance, width: same points {np.round(same, 4)}, own points {np.round(own, 4)}")
    assert (np.array(same[:2]) < [0.06, 0.012]).all()
    assert same[2] == pytest.approx(1.0, abs=0.03)
    assert (np.array(own[:2]) < [0.16, 0.03]).all()
    assert own[2] == pytest.approx(1.0, abs=0.1)


def test_every_tree_has_one_window_and_every_window_its_near_beats():
    xy, _, _, trees = walk(1000)
    seen = []
    for beats, own in windows(xy, trees):
        seen.append(own)
        assert len(beats) >= CELL // 2
        nearest = np.argmin(np.hypot(*(trees[own][:, None] - xy[None]).transpose(2, 0, 1)), axis=1)
        assert np.isin(nearest, beats).all()
    assert np.array_equal(np.sort(np.concatenate(seen)), np.arange(400))


def test_draws_of_a_large_walk_agree_with_its_limits():
    xy, counts, block, trees = walk(400)
    of_trees = (trees[:, 0] // 100).astype(int)
    model = PressureModel(5).fit(xy, counts, block=block)
    told = model.predict(trees[:60], block=of_trees[:60])
    drawn = model.draw(trees[:60], block=of_trees[:60], n=1500, seed=3)
    assert np.log(np.median(drawn, axis=0)) == pytest.approx(np.log(told["median_per_beat"]).to_numpy(), abs=0.15)
    inside = ((told["low_80"].to_numpy() <= drawn) & (drawn <= told["high_80"].to_numpy())).mean()
    assert inside == pytest.approx(0.8, abs=0.02)


def test_a_walk_of_one_place_beaten_very_often():
    counts = np.random.default_rng(0).poisson(4, 400)
    told = PressureModel(5).fit(np.zeros((400, 2)), counts).predict([[0.0, 0.0]])
    assert told["median_per_beat"].iloc[0] == pytest.approx(4, abs=0.6)
