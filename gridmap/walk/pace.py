"""How long a walk takes: from the grower's own past walks, or from what is usual."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from gridmap import checks

# About fifty trees in an hour at three taps a branch, walking between them included (common practice, no source).
USUAL_TREES_PER_HOUR = 50.0
# A longer gap between two counts was a rest or another job, a shorter one was typed in afterwards [minutes].
_LONGEST, _SHORTEST = 15.0, 0.1
# Fewer gaps than these tell no pace.
_LEAST_GAPS = 10


@dataclass(frozen=True)
class Pace:
    """How long one tree takes, the way to it included.

    Parameters
    ----------
    minutes_per_tree : float
        Minutes for a tree.
    gaps : int
        Gaps between two counts that it was worked out from; 0 for the usual pace.

    Examples
    --------
    >>> Pace(1.2).words(50)
    'About 60 minutes for 50 trees, at the usual fifty trees in an hour; your own pace counts after the first walk.'
    """

    minutes_per_tree: float
    gaps: int = 0

    @property
    def own(self) -> bool:
        """Whether it is the grower's own."""
        return self.gaps > 0

    def minutes(self, trees: int) -> float:
        """Return the time for so many trees [minutes]."""
        return self.minutes_per_tree * trees

    def words(self, trees: int) -> str:
        """Say it to the grower."""
        said = f"About {self.minutes(trees):.0f} minutes for {trees} trees, "
        if not self.own:
            return said + "at the usual fifty trees in an hour; your own pace counts after the first walk."
        return said + f"at your own pace of {60.0 / self.minutes_per_tree:.0f} trees in an hour."


def pace(counts: pd.DataFrame) -> Pace:
    """Tell how long the grower takes for a tree, from the times of counts on past walks.

    Parameters
    ----------
    counts : DataFrame
        The counts contract: walk, time (UTC), observer; all walks together.

    Returns
    -------
    Pace
        The median gap between one count and the next of the same walk and observer; the usual pace where under ten
        gaps are known.

    Raises
    ------
    InputRefused
        When a column is missing.

    Notes
    -----
    Gaps over a quarter of an hour are rests, those under six seconds were typed in afterwards: neither counts. The way
    between trees is part of the gap, so the pace is that of a walk of the usual kind.

    Examples
    --------
    >>> times = pd.date_range("2026-02-03T06:00Z", periods=21, freq="2min")
    >>> pace(pd.DataFrame({"walk": "w", "time": times, "observer": None}))
    Pace(minutes_per_tree=2.0, gaps=20)
    >>> pace(pd.DataFrame({"walk": [], "time": [], "observer": []}))
    Pace(minutes_per_tree=1.2, gaps=0)
    """
    checks.columns(counts, ["walk", "time", "observer"], "counts")
    times = pd.to_datetime(counts["time"], utc=True)
    known = pd.DataFrame({"walk": counts["walk"], "observer": counts["observer"].astype("object"), "time": times})
    known = known[known["time"].notna()].sort_values("time", kind="stable")
    gaps = known.groupby(["walk", "observer"], dropna=False)["time"].diff().dropna()
    minutes = gaps.dt.total_seconds().to_numpy() / 60.0 if len(gaps) else np.zeros(0)
    minutes = minutes[(minutes >= _SHORTEST) & (minutes <= _LONGEST)]
    if len(minutes) < _LEAST_GAPS:
        return Pace(60.0 / USUAL_TREES_PER_HOUR)
    return Pace(float(np.median(minutes)), len(minutes))
