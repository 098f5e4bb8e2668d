"""Blocks drawn from what the model holds likely. No published example: these are properties."""

from __future__ import annotations

import numpy as np
import pytest

from gridmap.errors import InputRefused
from gridmap.pressure.likely import likely_blocks


def test_neighbours_are_alike_and_the_mean_is_one():
    drawn = likely_blocks([[0, 0], [3, 0], [400, 0]], 3000, seed=1)
    assert drawn.relative.mean(axis=1) == pytest.approx(1)
    logs = np.log(drawn.relative)
    assert np.abs(logs[:, 0] - logs[:, 1]).mean() < 0.5 * np.abs(logs[:, 0] - logs[:, 2]).mean()


def test_sizes_are_as_held_likely():
    """Median 0.8 as docs/pressure-model.md says; the grid is coarse."""
    assert 0.5 < np.median(likely_blocks([[0, 0]], 2000).k) < 1.3


def test_no_tree_is_refused():
    with pytest.raises(InputRefused, match="No tree was given"):
        likely_blocks([])
