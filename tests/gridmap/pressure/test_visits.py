"""Several visits and treatments: limits by hand, identities, and the chain of draws. No published example."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.distance import cdist

from gridmap.errors import InputRefused
from gridmap.pressure import PressureModel, change_between
from gridmap.pressure._prior import Grid
from gridmap.pressure._walk import covariance, read_walk


@pytest.fixture
def two_visits():
    rng = np.random.default_rng(4)
    xy = rng.uniform(0, 120, (60, 2))
    expected = 4 * np.exp(np.sin(xy[:, 0] / 25))
    return xy, rng.poisson(expected), np.repeat([1, 2], 30)


def test_covariance_by_hand():
    """D + c for a visit apart, 0.7 a visit for mean and block, nothing but the mean across a treatment."""
    walk = read_walk([[0, 0], [30, 0], [0, 0]], [1, 2, 3], None, ["a", "a", "a"], None, 3.0, [1, 1, 2], None)
    points = Grid(np.array([30.0]), np.array([2.0]), np.array([1.0]), np.zeros(1), np.array([15.0]))
    near, far, later = 4.0, 4.0 * np.exp(-2.0), 4.0 * np.exp(-1.0)
    level = 2.25 + 0.25
    expected = 1e-6 * np.eye(3) + np.array([
        [near + level, far + level, later + 0.7 * level],
        [far + level, near + level, far * np.exp(-1.0) + 0.7 * level],
        [later + 0.7 * level, far * np.exp(-1.0) + 0.7 * level, near + level],
    ])
    assert covariance(walk, points)[0] == pytest.approx(expected)
    treated = read_walk([[0, 0], [0, 0]], [1, 2], None, ["a", "a"], None, 3.0, [1, 2], [None, "oil"])
    K = covariance(treated, points)[0]
    assert K[0, 1] == pytest.approx(0.7 * 2.25)
    assert K[1, 1] == pytest.approx(near + level + 4.0 + 1e-6)


def test_one_visit_told_is_one_visit_untold(two_visits):
    xy, counts, _ = two_visits
    plain = PressureModel(5).fit(xy, counts)
    told = PressureModel(5).fit(xy, counts, visit=["2026-02-01"] * 60)
    assert told.visits_ == ("2026-02-01",)
    assert plain.visits_ == ()
    assert told.predict(xy).to_numpy() == pytest.approx(plain.predict(xy).to_numpy())


def test_far_older_counts_count_for_less_and_latest_is_the_default(two_visits):
    xy, counts, visit = two_visits
    model = PressureModel(5).fit(xy, counts, visit=visit)
    assert model.visits_ == (1, 2)
    assert "visit_m" in model.hyper_
    assert model.predict(xy).equals(model.predict(xy, visit=2))
    old, new = model.predict(xy[:30], visit=1), model.predict(xy[:30])
    # Trees beaten on the first visit are better known then than now.
    assert (old["informed"] > new["informed"]).mean() > 0.9
    # The first visit alone can't tell more of the second than both together.
    both = model.predict(xy[30:])
    alone = PressureModel(5).fit(xy[30:], counts[30:]).predict(xy[30:])
    width = np.log(both["high_80"] / both["low_80"]).mean(), np.log(alone["high_80"] / alone["low_80"]).mean()
    assert width[0] < width[1]


def test_order_of_lines_does_not_matter(two_visits):
    xy, counts, visit = two_visits
    shuffled = np.random.default_rng(0).permutation(60)
    one = PressureModel(5).fit(xy, counts, visit=visit).predict(xy)
    two = PressureModel(5).fit(xy[shuffled], counts[shuffled], visit=visit[shuffled]).predict(xy)
    assert two.to_numpy() == pytest.approx(one.to_numpy(), rel=1e-3, abs=1e-4)


def test_treatment_breaks_the_link():
    """High before, treated; after it one low count in the zone: the zone is low now, the rest is as high as it was."""
    xy = np.column_stack([np.arange(20) * 6.0, np.zeros(20)])
    zone = np.arange(20) < 10
    rows, after = np.concatenate([np.arange(20), [1, 4, 7, 12, 15, 18]]), np.repeat([False, True], [20, 6])
    counts = np.concatenate([np.full(20, 20), [0, 1, 0, 22, 19, 25]])
    treated = np.where(after & zone[rows], "oil", None)
    model = PressureModel(5).fit(xy[rows], counts, visit=after.astype(int), treated=treated)
    now = model.predict(xy, treated=np.where(zone, "oil", None))
    assert now["median_per_beat"][:9].max() < 4
    assert now["median_per_beat"][11:].min() > 10
    # Had it not been treated, its old counts would still speak.
    still = model.predict(xy, treated=[None] * 20)
    assert still["median_per_beat"][:9].min() > 8
    change = change_between(model, xy, before=0, treated_before=[None] * 20, treated_after=treated_now(zone))
    line = change.treatment.set_index("part").loc["treated against untreated"]
    # Henderson and Tilton (1955) with the plain means: 100 (1 - (1/3 / 20) / (22 / 20)) = 98.5.
    assert line["reduction_low_90"] < 98.5 < line["reduction_high_90"]
    assert line["chance_fewer"] > 0.99
    assert change.trees["median_ratio"][:9].max() < 0.4


def treated_now(zone):
    return np.where(zone, "oil", None)


def test_draws_follow_the_predicted_limits_on_both_visits(two_visits):
    xy, counts, visit = two_visits
    model = PressureModel(5).fit(xy, counts, visit=visit)
    for when in (1, 2):
        drawn = np.median(model.draw(xy[::5], n=3000, seed=1, visit=when), axis=0)
        assert drawn == pytest.approx(model.predict(xy[::5], visit=when)["median_per_beat"].to_numpy(), rel=0.12)


def test_change_of_blocks_and_no_treatment(two_visits):
    xy, counts, visit = two_visits
    block = np.where(xy[:, 0] < 60, "west", "east")
    model = PressureModel(5).fit(xy, counts, visit=visit, block=block)
    change = change_between(model, xy, before=1, block=block)
    assert len(change.trees) == 60
    assert sorted(change.blocks["block"]) == ["east", "west"]
    assert change.blocks["trees"].sum() == 60
    assert len(change.treatment) == 0
    assert (change.blocks["low_90"] < change.blocks["median_ratio"]).all()
    # A block is known better than its trees.
    assert (change.blocks["high_80"] / change.blocks["low_80"]).max() < (
        change.trees["high_80"] / change.trees["low_80"]
    ).median()


@pytest.mark.parametrize(("call", "message"), [
    (lambda m, xy: m.predict(xy, visit=3), "Visit 3 is none of the walk's: there are: 1, 2"),
    (lambda m, xy: change_between(m, xy, before=2), "Both visits are 2"),
    (lambda m, xy: PressureModel(5).fit(xy, [1] * 60, visit=[1, "a"] * 30), "The visits can't be put in order"),
    (lambda m, xy: PressureModel(5).fit(xy, [1] * 60, visit=[1]), "Visit has 1 entries"),
    (lambda m, xy: PressureModel(5).fit(xy, [1] * 60, treated=["oil"] * 60).predict(xy),
     "It is not said which trees were treated"),
])
def test_refusals(two_visits, call, message):
    xy, counts, visit = two_visits
    model = PressureModel(5).fit(xy, counts, visit=visit)
    with pytest.raises(InputRefused, match=message):
        call(model, xy)


def test_draws_of_two_visits_are_correlated_as_the_kernel_says():
    """Unconditioned draws: correlation over a visit is exp(-2 c / rho) of the spatial part and 0.7 of the mean."""
    from gridmap.pressure._draw import Asked, unconditioned

    walk = read_walk([[0, 0], [500, 0]], [0, 0], None, None, None, 3.0, [1, 2], None)
    points = Grid(np.array([40.0]), np.array([1.0]), np.array([1.0]), np.zeros(1), np.array([5.0]))
    none = np.zeros(3, int)
    asked = Asked(np.array([[200.0, 0], [200.0, 0], [215.0, 0]]), none, np.array([0, 1, 1]), none)
    (_, drawn), = unconditioned(walk, points, np.zeros(40_000, int), asked, np.random.default_rng(0))
    apart = cdist(asked.xy, asked.xy) + 5.0 * np.abs(asked.visit[:, None] - asked.visit)
    expected = np.exp(-2 * apart / 40.0) + 2.25 * 0.7 ** np.abs(asked.visit[:, None] - asked.visit)
    assert np.cov(drawn.at_trees.T) == pytest.approx(expected, abs=0.08)
