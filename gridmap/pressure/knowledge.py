"""How well a tree is known: the one place that says well known, doubtful or unknown."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from gridmap import checks

WELL_KNOWN, DOUBTFUL, UNKNOWN = "well_known", "doubtful", "unknown"

# Median size k held likely before a walk (see _prior); sd of the log of a count's mean, learned from b beats of one
# tree with many insects on it, is 1 / sqrt(b k).
_SIZE = 0.8
_BEATS = 2
# The share of over-dispersion that is the tree's own (`PressureModel`, its default) widens every tree's limits by this.
_TREE_VARIANCE = 0.25 * math.log(1.0 + 1.0 / _SIZE)
# Upper over lower 80 % limit that those beats would leave: 2 x 1.2816 standard deviations on the log scale, 10.3 times.
WELL_KNOWN_RATIO = math.exp(2.0 * 1.2815515655446004 * math.sqrt(1.0 / (_BEATS * _SIZE) + _TREE_VARIANCE))
# Below this share of what there was to learn about the tree's own block and place, the number is the grove's mean.
LEAST_INFORMED = 0.05


def knowledge(pressure: pd.DataFrame, *, walked: object = None) -> pd.Series:
    """Tell for every tree whether its number is well known, doubtful, or not known at all.

    Parameters
    ----------
    pressure : DataFrame
        Pressure frame with low_80, high_80 [insects per standard beat] and informed.
    walked : array_like of bool, optional
        For each line, whether its block has a count in the walks used. Without it only ``informed`` says so.

    Returns
    -------
    Series of str
        ``well_known``, ``doubtful`` or ``unknown``, indexed like ``pressure``.

    Raises
    ------
    InputRefused
        When a column is missing or ``walked`` has another length.

    Notes
    -----
    Unknown: the block was not walked, or ``informed`` is under 0.05, so the number says only what the rest of the grove
    is like. Well known: the 80 % limits are no further apart than two standard beats of that very tree would leave
    them, a ratio of 10.3; doubtful: further apart. The ratio is exp(2 z sqrt(1 / (2 k) + phi log(1 + 1 / k))) with z =
    1.2816, k = 0.8, the size held likely beforehand, and phi = .25, the tree's share of over-dispersion. Chosen so
    that a walk of fifty trees over a thousand leaves about a quarter of them well known (simulated without that share:
    four blocks, range 30 to 80 m); it is a way of speaking, not a published limit.

    Examples
    --------
    >>> frame = pd.DataFrame({"low_80": [2, 0.5, 0.1], "high_80": [8, 9, 30], "informed": [0.5, 0.3, 0.01]})
    >>> knowledge(frame).tolist()
    ['well_known', 'doubtful', 'unknown']
    >>> knowledge(frame, walked=[False, True, True]).tolist()
    ['unknown', 'doubtful', 'unknown']
    >>> knowledge(frame.iloc[:0]).tolist()
    []
    """
    checks.columns(pressure, ["low_80", "high_80", "informed"], "pressure")
    seen = np.ones(len(pressure), dtype=np.bool_) if walked is None else np.asarray(walked, dtype=np.bool_)
    checks.same_length(len(pressure), walked=seen)
    narrow = pressure["high_80"].to_numpy() <= WELL_KNOWN_RATIO * pressure["low_80"].to_numpy()
    learned = pressure["informed"].to_numpy() >= LEAST_INFORMED
    words = np.where(seen & learned, np.where(narrow, WELL_KNOWN, DOUBTFUL), UNKNOWN)
    return pd.Series(words, index=pressure.index, name="knowledge", dtype="str")
