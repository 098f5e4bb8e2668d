"""Limits of a share of hits: Newcombe's table, a general library."""

from __future__ import annotations

import numpy as np
import pytest
from statsmodels.stats.proportion import proportion_confint

from gridmap.errors import InputRefused
from gridmap.sward import points_needed, wilson_limits


@pytest.mark.parametrize(
    ("hits", "points", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_newcombe(hits, points, low, high):
    """Newcombe, R. G. (1998) Stat. Med. 17:857-872, table I, method 3 (as quoted by public test files)."""
    assert [float(limit) for limit in wilson_limits(hits, points)] == pytest.approx([low, high], abs=5e-5)


@pytest.mark.parametrize("chance", [0.8, 0.9, 0.99])
def test_a_general_library_agrees(chance):
    hits, points = np.array([0, 3, 50, 80]), np.array([80, 80, 80, 80])
    peer = proportion_confint(hits, points, alpha=1 - chance, method="wilson")
    np.testing.assert_allclose(wilson_limits(hits, points, chance), peer, atol=1e-12)


def test_points_for_a_wanted_width():
    """Cochran's n = z^2 p q / d^2, as any textbook of sampling has it: 0.5 and 5 points give 385 (384.15)."""
    assert points_needed(0.5, 0.05) == 385
    assert points_needed(0.0, 0.05) == 1


def test_what_cannot_be_is_refused():
    with pytest.raises(InputRefused, match="More hits than points"):
        wilson_limits(5, 4)
    with pytest.raises(InputRefused, match="Number of points is 0"):
        wilson_limits(0, 0)
    with pytest.raises(InputRefused, match="Chance is 95"):
        wilson_limits(1, 4, 95)
