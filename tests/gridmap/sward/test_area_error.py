"""Areas put right by a checked sample: Olofsson et al. (2014), table 8, to the printed digits."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gridmap.errors import InputRefused
from gridmap.sward import checked_places_needed, error_adjusted_areas

# Olofsson et al. (2014) Remote Sens. Environ. 148:42-57, doi:10.1016/j.rse.2014.02.015, table 8 and section 5.2.1;
# pixels of 30 m (0.09 ha). Open reproductions of the example print the same figures.
CLASSES = ["deforestation", "gain", "stable forest", "stable non-forest"]
MATRIX = pd.DataFrame(
    [[66, 0, 5, 4], [0, 55, 8, 12], [1, 0, 153, 11], [2, 1, 9, 313]], index=CLASSES, columns=CLASSES
)
PIXELS = np.array([200_000, 150_000, 3_200_000, 6_450_000])
HA = 0.09


def test_the_published_areas_and_their_limits():
    table = error_adjusted_areas(MATRIX, PIXELS * HA)
    assert table["area"].round().tolist() == [21_158, 11_686, 285_770, 581_386]
    assert table["half_width_95"].round().tolist() == [6_158, 3_756, 15_510, 16_282]
    assert table.index.tolist() == CLASSES
    pixels = error_adjusted_areas(MATRIX, PIXELS)
    assert pixels[["area", "half_width_95"]].round().iloc[0].tolist() == [235_086, 68_418]


def test_the_published_accuracies():
    table = error_adjusted_areas(MATRIX, PIXELS * HA)
    assert table["users_accuracy"].round(2).tolist() == [0.88, 0.73, 0.93, 0.96]
    assert table["users_half_width_95"].round(2).tolist() == [0.07, 0.10, 0.04, 0.02]
    assert table["producers_accuracy"].round(2).tolist() == [0.75, 0.85, 0.93, 0.96]
    # Producer's limits of the other two classes: the printed ones and the formula are said to differ
    assert table["producers_half_width_95"].round(2).iloc[[0, 2]].tolist() == [0.21, 0.03]
    assert round(table.attrs["overall_accuracy"], 2) == 0.95
    assert round(table.attrs["overall_half_width_95"], 2) == 0.02


def test_the_published_number_of_places_to_check():
    """Same paper, section 5.1.1: 641 places for a standard error of 0.01 (from memory; the table's sample has 640)."""
    shares = [0.02, 0.015, 0.32, 0.645]
    assert checked_places_needed(shares, [0.7, 0.6, 0.9, 0.95], 1.96 * 0.01) == 641
    assert MATRIX.to_numpy().sum() == 640


@settings(max_examples=50, deadline=None)
@given(
    st.lists(st.lists(st.integers(0, 50), min_size=3, max_size=3), min_size=3, max_size=3),
    st.lists(st.floats(0.1, 100), min_size=3, max_size=3),
)
def test_adjusted_areas_sum_to_the_map(counts, areas):
    """No published example: nothing of the ground is lost or made."""
    matrix = np.array(counts) + np.eye(3, dtype=int) * 2
    table = error_adjusted_areas(matrix, areas)
    assert table["area"].sum() == pytest.approx(sum(areas))
    assert (table["half_width_95"] >= 0).all()
    assert ((table["low_95"] <= table["area"] + 1e-9) & (table["area"] <= table["high_95"] + 1e-9)).all()


def test_a_flawless_map_keeps_its_areas():
    table = error_adjusted_areas(np.diag([20, 30]), [3.0, 5.0])
    assert table["area"].tolist() == [3.0, 5.0]
    assert table["half_width_95"].tolist() == [0.0, 0.0]


def test_areas_are_put_to_their_names():
    named = pd.Series([5.0, 3.0], index=["bare", "grass"])
    matrix = pd.DataFrame([[9, 1], [2, 8]], index=["grass", "bare"], columns=["grass", "bare"])
    assert error_adjusted_areas(matrix, named)["mapped_area"].tolist() == [3.0, 5.0]


@pytest.mark.parametrize(
    ("matrix", "areas", "message"),
    [
        ([[1, 2]], [1.0], "must be square"),
        ([[5.5, 1], [1, 5]], [1.0, 1.0], "holds other than counts"),
        ([[5, 1], [0, 1]], [1.0, 1.0], "Class 1 has 1 checked places"),
        ([[5, 1], [1, 5]], [1.0], "mapped_areas has 1 entries"),
        ([[5, 1], [1, 5]], [1.0, -1.0], "Mapped areas are negative"),
    ],
)
def test_what_cannot_be_used_is_said(matrix, areas, message):
    with pytest.raises(InputRefused, match=message):
        error_adjusted_areas(matrix, areas)
