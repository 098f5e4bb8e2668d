"""Running grasses that climb into trees: pinned, followed, and told growing or shrinking."""

from __future__ import annotations

import math

import pandas as pd

from gridmap import checks

# A patch paced round is known to about a fifth of its area: own assumption, no source
PACING: float = 0.2


def runner_growth(sightings: pd.DataFrame) -> pd.DataFrame:
    """Tell of every pinned patch of a running grass whether it grows, shrinks or stays.

    Parameters
    ----------
    sightings : DataFrame
        patch (its name or uuid), grass, date (YYYY-MM-DD), area_m2 (0 where it is gone).

    Returns
    -------
    DataFrame
        patch, grass, first, last (dates), sightings, area_m2 (last), ratio (last over first, NaN from one sighting),
        trend (growing, shrinking, as it was, gone, seen once).

    Raises
    ------
    InputRefused
        A column that is not there, an area under 0.

    Notes
    -----
    An area paced round is known to a fifth (own assumption), so a ratio within (1 + 0.2 sqrt 2) of 1 is "as it was".

    Examples
    --------
    >>> seen = pd.DataFrame({"patch": ["p", "p", "q"], "grass": "Cenchrus clandestinus",
    ...     "date": ["2024-03-01", "2025-03-01", "2025-03-01"], "area_m2": [10.0, 30.0, 4.0]})
    >>> runner_growth(seen)[["patch", "ratio", "trend"]].values.tolist()
    [['p', 3.0, 'growing'], ['q', nan, 'seen once']]
    >>> len(runner_growth(seen.head(0)))
    0
    """
    checks.columns(sightings, ["patch", "grass", "date", "area_m2"], "running grasses")
    lines = []
    for patch, group in sightings.sort_values("date", kind="stable").groupby("patch", sort=True):
        areas = [checks.number(area, "area of a patch", "m2", least=0.0) for area in group["area_m2"]]
        first, last = areas[0], areas[-1]
        ratio = last / first if len(areas) > 1 and first > 0 else math.nan
        lines.append((patch, group["grass"].iloc[-1], group["date"].iloc[0], group["date"].iloc[-1], len(areas), last,
                      ratio, _trend(areas)))
    return pd.DataFrame(lines, columns=["patch", "grass", "first", "last", "sightings", "area_m2", "ratio", "trend"])


def _trend(areas: list[float]) -> str:
    if len(areas) == 1:
        return "seen once"
    if areas[-1] == 0.0:
        return "gone"
    band = 1.0 + PACING * math.sqrt(2.0)
    if areas[-1] > areas[0] * band:
        return "growing"
    return "shrinking" if areas[-1] < areas[0] / band else "as it was"
