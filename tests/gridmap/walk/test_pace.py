"""The pace: gaps between counts, worked out by hand. No published example."""

from __future__ import annotations

import pandas as pd
import pytest

from gridmap.errors import InputRefused
from gridmap.walk import Pace, pace


def counts(walk, minutes, observer="ann"):
    start = pd.Timestamp("2026-02-03T06:00Z")
    times = [start + pd.Timedelta(minutes=m) for m in minutes]
    return pd.DataFrame({"walk": walk, "observer": observer, "time": times})


def test_rests_and_counts_typed_in_afterwards_do_not_count():
    walked = [0, 1, 2, 4, 5, 6, 40, 41, 42, 43, 44, 45, 45.01, 45.02]
    assert pace(counts("w", walked)) == Pace(1.0, 10)


def test_two_observers_and_two_walks_are_not_mixed():
    both = pd.concat([counts("w", range(0, 24, 2)), counts("w", range(1, 25, 2), "bob"), counts("v", range(0, 24, 2))])
    assert pace(both) == Pace(2.0, 33)


def test_few_gaps_and_missing_times_tell_no_pace():
    few = counts("w", range(5))
    assert not pace(few).own
    assert pace(few).minutes(50) == pytest.approx(60)
    assert pace(few.assign(time=None)) == Pace(1.2)


def test_its_words():
    assert Pace(2.0, 33).words(30) == "About 60 minutes for 30 trees, at your own pace of 30 trees in an hour."
    with pytest.raises(InputRefused, match="no column 'observer'"):
        pace(counts("w", [0]).drop(columns="observer"))
