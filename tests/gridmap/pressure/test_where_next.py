"""Where to look next and when to stop: closed forms and sense; no published example unless one is named."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.distance import pdist

from gridmap.errors import InputRefused
from gridmap.pressure import PressureModel, worth_of_knowing, worth_of_more
from gridmap.pressure.stopping import learned_share


@given(st.floats(0, 1), st.floats(1.1, 50))
def test_worth_is_that_of_perfect_information(p, ratio):
    """Raiffa and Schlaifer (1961): least expected cost of acting now less that of acting once it is known."""
    now = min(1.0, ratio * p)
    known = p * min(1.0, ratio) + (1 - p) * 0.0
    assert worth_of_knowing(p, ratio) == pytest.approx(now - known, abs=1e-12)
    assert worth_of_knowing(1 / ratio, ratio) >= worth_of_knowing(p, ratio) - 1e-12


@pytest.fixture
def grove():
    """Rows of trees: low in the west, high in the east, walked at both ends."""
    x, y = np.meshgrid(np.arange(40) * 6.0, np.arange(10) * 6.0)
    xy = np.column_stack([x.ravel(), y.ravel()])
    rng = np.random.default_rng(0)
    beaten = rng.choice(len(xy), 40, replace=False)
    counts = rng.poisson(0.3 * np.exp(xy[beaten, 0] / 50))
    return xy, PressureModel(5).fit(xy[beaten], counts), xy[beaten]


def test_next_trees_lie_apart_where_the_decision_tips(grove):
    xy, model, beaten = grove
    rows = model.next_trees(xy, n=20)
    assert len(set(rows.tolist())) == 20
    worth = worth_of_knowing(model.predict(xy)["chance_over"])
    assert worth[rows].mean() > 1.5 * worth.mean()
    assert np.median(pdist(xy[rows[:8]])) > 15
    assert np.hypot(*(xy[rows[:5], None] - beaten).transpose(2, 0, 1)).min() > 6
    assert model.next_trees(xy, n=10_000).size == len(xy)
    assert (model.next_trees(xy, n=5) == rows[:5]).all()


def test_next_trees_need_a_threshold_and_a_ratio(grove):
    xy, model, _ = grove
    with pytest.raises(InputRefused, match="Cost ratio is 1: it must be over 1"):
        model.next_trees(xy, cost_ratio=1)
    with pytest.raises(InputRefused, match="No threshold was given"):
        PressureModel(None).fit([[0, 0]], [1]).next_trees(xy)


def test_learned_share_is_that_of_a_normal_posterior():
    """Conjugate normal by hand: one tree beaten, variance 2, noise 1: 2 / 3 learned; a far tree: nothing."""
    rng = np.random.default_rng(1)
    field = rng.normal(0, np.sqrt(2), (20_000, 2))
    share = learned_share(field, field[:, :1], np.array([1.0]))
    assert share == pytest.approx([2 / 3, 0.0], abs=0.01)
    # What few draws find by accident is taken off on average.
    accident = [learned_share(rng.normal(size=(100, 50)), rng.normal(size=(100, 10)), np.zeros(10)).mean()
                for _ in range(20)]
    assert np.mean(accident) < 0.05


def test_more_trees_change_little_where_all_is_clear(grove):
    xy, model, _ = grove
    unsure = worth_of_more(model, xy, n=20)
    assert unsure.would_change
    assert 0 < unsure.saving < 0.2 * len(xy)
    assert "20 more trees" in unsure.words()
    clear = PressureModel(0.001).fit(xy[::9], np.full(len(xy[::9]), 30))
    assert not worth_of_more(clear, xy).would_change
    assert worth_of_more(clear, xy).words() == "More trees would not change the decision."
    assert worth_of_more(model, xy, n=2).saving <= unsure.saving
