"""The level of the next walk from past ones: conditioning by another library, and plain sense."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from gridmap.errors import InputRefused
from gridmap.pressure import PastLevel, PressureModel, past_level
from gridmap.pressure._prior import MEAN_PER_BEAT, SD_MEAN
from gridmap.pressure.past import _LOG_PRIOR, ALIKE, _next_level


def visits(means, beats=30, seed=0):
    """Return places, counts and visits of even groves with these means."""
    rng = np.random.default_rng(seed)
    xy = rng.uniform(0, 150, (beats * len(means), 2))
    return xy, rng.poisson(np.repeat(means, beats)), np.repeat(np.arange(len(means)), beats)


def test_no_walk_gives_what_is_held_likely_of_any_grove():
    assert past_level(np.zeros((0, 2)), []) == PastLevel(MEAN_PER_BEAT, SD_MEAN, 0)
    xy, counts, _ = visits([6])
    plain = PressureModel(5).fit(xy, counts).predict(xy)
    none = PressureModel(5, past_level=past_level([], [])).fit(xy, counts).predict(xy)
    assert none.to_numpy() == pytest.approx(plain.to_numpy(), rel=1e-12)


def test_next_level_is_that_of_a_joint_normal_curve():
    """Conditioning by scipy's multivariate normal on a fine grid of the coming level; no published example."""
    seen, noise = np.array([1.1, 0.4, 0.9]), np.array([0.05, 0.1, 0.07])
    # `_next_level` is given what each visit says together with the prior of its own.
    variance = 1.0 / (1.0 / noise + 1.0 / SD_MEAN**2)
    mean, sd = _next_level(variance * seen / noise, variance)
    level = np.linspace(-12, 12, 4801)
    density = np.zeros(len(level))
    for c, weight in zip(ALIKE, np.exp(_LOG_PRIOR), strict=True):
        K = SD_MEAN**2 * (c + (1 - c) * np.eye(4)) + np.diag([*noise, 0.0])
        at = np.column_stack([np.tile(seen, (len(level), 1)), level])
        density += weight * multivariate_normal(np.zeros(4), K).pdf(at)
    density /= density.sum()
    assert mean == pytest.approx(density @ level, abs=1e-6)
    assert sd == pytest.approx(math.sqrt(density @ (level - density @ level) ** 2), abs=1e-5)


def test_steady_visits_narrow_the_level_and_restless_ones_do_not():
    steady = past_level(*visits([8, 8, 8, 8])[:2], visit=visits([8, 8, 8, 8])[2])
    restless = past_level(*visits([1, 30, 2, 40])[:2], visit=visits([1, 30, 2, 40])[2])
    assert steady.visits == restless.visits == 4
    # Poisson counts of an even grove: the level is the mean but for what little field the model still holds possible.
    assert steady.median_per_beat == pytest.approx(8, rel=0.2)
    assert steady.sd_log < 0.8 < restless.sd_log < SD_MEAN


def test_taps_and_order_of_visits_do_not_matter():
    xy, counts, visit = visits([3, 9], beats=12)
    told = past_level(xy, counts, visit=visit)
    doubled = past_level(xy, counts, 6, visit=-visit, standard_taps=6)
    assert doubled.median_per_beat == pytest.approx(told.median_per_beat, rel=1e-9)
    assert past_level(xy, counts, 6, visit=visit).median_per_beat < 0.7 * told.median_per_beat


def test_it_is_where_the_next_walk_starts_and_ten_trees_overrule_it():
    xy, counts, visit = visits([40, 40, 40])
    level = past_level(xy, counts, visit=visit)
    model = PressureModel(5, past_level=level)
    far = model.fit([[0, 0]], [20]).predict([[5000.0, 0.0]])["median_per_beat"].iloc[0]
    assert far > 2 * PressureModel(5).fit([[0, 0]], [20]).predict([[5000.0, 0.0]])["median_per_beat"].iloc[0]
    rng = np.random.default_rng(3)
    new = PressureModel(5, past_level=level).fit(rng.uniform(0, 100, (10, 2)), rng.poisson(1.0, 10))
    assert new.predict([[50.0, 50.0]])["median_per_beat"].iloc[0] < 4
    # It knows no threshold: another one moves chances alone.
    other = PressureModel(50, past_level=level).fit([[0, 0]], [20]).predict([[5000.0, 0.0]])
    assert other["median_per_beat"].iloc[0] == far


def test_draws_hold_the_limits_with_a_past_level():
    model = PressureModel(5, past_level=PastLevel(10.0, 0.3, 3)).fit([[0, 0], [20, 0]], [9, 14])
    told = model.predict([[4000.0, 0.0]]).iloc[0]
    drawn = model.draw([[4000.0, 0.0]], n=4000, seed=1)
    assert np.quantile(drawn, [0.1, 0.5, 0.9]) == pytest.approx(
        told[["low_80", "median_per_beat", "high_80"]].to_numpy(), rel=0.12)


def test_two_levels_are_refused():
    with pytest.raises(InputRefused, match="past mean and a past level were both given"):
        PressureModel(5, past_mean_per_beat=3, past_level=PastLevel(3.0, 1.0, 1))
