"""Metres upslope: planes, cones and contour rows, and what is said where heights can't tell."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gridmap.errors import InputMissing, InputRefused
from gridmap.ground.upslope import block_upslope, upslope_from_bearing_m, upslope_m

# No published example for any of these: they are geometry.


def grid(rows: int = 12, columns: int = 15, spacing: float = 6.0) -> np.ndarray:
    x, y = np.meshgrid(np.arange(columns) * spacing, np.arange(rows) * spacing)
    return np.column_stack([x.ravel(), y.ravel()])


@settings(deadline=None, max_examples=25)
@given(bearing=st.floats(0, 359.9), slope=st.floats(1, 40), at=st.floats(0, 6e6))
def test_on_a_plane_it_is_the_distance_along_the_bearing(bearing, slope, at):
    trees = grid() + at
    up = np.array([np.sin(np.radians(bearing)), np.cos(np.radians(bearing))])
    heights = 300 + np.tan(np.radians(slope)) * ((trees - at) @ up)
    np.testing.assert_allclose(upslope_m(trees, heights), upslope_from_bearing_m(trees, bearing), atol=1e-4)
    found = block_upslope(trees, heights)
    assert found.sure
    assert (found.bearing_deg - bearing + 180) % 360 - 180 == pytest.approx(0, abs=1e-4)
    assert found.slope_deg == pytest.approx(slope, abs=1e-5)


def cone(radii, angles):
    """Contour rows round a spur: the rows are arcs, the ground a cone of 20 %."""
    r, a = (part.ravel() for part in np.meshgrid(radii, np.radians(angles), indexing="ij"))
    return np.column_stack([r * np.sin(a), r * np.cos(a)]), r, 400 - 0.2 * r


def test_contour_rows_keep_one_value_and_climb_by_their_spacing():
    trees, radius, heights = cone(np.arange(60, 150, 7.0), np.arange(-70, 71, 4))
    climbed = upslope_m(trees, heights)
    # the fitted ground differs from the cone by centimetres, which a slope of 20 % makes five times as long
    np.testing.assert_allclose(climbed, radius.max() - radius, atol=0.8)
    # along one bearing the ends of the same row would lie tens of metres apart
    straight = upslope_from_bearing_m(trees, 180)
    assert np.ptp(straight[radius == 144]) > 60
    assert np.ptp(climbed[radius == 144]) < 1.2


def test_slope_that_steepens_uphill():
    # z = 0.002 y^2 + 0.05 y: contours run east, so metres upslope are northing, however steep it gets.
    trees = grid(rows=25)
    heights = 0.002 * trees[:, 1] ** 2 + 0.05 * trees[:, 1]
    # a fitted height 0.1 m off at the foot, where the slope is 5 %, makes 2 m
    np.testing.assert_allclose(upslope_m(trees, heights), trees[:, 1], atol=2)


def test_noise_and_wrong_heights_move_no_tree_far():
    chance = np.random.default_rng(11)
    trees = grid(rows=18, columns=20)
    heights = 0.15 * trees[:, 1] + chance.normal(0, 1.5, len(trees))
    heights[chance.integers(0, len(trees), 15)] += 40
    climbed = upslope_m(trees, heights)
    assert np.sqrt(np.square(climbed - trees[:, 1] - (climbed - trees[:, 1]).mean()).mean()) < 4
    assert climbed.min() == 0


def test_trees_without_height_have_a_place_too():
    trees = grid()
    heights = 0.2 * trees[:, 0]
    heights[::3] = np.nan
    np.testing.assert_allclose(upslope_m(trees, heights), trees[:, 0], atol=1e-5)


@settings(deadline=None, max_examples=10)
@given(shift=st.floats(-400, 3000))
def test_height_datum_does_not_matter(shift):
    trees = grid()
    heights = 10 * np.sin(trees[:, 0] / 60) + 0.2 * trees[:, 1]
    np.testing.assert_allclose(upslope_m(trees, heights + shift), upslope_m(trees, heights), atol=1e-3)


def test_level_ground_asks_for_an_arrow():
    with pytest.raises(InputMissing, match=r"differ by 0\.0 m.*uphill arrow") as caught:
        upslope_m(grid(), np.full(180, 55.0))
    assert caught.value.missing == ["uphill bearing"]
    found = block_upslope(grid(), np.full(180, 55.0))
    assert not found.sure
    assert np.isnan(found.bearing_deg)
    assert found.why == "the ground is level: draw an uphill arrow"


def test_noise_alone_is_not_taken_for_a_slope():
    refused = 0
    for seed in range(10):
        heights = np.random.default_rng(seed).normal(50, 2, 180)
        assert not block_upslope(grid(), heights).sure
        try:
            upslope_m(grid(), heights)
        except InputMissing:
            refused += 1
    assert refused >= 8


def test_a_knoll_has_no_one_bearing_but_metres_all_the_same():
    trees = grid(15, 15) - 42
    radius = np.hypot(*trees.T)
    heights = 90 - 0.15 * radius
    found = block_upslope(trees, heights)
    assert not found.sure
    assert "several ways" in found.why
    # the tip of a cone is sharper than a smooth ground can be: the one tree on it is 4 m off
    np.testing.assert_allclose(upslope_m(trees, heights), radius.max() - radius, atol=5)


def test_scatter_too_large_for_the_slope_is_said():
    heights = 0.01 * grid()[:, 1] + np.random.default_rng(2).normal(0, 3, 180)
    found = block_upslope(grid(), heights)
    assert not found.sure
    assert "uphill arrow" in found.why


def test_the_error_of_the_bearing_is_about_right():
    errors, told = [], []
    for seed in range(40):
        heights = 0.1 * grid()[:, 1] + np.random.default_rng(seed).normal(0, 1, 180)
        found = block_upslope(grid(), heights)
        errors.append((found.bearing_deg + 180) % 360 - 180)
        told.append(found.bearing_error_deg)
    assert np.std(errors) == pytest.approx(np.mean(told), rel=0.3)


def test_bearing_must_be_one():
    with pytest.raises(InputRefused, match="Uphill bearing is 400 degrees"):
        upslope_from_bearing_m(grid(), 400)
