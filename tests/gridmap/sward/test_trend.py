"""Trends by rank: a table of the US EPA, textbook examples, a general library."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from gridmap.errors import InputMissing, InputRefused
from gridmap.sward import rank_trend

# US EPA (2009) Statistical analysis of groundwater monitoring data, unified guidance, example 17-6 (sulfate, ppm), as
# carried with its answers by the R package EnvStats.
DATE = [89.6, 89.8, 90.1, 90.3, 90.6, 90.8, 91.1, 91.3, 91.6, 91.8, 92.1, 92.6, 93.1, 93.6, 94.1, 94.6, 95.1, 95.6,
        95.8, 96.1, 96.3, 96.7, 96.8]
SULFATE = [480, 450, 490, 520, 485, 510, 510, 530, 510, 560, 560, 540, 590, 550, 600, 700, 570, 610, 650, 620, 830,
           720, 590]


def test_the_epa_example():
    found = rank_trend(DATE, SULFATE)
    assert found.z == pytest.approx(5.107322, abs=1e-6)
    assert found.p == pytest.approx(3.2676e-07, rel=1e-4)
    assert found.slope == pytest.approx(26.66667, abs=1e-5)
    assert found.intercept == pytest.approx(-1909.333, abs=1e-3)


def test_helsel_and_hirsch():
    """Statistical methods in water resources, chapter 8 (S = 21, tau = 0.47) and 10 (median slope 1); from memory."""
    found = rank_trend(range(10), [1.22, 2.20, 4.80, 1.28, 1.97, 1.46, 2.64, 2.34, 4.84, 2.96])
    assert found.s == 21
    assert round(found.tau, 2) == 0.47
    line = rank_trend([1, 2, 3, 4, 5, 6, 7], [1, 2, 3, 4, 5, 16, 7])
    assert line.slope == pytest.approx(1.0)
    assert line.intercept == pytest.approx(0.0)


@pytest.mark.parametrize("seed", range(5))
def test_a_general_library_agrees(seed):
    """Peer: scipy's theilslopes and kendalltau (tau-a equals tau-b without ties)."""
    chance = np.random.default_rng(seed)
    x, y = np.sort(chance.uniform(0, 8, 9)), chance.normal(size=9)
    found, peer = rank_trend(x, y), stats.theilslopes(y, x, alpha=0.9)
    assert (found.slope, found.intercept) == pytest.approx((peer.slope, peer.intercept))
    assert (found.low_90, found.high_90) == pytest.approx((peer.low_slope, peer.high_slope))
    assert found.tau == pytest.approx(stats.kendalltau(x, y).statistic)


def test_too_few_surveys_are_said():
    """Of 4! = 24 orders 2 are the most extreme (p = 0.083), of 5! = 120 also 2 (p = 0.017)."""
    four, five = rank_trend(range(4), range(4)), rank_trend(range(5), range(5))
    assert (four.enough, five.enough) == (False, True)
    assert np.isnan(four.low_90)
    assert stats.kendalltau(range(4), range(4), method="exact").pvalue > 0.05
    with pytest.raises(InputMissing, match="Too few surveys for a trend: 1"):
        rank_trend([2025], [1])
    with pytest.raises(InputRefused, match="Two surveys have the same time"):
        rank_trend([2025, 2025], [1, 2])


def test_no_change_is_no_trend():
    found = rank_trend(range(6), [0.4] * 6)
    assert (found.s, found.z, found.p, found.slope) == (0, 0.0, 1.0, 0.0)
