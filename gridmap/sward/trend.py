"""A trend over the years without any model: Sen's slope and the Mann-Kendall test."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr, ndtri

from gridmap import checks
from gridmap.errors import InputMissing, InputRefused

# Of all orders of n surveys two are wholly up or wholly down: p = 2 / n!, which is 0.083 for 4 and 0.017 for 5
FEWEST_FOR_A_TEST = 5


@dataclass(frozen=True)
class Trend:
    """A trend told by ranks.

    Parameters
    ----------
    slope, intercept : float
        Median of all slopes between two surveys [per unit of time], and of what they leave at time 0.
    low_90, high_90 : float
        Limits of the slope, NaN with fewer than `FEWEST_FOR_A_TEST` surveys.
    s : int
        Pairs that rise less pairs that fall.
    variance, z, p : float
        Of S without a trend, with ties; the normal score with its continuity correction; the two-sided chance.
    tau : float
        S over the number of pairs.
    surveys : int
        How many.
    enough : bool
        Whether a test can say anything: False means too few surveys, whatever p is.
    """

    slope: float
    intercept: float
    low_90: float
    high_90: float
    s: int
    variance: float
    z: float
    p: float
    tau: float
    surveys: int
    enough: bool


def rank_trend(time: npt.ArrayLike, value: npt.ArrayLike) -> Trend:
    """Tell whether something rose or fell over the surveys, whatever the shape, and by how much a year.

    Parameters
    ----------
    time : array_like of shape (n,)
        When, all different [for instance years].
    value : array_like of shape (n,)
        What was measured.

    Returns
    -------
    Trend
        Sen's slope, the Mann-Kendall test, and whether there are surveys enough to say anything.

    Raises
    ------
    InputMissing
        Fewer than two surveys.
    InputRefused
        Lengths that differ, the same time twice, values that are not finite.

    Notes
    -----
    S = sum of sign(y_j - y_i) over i < j; var S = (n(n-1)(2n+5) - sum over ties t(t-1)(2t+5)) / 18; Z = (S -+ 1) /
    sqrt(var). The slope is the median of (y_j - y_i) / (x_j - x_i), the intercept median(y) - slope median(x); its
    limits are the slopes whose ranks lie z sqrt(var) / 2 from the middle (Sen 1968).

    References
    ----------
    Helsel, D. R. and Hirsch, R. M. (2002) Statistical methods in water resources, chapters 8, 10 and 12.
    Sen, P. K. (1968) Estimates of the regression coefficient based on Kendall's tau. J. Am. Stat. Assoc. 63:1379-1389.
    doi:10.1080/01621459.1968.10480934.

    Examples
    --------
    >>> found = rank_trend([2019, 2021, 2022, 2023, 2025], [40, 46, 47, 55, 60])
    >>> round(found.slope, 2), found.s, found.enough
    (3.42, 10, True)
    >>> rank_trend([2025], [40])
    Traceback (most recent call last):
    gridmap.errors.InputMissing: Too few surveys for a trend: 1: it needs two at least.
    """
    x, y = (np.asarray(given, dtype=np.float64).reshape(-1) for given in (time, value))
    checks.same_length(len(x), value=y)
    if len(x) < 2:
        raise InputMissing(f"too few surveys for a trend: {len(x)}", "it needs two at least", missing=["surveys"])
    if not (np.isfinite(x).all() and np.isfinite(y).all()):
        raise InputRefused("a time or a value is not finite", "a trend needs every survey's value", "leave it out")
    if len(np.unique(x)) < len(x):
        raise InputRefused("two surveys have the same time", "each survey has its own", "join them first")
    n = len(x)
    first, second = np.triu_indices(n, 1)
    order = np.argsort(x)
    x, y = x[order], y[order]
    slopes = np.sort((y[second] - y[first]) / (x[second] - x[first]))
    s = int(np.sign(y[second] - y[first]).sum())
    ties = np.unique(y, return_counts=True)[1].astype(float)
    variance = (n * (n - 1) * (2 * n + 5) - float((ties * (ties - 1) * (2 * ties + 5)).sum())) / 18.0
    z = (s - math.copysign(1, s)) / math.sqrt(variance) if s and variance > 0 else 0.0
    slope = float(np.median(slopes))
    low, high = _limits(slopes, variance) if n >= FEWEST_FOR_A_TEST else (math.nan, math.nan)
    return Trend(
        slope, float(np.median(y) - slope * np.median(x)), low, high, s, variance, z, float(2.0 * ndtr(-abs(z))),
        s / len(slopes), n, n >= FEWEST_FOR_A_TEST,
    )


def _limits(slopes: npt.NDArray[np.float64], variance: float) -> tuple[float, float]:
    """Return the slopes at the ranks of the 90 % limits."""
    reach = float(ndtri(0.95)) * math.sqrt(variance)
    low = max(round((len(slopes) - reach) / 2.0) - 1, 0)
    high = min(round((len(slopes) + reach) / 2.0), len(slopes) - 1)
    return float(slopes[low]), float(slopes[high])
