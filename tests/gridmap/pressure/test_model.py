"""The pressure model from its door: contract, degenerate walks, physical sense, what must not change what."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gridmap.errors import InputRefused
from gridmap.pressure import PressureModel

COLUMNS = [
    "mean_per_beat", "median_per_beat", "low_50", "high_50", "low_80", "high_80", "low_90", "high_90", "chance_over",
    "informed",
]
TREES = np.array([[0.0, 0.0], [12.0, 6.0], [60.0, 0.0], [300.0, 0.0]])
BLOCKS = ["east", "east", "east", "west"]


def walk(n=30, seed=1):
    rng = np.random.default_rng(seed)
    xy = rng.uniform(0, 120, (n, 2))
    return xy, rng.negative_binomial(0.8, 0.8 / (0.8 + 4 * np.exp(np.sin(xy[:, 0] / 25))))


def check_honest(table):
    """Finite, in order, inside their range."""
    assert list(table.columns) == COLUMNS
    assert np.isfinite(table.to_numpy()).all()
    ladder = ["low_90", "low_80", "low_50", "median_per_beat", "high_50", "high_80", "high_90"]
    assert (np.diff(table[ladder].to_numpy(), axis=1) > 0).all()
    assert (table["low_90"] > 0).all()
    assert table[["chance_over", "informed"]].stack().between(0, 1).all()
    assert (table["mean_per_beat"] > table["median_per_beat"]).all()


def test_contract_of_the_pressure_frame():
    xy, counts = walk()
    frame = pd.DataFrame(TREES, columns=["easting", "northing"], index=list("dcba"))
    table = PressureModel(5).fit(xy, counts).predict(frame)
    check_honest(table)
    assert list(table.index) == list("dcba")
    points = gpd.GeoSeries(gpd.points_from_xy(*TREES.T), index=[7, 8, 9, 10])
    told = PressureModel(5).fit(xy, counts).predict(points)
    assert list(told.index) == [7, 8, 9, 10]
    assert told.to_numpy() == pytest.approx(table.to_numpy())


@pytest.mark.parametrize(("xy", "counts", "block"), [
    (TREES[:3], [0, 0, 0], BLOCKS[:3]),
    (TREES[:1], [3], ["east"]),
    (TREES[:1], [0], ["east"]),
    (TREES[:3], [4, 4, 4], BLOCKS[:3]),
    (TREES, [10_000, 10_000, 9_000, 0], BLOCKS),
    (TREES[:1], [1_000_000], ["east"]),
    (TREES[[0, 0, 0]], [0, 7, 2], ["east"] * 3),
    (TREES[[0, 0]], [1, 1], [("grove", 1), ("grove", 2)]),
    (TREES + 6e6, [0, 1, 2, 3], BLOCKS),
], ids=[
    "all zero", "one tree", "one zero", "all equal", "huge", "huge alone", "repeat beats", "one place", "far from 0",
])
def test_degenerate_walks_give_finite_honest_answers(xy, counts, block):
    for share in (0.0, 1.0):
        model = PressureModel(5, tree_share=share).fit(xy, counts, block=block)
        check_honest(model.predict(np.vstack([xy, TREES]), block=[*block, *BLOCKS]))
        assert np.isfinite(model.draw(TREES, block=BLOCKS, n=20)).all()
        assert np.isfinite(model.log_predictive_density(TREES, [0, 1, 50, 10_000], block=BLOCKS)).all()
        assert model.hyper_["weight"].sum() == pytest.approx(1.0)


def test_all_zeros_is_a_bound_and_not_zero():
    xy, _ = walk(30)
    table = PressureModel(5).fit(xy, np.zeros(30)).predict(TREES[:2])
    assert (table["high_90"] > 0.05).all()
    assert (table["high_90"] < 2.0).all()
    # Ten zeros bound less than thirty.
    fewer = PressureModel(5).fit(xy[:10], np.zeros(10)).predict(TREES[:2])
    assert (fewer["high_90"] > table["high_90"]).all()


def test_ten_trees_overrule_the_prior_mean():
    """2 per beat is where the search starts: ten trees of 400 and ten of 0 leave it far behind."""
    xy = np.column_stack([np.arange(10) * 15.0, np.zeros(10)])
    assert PressureModel(5).fit(xy, [400] * 10).predict(xy)["median_per_beat"].between(250, 600).all()
    assert (PressureModel(5).fit(xy, [0] * 10).predict(xy)["median_per_beat"] < 0.3).all()
    past = PressureModel(5, past_mean_per_beat=60).fit(xy, [400] * 10).predict(xy)
    assert past["median_per_beat"].between(250, 600).all()


@settings(deadline=None, max_examples=15)
@given(st.floats(0.1, 200), st.floats(0.1, 200))
def test_threshold_moves_chances_only(one, other):
    xy, counts = walk(12)
    free = [name for name in COLUMNS if name != "chance_over"]
    first, second = (PressureModel(value).fit(xy, counts).predict(TREES) for value in (one, other))
    # Bit by bit.
    assert (first[free].to_numpy() == second[free].to_numpy()).all()
    if one < other:
        assert (first["chance_over"] >= second["chance_over"]).all()
    none = PressureModel(None).fit(xy, counts).predict(TREES)
    assert (first[free].to_numpy() == none[free].to_numpy()).all()
    assert none["chance_over"].isna().all()


def test_chance_at_the_median_is_a_half():
    """No published example: an identity of the two columns."""
    xy, counts = walk()
    median = PressureModel(1).fit(xy, counts).predict(TREES[:1])["median_per_beat"].iloc[0]
    chance = PressureModel(median).fit(xy, counts).predict(TREES[:1])["chance_over"].iloc[0]
    assert chance == pytest.approx(0.5, abs=1e-6)


def test_more_insects_a_higher_chance_and_farther_wider_limits():
    xy, counts = walk()
    few, many = (PressureModel(5).fit(xy, counts * times).predict(TREES[:2]) for times in (1, 3))
    assert (many["chance_over"] > few["chance_over"]).all()
    line = np.column_stack([np.arange(120, 420, 40.0), np.full(8, 60.0)])
    table = PressureModel(5).fit(xy, counts).predict(line)
    assert (np.diff(np.log(table["high_80"] / table["low_80"])) > 0).all()
    assert (np.diff(table["informed"]) < 0).all()


def test_taps_count_in_proportion():
    xy, counts = walk()
    plain = PressureModel(5).fit(xy, counts, taps=3).predict(TREES)
    assert PressureModel(5).fit(xy, counts).predict(TREES).to_numpy() == pytest.approx(plain.to_numpy())
    double = PressureModel(5).fit(xy, counts, taps=np.full(30, 6)).predict(TREES)
    assert (double["median_per_beat"] < 0.65 * plain["median_per_beat"]).all()
    assert (double["median_per_beat"] > 0.4 * plain["median_per_beat"]).all()


def test_turning_and_moving_the_map_changes_nothing():
    """No published example: distances are all that counts, and the order of trees does not."""
    xy, counts = walk()
    turn = np.array([[0.6, -0.8], [0.8, 0.6]])
    order = np.random.default_rng(0).permutation(30)
    here = PressureModel(5).fit(xy, counts).predict(TREES)
    there = PressureModel(5).fit((xy @ turn + [5e5, 6e6])[order], counts[order]).predict(TREES @ turn + [5e5, 6e6])
    assert there.to_numpy() == pytest.approx(here.to_numpy(), rel=1e-4)


def test_three_heavy_blocks_teach_nothing_of_the_fourth():
    rng = np.random.default_rng(2)
    xy = rng.uniform(0, 80, (36, 2)) + np.repeat([[0, 0], [200, 0], [0, 200]], 12, axis=0)
    model = PressureModel(5).fit(xy, rng.poisson(20, 36), block=np.repeat(["a", "b", "c"], 12))
    table = model.predict([[2000.0, 2000.0], [40.0, 40.0]], block=["d", "a"])
    assert table["informed"].iloc[0] < 1e-6
    assert table["informed"].iloc[1] > 0.2
    assert model.blocks_ == ("a", "b", "c")


def test_tree_share_widens_the_limits_and_keeps_the_mean():
    """No published example. Variance + phi log(1 + 1/k), log mean less half of that: the mean of each curve stays."""
    xy, counts = walk()
    none, half = (PressureModel(5, tree_share=share).fit(xy, counts) for share in (0.0, 0.5))
    a, b = none.predict(TREES), half.predict(TREES)
    assert (b["high_80"] / b["low_80"] > a["high_80"] / a["low_80"]).all()
    assert b["mean_per_beat"].to_numpy() == pytest.approx(a["mean_per_beat"].to_numpy(), rel=0.05)
    density = none.log_predictive_density(TREES, [0, 1, 2, 3])
    assert (half.log_predictive_density(TREES, [0, 1, 2, 3]) == density).all()


def test_predictive_probabilities_sum_to_one():
    xy, counts = walk()
    y = np.arange(4000)
    density = PressureModel(None).fit(xy, counts).log_predictive_density(np.zeros((4000, 2)), y)
    assert np.exp(density).sum() == pytest.approx(1.0, abs=2e-3)


def suspected_grove(seed, n=45):
    """Return a walk of which a third was beaten because counts were high there, and the truth."""
    rng = np.random.default_rng(seed)
    east, north = np.meshgrid(np.arange(20) * 6.0, np.arange(20) * 6.0)
    xy = np.column_stack([east.ravel(), north.ravel()])
    K = np.exp(-2 * np.hypot(*(xy[:, None] - xy).T) / 50) + 1e-6 * np.eye(400)
    eta = np.log(2.5) + np.linalg.cholesky(K) @ rng.standard_normal(400)
    counts = rng.negative_binomial(0.8, 0.8 / (0.8 + np.exp(eta)))
    looked = rng.permutation(400)
    planned = looked[: 2 * n // 3]
    # Of five times as many trees that were passed, those with most insects.
    passed = looked[2 * n // 3: 2 * n // 3 + 5 * n // 3]
    bad = passed[np.argsort(counts[passed])[-n // 3:]]
    beaten = np.concatenate([planned, bad])
    return xy, eta, beaten, counts[beaten], np.isin(beaten, bad)


@pytest.mark.slow
def test_suspected_trees_leave_the_mean_bias_under_ten_percent():
    """Simulated (no published example): 60 groves, a third of the beats chosen for their high counts.

    Bias of the mean over the grove, compared on the log of sums over all groves with its standard error printed.
    """
    means, logs, truth = [], [], []
    for seed in range(60):
        xy, eta, beaten, counts, bad = suspected_grove(seed)
        maps = [
            PressureModel(None).fit(xy[beaten], counts, suspected=bad).predict(xy),
            PressureModel(None).fit(xy[beaten], counts).predict(xy),
            PressureModel(None).fit(xy[beaten[~bad]], counts[~bad]).predict(xy),
        ]
        means.append([table["mean_per_beat"].mean() for table in maps])
        logs.append([(np.log(table["median_per_beat"]) - eta).mean() for table in maps])
        truth.append(np.exp(eta).mean())
    bias = np.mean(means, axis=0) / np.mean(truth) - 1
    error = (np.array(means) - np.array(truth)[:, None]).std(axis=0) / 60**0.5 / np.mean(truth)
    print(f"\nbias of the grove mean (told, as if planned, left out): {bias.round(3)}, errors {error.round(3)}")
    print(f"bias of the log of the median: {np.mean(logs, axis=0).round(3)}")
    assert abs(bias[0]) < 0.10
    assert bias[1] > 0.2


def test_a_suspected_tree_tells_of_its_neighbourhood():
    xy, counts = walk(30)
    spot = np.array([[60.0, 60.0], [66.0, 60.0], [60.0, 66.0]])
    elsewhere = np.array([[15.0, 15.0], [21.0, 15.0], [15.0, 21.0]])
    at = np.vstack([xy, spot, elsewhere])
    suspected = np.repeat([False, True], [30, 6])
    high_here = PressureModel(5).fit(at, [*counts, 60, 50, 70, 2, 1, 0], suspected=suspected)
    high_there = PressureModel(5).fit(at, [*counts, 2, 1, 0, 60, 50, 70], suspected=suspected)
    near = [[62.0, 62.0]]
    assert high_here.predict(near)["median_per_beat"].iloc[0] > 2 * high_there.predict(near)["median_per_beat"].iloc[0]


def test_a_walk_of_suspected_trees_alone_says_little_of_the_rest():
    xy, counts = walk(20)
    alone = PressureModel(5).fit(xy, counts + 20, suspected=np.ones(20, dtype=bool)).predict(xy)
    planned = PressureModel(5).fit(xy, counts + 20).predict(xy)
    check_honest(alone)
    # Offset and common mean can't be told apart, so the limits stay wide and the prior is not left far behind.
    assert (alone["high_80"] / alone["low_80"] > 2 * planned["high_80"] / planned["low_80"]).all()
    assert (alone["median_per_beat"] < planned["median_per_beat"]).all()


@pytest.mark.slow
def test_large_walks_go_by_a_subset_and_agree_with_the_whole():
    """Past 300 beats the grid is weighed on a subset: close to what 300 of the same beats say."""
    xy, counts = walk(340, seed=6)
    part, whole = PressureModel(5).fit(xy[:300], counts[:300]), PressureModel(5).fit(xy, counts)
    check_honest(whole.predict(TREES))
    ratio = np.log(whole.predict(TREES[:3])["median_per_beat"] / part.predict(TREES[:3])["median_per_beat"])
    assert np.abs(ratio).max() < 0.4


@pytest.mark.parametrize(("arguments", "message"), [
    ({"xy": [], "counts": []}, "The walk holds no count: pressure needs at least one beaten tree. Beat a tree first."),
    ({"xy": [[0, 0]], "counts": [-1]}, "Count -1 at index 0: a count must be a whole number from 0 to 1000000"),
    ({"xy": [[0, 0]], "counts": [1.5]}, "Count 1.5 at index 0"),
    ({"xy": [[0, 0]], "counts": [np.nan]}, "Count nan at index 0"),
    ({"xy": [[0, 0]], "counts": [2e6]}, "Count 2e\\+06 at index 0"),
    ({"xy": [[0, 0]], "counts": ["some"]}, "Counts hold something that is no number"),
    ({"xy": [[0, 0]], "counts": [1, 2]}, "Counts has 2 entries: it must have one for each of the 1 positions"),
    ({"xy": [[0, 0]], "counts": [1], "taps": [0]}, "0 taps at index 0: taps must be over 0"),
    ({"xy": [[0, 0]], "counts": [1], "taps": ["x"]}, "Taps hold something that is no number"),
    ({"xy": [[0, 0]], "counts": [1], "taps": [1, 2]}, "Taps has 2 entries"),
    ({"xy": [[0, 0]], "counts": [1], "block": [None]}, "The block at index 0 is missing"),
    ({"xy": [[0, 0]], "counts": [1], "block": ["a", "b"]}, "Block has 2 entries"),
    ({"xy": [[0, 0]], "counts": [1], "suspected": [True, False]}, "Suspected has 2 entries"),
    ({"xy": [[0, np.nan]], "counts": [1]}, "every coordinate must be finite"),
    ({"xy": np.zeros((100_001, 2)), "counts": np.zeros(100_001)},
     "The walk holds 100001 beats: at most 100,000 can be mapped at once"),
])
def test_walks_that_cannot_be_used_are_refused(arguments, message):
    with pytest.raises(InputRefused, match=message):
        PressureModel(5).fit(**arguments)


@pytest.mark.parametrize(("arguments", "message"), [
    ({"threshold": 0}, "Action threshold is 0 per standard beat: it must be over 0"),
    ({"threshold": "much"}, "Action threshold is 'much': it must be a number"),
    ({"threshold": 5, "standard_taps": 0}, "Standard beat is 0 taps"),
    ({"threshold": 5, "tree_share": 1.5}, "Tree share is 1.5: it must be at most 1"),
    ({"threshold": 5, "past_mean_per_beat": 0}, "Past mean is 0 per standard beat"),
])
def test_settings_that_cannot_be_used_are_refused(arguments, message):
    with pytest.raises(InputRefused, match=message):
        PressureModel(**arguments)


def test_a_map_before_a_walk_or_without_blocks_is_refused():
    with pytest.raises(InputRefused, match="The model has seen no walk: a map needs counts"):
        PressureModel(5).predict(TREES)
    with pytest.raises(InputRefused, match="The trees come without blocks, but the walk told them"):
        PressureModel(5).fit(TREES, [1, 2, 3, 4], block=BLOCKS).predict(TREES)
