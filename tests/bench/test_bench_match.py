"""How long it takes to match a survey with known trees; printed, nothing is gated."""

from __future__ import annotations

import time

import numpy as np
import pytest

from gridmap.ground import match_survey


@pytest.mark.parametrize(("number", "error_m"), [(500, 1.0), (5000, 1.0), (5000, 2.0)])
def test_time_to_match(number, error_m):
    rng = np.random.default_rng(3)
    old = np.array([[4.5 * i, 6.5 * j] for j in range(72) for i in range(70)])[:number]
    new = old + np.array([1.5, -1.0]) + rng.normal(0, error_m / np.sqrt(2), old.shape)
    start = time.perf_counter()
    found = match_survey(old, new, limit_m=9.0)
    took = time.perf_counter() - start
    right = float((found.matched["old"] == found.matched["new"]).mean())
    print(f"\n{number:,} trees, {error_m:g} m error: {took:.2f} s, {right:.2%} themselves")
