"""Plainer ways against general libraries, and the pressure model against them on real counts."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from sklearn.neighbors import KNeighborsRegressor, NearestNeighbors

from gridmap.errors import InputRefused
from gridmap.pressure import PressureModel, block_mean_log_density, compare, inverse_distance_log_density


@pytest.fixture
def split():
    rng = np.random.default_rng(3)
    xy = rng.uniform(0, 100, (40, 2))
    return xy[:25], rng.negative_binomial(1, 0.25, 25), xy[25:], rng.negative_binomial(1, 0.25, 15)


def test_inverse_distance_is_that_of_the_general_library(split):
    """scikit-learn's neighbours (all of them, weights 1/d^2, d at least half the usual spacing), scipy's nbinom."""
    xy, counts, held_xy, held = split
    least = np.median(NearestNeighbors(n_neighbors=2).fit(xy).kneighbors(xy)[0][:, 1]) / 2
    neighbours = KNeighborsRegressor(n_neighbors=25, weights=lambda d: np.maximum(d, least) ** -2.0)
    neighbours.fit(xy, counts + 0.5 / 25)
    mean = neighbours.predict(held_xy)
    found = inverse_distance_log_density(xy, counts, held_xy, held)
    # k is the one number that is not fixed: the best of a fine row must give every density at once.
    rows = [stats.nbinom.logpmf(held, k, k / (k + mean)) for k in np.geomspace(0.1, 50, 4000)]
    assert min(np.abs(row - found).max() for row in rows) < 2e-3


def test_block_mean_by_hand(split):
    """(total + 0.5) / (beats + 0.5 / grove mean), with grove mean (total + 0.5) / (beats + 0.5), one block."""
    xy, counts, held_xy, held = split
    grove = (counts.sum() + 0.5) / 25.5
    mean = (counts.sum() + 0.5) / (25 + 0.5 / grove)
    found = block_mean_log_density(xy, counts, held_xy, held)
    rows = [stats.nbinom.logpmf(held, k, k / (k + mean)) for k in np.geomspace(0.1, 50, 4000)]
    assert min(np.abs(row - found).max() for row in rows) < 2e-3


def test_blocks_taps_and_degenerate_walks_stay_finite(split):
    xy, _, held_xy, held = split
    for counts in (np.zeros(25), np.full(25, 3), np.arange(25) * 400):
        block, held_block = ["a"] * 20 + ["b"] * 5, ["a", "b", "c"] * 5
        table = compare(
            xy, counts, held_xy, held, taps=np.full(25, 6), held_taps=3, block=block, held_block=held_block
        )
        assert np.isfinite(table["log_score_per_count"]).all()
        assert table["model_ahead"].iloc[0] == 0.0
        assert (table["held_out"] == 15).all()
    one = compare(xy[:1], [2], held_xy, held)
    assert np.isfinite(one["log_score_per_count"]).all()
    twice = compare(xy[[0, 0]], [2, 5], xy[[0]], [3])
    assert np.isfinite(twice["log_score_per_count"]).all()


def test_standard_error_is_paired(split):
    xy, counts, held_xy, held = split
    table = compare(xy, counts, held_xy, held).set_index("method")
    each = inverse_distance_log_density(xy, counts, held_xy, held)
    assert table.loc["inverse_distance", "log_score_per_count"] == pytest.approx(each.mean())
    ahead = PressureModel(None).fit(xy, counts).log_predictive_density(held_xy, held) - each
    assert table.loc["inverse_distance", "model_ahead"] == pytest.approx(ahead.mean())
    assert table.loc["inverse_distance", "standard_error"] == pytest.approx(stats.sem(ahead))


def test_nothing_held_out_is_refused(split):
    with pytest.raises(InputRefused, match="No count was held out"):
        compare(split[0], split[1], [], [])


def real(table, xy, sampled, seeds, **block):
    """Return log score per count of each method, one line a seed."""
    lines = []
    for seed in range(seeds):
        chosen = np.zeros(len(xy), dtype=bool)
        chosen[np.random.default_rng(seed).choice(len(xy), sampled, replace=False)] = True
        names = {}
        if block:
            names = {"block": block["block"][chosen].tolist(), "held_block": block["block"][~chosen].tolist()}
        scores = compare(xy[chosen], table[chosen], xy[~chosen], table[~chosen], **names)
        lines.append(scores.set_index("method")["log_score_per_count"])
    return pd.DataFrame(lines)


def check(name, scores):
    ahead = -scores.sub(scores["pressure_model"], axis=0)
    error = ahead.std() / len(ahead) ** 0.5
    for method in ("block_mean", "inverse_distance"):
        print(f"{name}: {scores['pressure_model'].mean():.3f}, ahead of {method} by {ahead[method].mean():+.4f}"
              f" (standard error over samples {error[method]:.4f})")
    return ahead.mean()


@pytest.mark.parametrize("share", [0.05, 0.10])
def test_real_webworms(open_data, share):
    """Beet webworms, every unit of a field counted: Beall (1940) Ecology 21:460-474, Table 6, doi 10.2307/1930285.

    Blocks B1 to B6, 5 or 10 % of 600 units sampled, all others held out; unit 0.559 m x 0.914 m. Not tuned on.
    """
    worms = pd.read_csv(open_data / "beall_webworms" / "webworms.csv")
    xy = worms[["row", "col"]].to_numpy() * [0.559, 0.914]
    scores = real(worms["count"].to_numpy(), xy, int(600 * share), 8, block=worms["block"].to_numpy())
    ahead = check(f"\nwebworms {share:.0%}", scores)
    assert ahead["block_mean"] >= 0.0
    assert ahead["inverse_distance"] >= -0.02


def test_real_arthropods_in_wheat(open_data):
    """Pitfall counts: Holland, Winder and Perry (1999) Aspects of Applied Biology 54:53-60.

    20 of 63 traps sampled, 43 held out, three dates. Not worse than the block mean (here: the field mean), and within
    0.02 of inverse distance, on average over dates and samples.
    """
    table = pd.read_csv(open_data / "arthropods_wheat_grid" / "arthropods.csv")
    ahead = []
    for date, one in table.groupby("date_no"):
        scores = real(one["count"].to_numpy(), one[["x_m", "y_m"]].to_numpy(dtype=float), 20, 12)
        ahead.append(check(f"\nwheat date {date}", scores))
    mean = pd.DataFrame(ahead).mean()
    print(f"all dates: {mean.round(4).to_dict()}")
    assert mean["block_mean"] >= 0.0
    assert mean["inverse_distance"] >= -0.02
