"""Rows found in 5,000 surveyed trees, wanted under 1 s. Printed, nothing gated.

The peers of the same run are density clustering (DBSCAN, Ester M et al. 1996, as scikit-learn has it), which looks at
each tree's neighbours as well and says nothing of rows, and the bare neighbour search of scipy.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial import cKDTree
from sklearn.cluster import DBSCAN

from gridmap.ground.infer import infer_rows

sys.path.insert(0, str(Path(__file__).parents[1] / "gridmap" / "ground"))
from simulated_groves import Recipe, score, simulate


def best_of(number: int, work: Callable[[], object]) -> float:
    """Return the shortest of some runs [s]."""
    times = []
    for _ in range(number):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


@pytest.mark.parametrize("error_m", [1.0, 2.0])
def test_five_thousand_trees(error_m):
    grove = simulate(5, Recipe(trees=(5000, 5000), position_error_m=error_m))
    seconds = best_of(3, lambda: infer_rows(grove.xy))
    clusters = best_of(3, lambda: DBSCAN(eps=8.0, min_samples=4).fit(grove.xy))
    neighbours = best_of(3, lambda: cKDTree(grove.xy).query(grove.xy, k=8))
    right, _, _ = score(grove, infer_rows(grove.xy))
    share = right / len(grove.xy)
    print(f"\n{len(grove.xy)} trees, {error_m:g} m error: {seconds:.2f} s, {share:.4f} in the right row; "
          f"DBSCAN {clusters:.3f} s (ratio {seconds / clusters:.1f}), "
          f"eight neighbours {neighbours:.3f} s (ratio {seconds / neighbours:.0f})")
    assert np.isfinite(seconds)
