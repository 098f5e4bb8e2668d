"""Joint draws against the chances and limits they must agree with."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.distance import cdist

from gridmap.pressure import PressureModel
from gridmap.pressure._draw import draw_field


@pytest.fixture(scope="module")
def walked():
    rng = np.random.default_rng(5)
    xy = rng.uniform(0, 150, (200, 2))
    block = np.where(xy[:, 0] < 75, "west", "east")
    counts = rng.negative_binomial(0.8, 0.8 / (0.8 + 3 * np.exp(np.sin(xy[:, 1] / 30))))
    model = PressureModel(4, tree_share=0.25).fit(xy[:40], counts[:40], block=block[:40])
    return model, xy, block


def test_draws_have_the_limits_and_chances_of_predict(walked):
    """No published example: two roads (drawn jointly, computed tree by tree) to one distribution."""
    model, xy, block = walked
    draws = model.draw(xy, block=block, n=4000, seed=3)
    told = model.predict(xy, block=block)
    for name, level in [("median_per_beat", 0.5), ("low_80", 0.1), ("high_80", 0.9)]:
        ratio = np.log(np.quantile(draws, level, axis=0) / told[name].to_numpy())
        # A quantile of 4,000 draws errs by 0.03 for one tree; gathering ranges and sizes adds 0.02 or so on average.
        assert abs(ratio.mean()) < 0.04
        assert np.abs(ratio).max() < 0.2
    assert (draws > 4).mean(axis=0) == pytest.approx(told["chance_over"].to_numpy(), abs=0.04)


def test_same_seed_same_draws(walked):
    model, xy, block = walked
    assert (model.draw(xy, block=block, n=5, seed=1) == model.draw(xy, block=block, n=5, seed=1)).all()
    assert (model.draw(xy, block=block, n=5, seed=1) != model.draw(xy, block=block, n=5, seed=2)).any()


def test_neighbours_and_unwalked_blocks_are_wrong_together(walked):
    model, _, _ = walked
    # Two neighbours far off, a third tree of their block, and one of another block that nobody walked either.
    far = np.array([[900.0, 900.0], [903.0, 900.0], [900.0, 2900.0], [900.0, 4900.0]])
    logs = np.log(model.draw(far, block=["new", "new", "new", "other"], n=4000, seed=1))
    correlation = np.corrcoef(logs.T)
    assert correlation[0, 1] > correlation[0, 2] + 0.1
    assert correlation[0, 2] > correlation[0, 3]


def test_a_tree_asked_for_twice_is_one_tree(walked):
    _, xy, block = walked
    share_none = PressureModel(4).fit(xy[:40], np.arange(40) % 5, block=block[:40])
    draws = share_none.draw(np.vstack([xy[3], xy[3]]), block=[block[3]] * 2, n=50)
    assert draws[:, 0] == pytest.approx(draws[:, 1])


def test_field_drawn_from_neighbours_keeps_the_correlation():
    """Closed form exp(-2 d / rho) on 2,500 places of a grid, past the part that is drawn exactly."""
    east, north = np.meshgrid(np.arange(50) * 5.0, np.arange(50) * 6.0)
    place = np.column_stack([east.ravel(), north.ravel()])
    field = draw_field(place, 40.0, 1500, np.random.default_rng(2))
    assert field.var(axis=0).mean() == pytest.approx(1.0, abs=0.03)
    some = np.random.default_rng(3).choice(len(place), 60, replace=False)
    pairs = [(i, j) for i in some for j in (i + 1, i + 50, i + 153) if j < len(place) and (i % 50) < 46]
    found = np.array([np.corrcoef(field[:, i], field[:, j])[0, 1] for i, j in pairs])
    expected = np.array([np.exp(-2 * cdist(place[[i]], place[[j]])[0, 0] / 40.0) for i, j in pairs])
    # A correlation of 1,500 draws errs by under 0.026.
    assert np.abs(found - expected).mean() < 0.02
    assert np.abs(found - expected).max() < 0.12
