"""The height between cells, against a general interpolation library and by hand."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator

from gridmap.errors import InputRefused
from gridmap.ground.dem import Dem


def test_bilinear_against_scipy():
    # Reference: scipy.interpolate.RegularGridInterpolator, linear.
    chance = np.random.default_rng(3)
    dem = Dem(chance.uniform(100, 200, (6, 8)), 500, 900, (10, 5), 7855)
    x, y = dem.centres
    reference = RegularGridInterpolator((y[::-1], x), dem.elevation_m[::-1])
    places = np.column_stack([chance.uniform(x[0], x[-1], 200), chance.uniform(y[-1], y[0], 200)])
    np.testing.assert_allclose(dem.at(places), reference(places[:, ::-1]), rtol=1e-12)


# No published example: what follows from the definition.
def test_centres_give_back_the_heights():
    dem = Dem(np.arange(12.0).reshape(3, 4), 0, 30, (10, 10), 7855)
    x, y = np.meshgrid(*dem.centres)
    np.testing.assert_array_equal(dem.at(np.column_stack([x.ravel(), y.ravel()])), np.arange(12.0))
    assert dem.bounds == (0, 0, 40, 30)
    assert dem.transform == (10, 0, 0, 0, -10, 30)


def test_a_gap_counts_only_where_it_has_weight():
    dem = Dem([[1, 2, np.nan], [1, 2, 3], [1, 2, 3]], 0, 30, (10, 10), 7855)
    assert dem.at([[15, 25]]).tolist() == [2.0]
    assert np.isnan(dem.at([[16, 25]])).all()


def test_outside_is_unknown_and_the_rim_takes_the_nearest():
    dem = Dem([[1.0, 2.0], [1.0, 2.0]], 0, 20, (10, 10), 7855)
    assert dem.at([[0, 10], [20, 10]]).tolist() == [1.0, 2.0]
    assert np.isnan(dem.at([[-0.1, 10], [10, 20.1]])).all()


def test_a_single_cell_answers():
    assert Dem([[7.0]], 0, 10, (10, 10), 7855).at([[5, 5], [11, 5]])[0] == 7.0


def test_heights_can_not_be_changed_afterwards():
    dem = Dem([[1.0, 2.0], [1.0, 2.0]], 0, 20, (10, 10), 7855)
    with pytest.raises(ValueError, match="read-only"):
        dem.elevation_m[0, 0] = 5


def test_what_is_no_grid_is_refused():
    with pytest.raises(InputRefused, match="grid of rows and columns"):
        Dem([1.0, 2.0], 0, 0, (1, 1), 7855)
    with pytest.raises(InputRefused, match="must be over 0 m"):
        Dem([[1.0]], 0, 0, (1, -1), 7855)
    with pytest.raises(InputRefused, match="the DEM has"):
        Dem([[1.0]], 0, 0, (1, 1), 7855).at([[0, 0]], [[1, 2]])
