"""Cover as a share of hits: its limits, and how many points a wanted width needs."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri

from gridmap import checks
from gridmap.checks import FloatArray
from gridmap.errors import InputRefused


def wilson_limits(
    hits: npt.ArrayLike, points: npt.ArrayLike, chance: float = 0.95
) -> tuple[FloatArray, FloatArray]:
    """Tell between which shares the cover lies, from hits among points that fell independently.

    Parameters
    ----------
    hits, points : array_like
        Number of points that hit, and of all points (over 0); fractions are allowed, for effective numbers.
    chance : float, default 0.95
        Chance that the limits hold the truth.

    Returns
    -------
    tuple of ndarray
        Lower and upper limit, as shares.

    Raises
    ------
    InputRefused
        More hits than points, no point, a chance outside 0 to 1.

    Notes
    -----
    (2 n p + z^2 -+ z sqrt(z^2 + 4 n p q)) / (2 (n + z^2)), without continuity correction. Points along one transect
    are alike: with several transects the transect is the unit, and these limits are too narrow.

    References
    ----------
    Wilson, E. B. (1927) J. Am. Stat. Assoc. 22:209-212. doi:10.1080/01621459.1927.10502953.
    Newcombe, R. G. (1998) Two-sided confidence intervals for the single proportion. Stat. Med. 17:857-872, method 3.
    doi:10.1002/(SICI)1097-0258(19980430)17:8<857::AID-SIM777>3.0.CO;2-E.

    Examples
    --------
    >>> low, high = wilson_limits(81, 263)
    >>> low.round(4), high.round(4)
    (np.float64(0.2553), np.float64(0.3662))
    >>> wilson_limits([], [])
    (array([], dtype=float64), array([], dtype=float64))
    """
    k, n = (np.asarray(given, dtype=np.float64) for given in (hits, points))
    if (n <= 0.0).any():
        raise InputRefused(f"number of points is {n.min():g}", "it must be over 0")
    if (k < 0.0).any() or (k > n).any():
        raise InputRefused("more hits than points, or fewer than none", "hits must lie between 0 and the points")
    z = _z(chance)
    p = k / n
    root = z * np.sqrt(z**2 + 4.0 * n * p * (1.0 - p))
    middle, under = 2.0 * n * p + z**2, 2.0 * (n + z**2)
    return (np.asarray(np.maximum((middle - root) / under, 0.0)), np.asarray(np.minimum((middle + root) / under, 1.0)))


def points_needed(share: float, half_width: float, chance: float = 0.95) -> int:
    """Tell how many independent points give limits of a wanted half-width about a share of cover.

    Parameters
    ----------
    share : float
        Cover that is expected, 0 to 1.
    half_width : float
        Wanted half-width, as a share (0.05 for five per cent of the floor).
    chance : float, default 0.95
        Chance that the limits hold the truth.

    Returns
    -------
    int
        Number of points.

    Notes
    -----
    n = z^2 p (1 - p) / d^2 (Cochran 1977, Sampling techniques, section 4.4; from memory).

    Examples
    --------
    >>> points_needed(0.7, 0.05)
    323
    """
    p = checks.number(share, "share of cover", least=0.0, most=1.0)
    d = checks.number(half_width, "half-width", over=0.0, most=1.0)
    return max(math.ceil(_z(chance) ** 2 * p * (1.0 - p) / d**2), 1)


def _z(chance: float) -> float:
    value = checks.number(chance, "chance", over=0.0)
    if value >= 1.0:
        raise InputRefused(f"chance is {value:g}", "it must be under 1", "give it as a share: 0.95 for 95 %")
    return float(ndtri(0.5 + value / 2.0))
