"""Greenness and its threshold: published formulas, Otsu's worked histogram, a general library."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gridmap.errors import InputRefused
from gridmap.sward import greenness, otsu

# Six grey levels 0 to 5, a worked example of Otsu's method that is passed round in teaching (from memory): the least
# variance within the parts is 0.4909, with the parts 0-2 and 3-5.
COUNTS = [8, 7, 2, 6, 9, 4]


def test_otsu_worked_example():
    assert otsu(COUNTS) == 2
    n, level = np.array(COUNTS, dtype=float), np.arange(6)
    within = []
    for last in range(5):
        parts = [(n[: last + 1], level[: last + 1]), (n[last + 1:], level[last + 1:])]
        within.append(sum(np.sum(w * (x - np.average(x, weights=w)) ** 2) for w, x in parts) / n.sum())
    assert np.round(within, 4).tolist() == [1.5268, 0.5561, 0.4909, 0.9779, 2.2491]


@pytest.mark.parametrize("seed", range(6))
def test_otsu_is_that_of_a_general_library(seed):
    """Peer: scikit-image's threshold_otsu on the histogram."""
    filters = pytest.importorskip("skimage.filters")
    chance = np.random.default_rng(seed)
    values = np.concatenate([chance.normal(60, 15, 500), chance.normal(150, 25, 300)]).clip(0, 255).astype(int)
    counts = np.bincount(values, minlength=256)
    assert otsu(counts) == filters.threshold_otsu(hist=(counts, np.arange(256)))


@settings(max_examples=60, deadline=None)
@given(st.lists(st.integers(0, 30), min_size=3, max_size=12).filter(lambda n: sum(x > 0 for x in n) > 1))
def test_otsu_is_the_best_of_all_thresholds(counts):
    """Exhaustive search (no published example)."""
    n, level = np.array(counts, dtype=float), np.arange(len(counts))

    def between(last: int) -> float:
        low, high = n[: last + 1], n[last + 1:]
        if not low.sum() or not high.sum():
            return -1.0
        means = np.average(level[: last + 1], weights=low) - np.average(level[last + 1:], weights=high)
        return float(low.sum() * high.sum() * means**2)

    assert between(otsu(counts)) == pytest.approx(max(between(last) for last in range(len(counts) - 1)))


def test_one_greenness_has_no_threshold():
    with pytest.raises(InputRefused, match="of one greenness"):
        otsu([0, 9, 0])


@settings(max_examples=60, deadline=None)
@given(st.tuples(st.integers(1, 255), st.integers(1, 255), st.integers(1, 255)))
def test_indices_are_their_formulas(rgb):
    """ExG = 2g - r - b (Woebbecke et al. 1995); ExR = 1.3 R - G (Meyer and Neto 2008); both of chromatic shares."""
    r, g, b = np.array(rgb) / sum(rgb)
    bands = {"red": [rgb[0]], "green": [rgb[1]], "blue": [rgb[2]], "near_infrared": [rgb[1]]}
    assert greenness(bands, "excess_green")[0] == pytest.approx(2 * g - r - b, abs=1e-5)
    assert greenness(bands, "excess_green_minus_red")[0] == pytest.approx(2 * g - r - b - (1.3 * r - g), abs=1e-5)
    assert greenness(bands, "ndvi")[0] == pytest.approx((g - r) / (g + r), abs=1e-5)


def test_black_is_not_green_and_missing_bands_are_said():
    assert greenness({"red": [0], "green": [0], "blue": [0]}, "excess_green").tolist() == [0.0]
    with pytest.raises(InputRefused, match="no near infrared band"):
        greenness({"red": [1], "green": [1], "blue": [1]}, "ndvi")
    with pytest.raises(InputRefused, match="Index is 'vari'"):
        greenness({}, "vari")
