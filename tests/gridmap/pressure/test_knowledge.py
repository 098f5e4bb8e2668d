"""Well known, doubtful, unknown: words for figures that the model gives."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from gridmap.errors import InputRefused
from gridmap.pressure import PressureModel, knowledge
from gridmap.pressure.knowledge import WELL_KNOWN_RATIO


def test_ratio_is_what_two_beats_would_leave():
    """Variance of the log mean of b negative-binomial counts with many insects: 1 / (b k) (delta method); scipy's z."""
    # The tree's own share, .25 of log(1 + 1 / k), widens the limits of every tree.
    variance = 1 / (2 * 0.8) + 0.25 * np.log(1 + 1 / 0.8)
    assert pytest.approx(np.exp(2 * stats.norm.ppf(0.9) * np.sqrt(variance))) == WELL_KNOWN_RATIO


def test_words():
    frame = pd.DataFrame(
        {"low_80": [1.0, 1.0, 1.0, 1.0], "high_80": [10.0, 11.0, 2.0, 2.0], "informed": [0.3, 0.3, 0.04, 0.3]},
        index=list("abcd"),
    )
    told = knowledge(frame, walked=[True, True, True, False])
    assert told.to_dict() == {"a": "well_known", "b": "doubtful", "c": "unknown", "d": "unknown"}


def test_beaten_corner_is_known_and_a_far_block_is_not():
    rng = np.random.default_rng(1)
    xy = rng.uniform(0, 60, (60, 2))
    model = PressureModel(5).fit(xy, rng.poisson(20, 60), block=["walked"] * 60)
    table = model.predict([[30, 30], [2000, 2000]], block=["walked", "not"])
    assert knowledge(table).tolist() == ["well_known", "unknown"]


def test_bad_frames_are_refused():
    with pytest.raises(InputRefused, match="Pressure has no column 'informed'"):
        knowledge(pd.DataFrame({"low_80": [1], "high_80": [2]}))
    with pytest.raises(InputRefused, match="Walked has 2 entries"):
        knowledge(pd.DataFrame({"low_80": [1], "high_80": [2], "informed": [1]}), walked=[True, False])
