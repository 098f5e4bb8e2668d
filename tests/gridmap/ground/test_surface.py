"""The smooth ground through tree heights: a published test surface, planes, noise and wrong heights."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gridmap.errors import InputMissing, InputRefused
from gridmap.ground.surface import HeightSurface


def franke(xy):
    """Franke's test function for scattered data, on a unit square.

    Franke (1982), Scattered data interpolation: tests of some methods, Mathematics of Computation 38:181-200,
    doi:10.1090/S0025-5718-1982-0637296-4, the principal test function (written down from memory).
    """
    x, y = 9 * np.asarray(xy).T
    return (
        0.75 * np.exp(-((x - 2) ** 2 + (y - 2) ** 2) / 4)
        + 0.75 * np.exp(-((x + 1) ** 2) / 49 - (y + 1) / 10)
        + 0.5 * np.exp(-((x - 7) ** 2 + (y - 3) ** 2) / 4)
        - 0.2 * np.exp(-((x - 4) ** 2) - (y - 7) ** 2)
    )


def places(number: int, seed: int = 1) -> np.ndarray:
    return np.random.default_rng(seed).uniform(0, 1, (number, 2))


def test_franke_function_without_noise():
    # Franke's surface at 100 m a unit: its heights span 120 m over the square. 80 knots leave about 1 % of that.
    trees = places(1000)
    ground = HeightSurface().fit(trees * 500, franke(trees) * 100)
    where = 0.05 + 0.9 * places(500, 2)
    error = ground.predict(where * 500) - franke(where) * 100
    assert np.sqrt(np.square(error).mean()) < 1.2


def test_franke_function_with_noise_and_wrong_heights():
    # 2 m scatter (common for a phone's height beside a level, no source) and one height in ten wrong by 15 to 40 m.
    chance = np.random.default_rng(8)
    trees = places(1000)
    truth = franke(trees) * 100
    heights = truth + chance.normal(0, 2, 1000)
    wrong = chance.random(1000) < 0.1
    heights[wrong] += chance.choice([-1, 1], wrong.sum()) * chance.uniform(15, 40, wrong.sum())
    ground = HeightSurface().fit(trees * 500, heights)
    error = np.sqrt(np.square(ground.predict(trees * 500) - truth).mean())
    assert error < 1.5
    assert ground.noise_m_ == pytest.approx(2, rel=0.25)
    assert ground.wrong_[wrong].mean() > 0.95
    assert ground.wrong_[~wrong].mean() < 0.01


# No published example: identities.
@settings(deadline=None, max_examples=40)
@given(
    east=st.floats(-0.6, 0.6), north=st.floats(-0.6, 0.6), level=st.floats(-50, 2000), number=st.integers(4, 80),
    at=st.floats(0, 9e6),
)  # fmt: skip
def test_a_plane_comes_back_exactly(east, north, level, number, at):
    trees = places(number) * 200 + at
    heights = level + (trees - at) @ [east, north]
    ground = HeightSurface().fit(trees, heights)
    np.testing.assert_allclose(ground.predict(trees), heights, atol=1e-5)
    np.testing.assert_allclose(ground.gradient(trees), np.tile([east, north], (number, 1)), atol=1e-6)


def test_gradient_is_that_of_the_heights():
    trees = places(300) * 400
    ground = HeightSurface().fit(trees, franke(trees / 400) * 60)
    step = 1e-3
    for axis in (0, 1):
        along = np.eye(2)[axis] * step
        difference = (ground.predict(trees + along) - ground.predict(trees - along)) / (2 * step)
        np.testing.assert_allclose(ground.gradient(trees)[:, axis], difference, atol=1e-5)


def test_noise_on_a_plane_is_not_taken_for_ground():
    trees = places(400) * 200
    heights = 0.08 * trees[:, 0] + np.random.default_rng(3).normal(0, 2, 400)
    ground = HeightSurface().fit(trees, heights)
    assert ground.parameters_ < 8
    np.testing.assert_allclose(ground.gradient(trees).mean(axis=0), [0.08, 0], atol=0.01)


def test_wrong_heights_do_not_tilt_a_plane():
    trees = places(60) * 100
    heights = 0.1 * trees[:, 1]
    heights[[3, 10, 20, 30]] += [80, 60, -90, 500]
    ground = HeightSurface(bend=False).fit(trees, heights)
    np.testing.assert_allclose(ground.gradient(trees[:1]), [[0, 0.1]], atol=1e-6)
    assert np.flatnonzero(ground.wrong_).tolist() == [3, 10, 20, 30]


def test_heights_that_are_missing_are_filled_by_the_ground():
    trees = places(50) * 100
    heights = 0.1 * trees[:, 1]
    heights[:20] = np.nan
    ground = HeightSurface().fit(trees, heights)
    np.testing.assert_allclose(ground.predict(trees), 0.1 * trees[:, 1], atol=1e-6)
    assert not ground.wrong_.any()


def test_same_trees_twice_do_no_harm():
    trees = np.repeat(places(30) * 100, 2, axis=0)
    np.testing.assert_allclose(HeightSurface().fit(trees, trees[:, 0]).predict(trees), trees[:, 0], atol=1e-6)


def test_what_can_not_tell_a_fall_is_said():
    with pytest.raises(InputMissing, match="No tree has a height"):
        HeightSurface().fit([[0, 0], [1, 1]], [np.nan, np.inf])
    with pytest.raises(InputMissing, match="on one line"):
        HeightSurface().fit([[0, 0], [50, 50], [100, 101], [150, 150]], [1, 2, 3, 4])
    with pytest.raises(InputMissing, match="on one line"):
        HeightSurface().fit(np.ones((6, 2)), np.ones(6))
    with pytest.raises(InputRefused, match="one for each of the 2 trees"):
        HeightSurface().fit([[0, 0], [1, 1]], [1, 2, 3])
