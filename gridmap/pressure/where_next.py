"""Where to beat next, and whether more beats would change what is sprayed."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from gridmap import checks
from gridmap.checks import FloatArray, IntArray

# Two trees nearer than this tell much the same (common practice, no source: about three trees along a row).
NEAR_M = 15.0
# A beat helps only where the decision is close: worth to this power chose better than plain worth (0.009 of the cost of
# spraying everything, 150 groves) and as well as the expected value of sample information worked out tree by tree.
_SHARPNESS = 3
# Trees over which the worth of a beat is spread: what it teaches reaches so far.
_NEIGHBOURS = 12


def worth_of_knowing(chance_over: object, cost_ratio: float = 4.0) -> FloatArray:
    """Tell what it would be worth to know for certain whether a tree is over, as a share of the cost of spraying it.

    Parameters
    ----------
    chance_over : array_like
        Chance that the tree is over the threshold, 0 to 1.
    cost_ratio : float, default 4
        Loss from a tree over the threshold that is left, over the cost of spraying one tree; over 1.

    Returns
    -------
    ndarray
        0 where the decision is clear, greatest (1 - 1 / cost_ratio) where the chance is 1 / cost_ratio: there the
        rule tips from leaving to spraying.

    Raises
    ------
    InputRefused
        When the ratio is not over 1.

    Notes
    -----
    The expected value of perfect information (Raiffa and Schlaifer 1961, Applied Statistical Decision Theory): the
    rule costs min(1, r p), whoever knows would spend p.

    Examples
    --------
    >>> worth_of_knowing([0.0, 0.25, 0.5, 1.0], 4.0)
    array([0.  , 0.75, 0.5 , 0.  ])
    """
    ratio = checks.number(cost_ratio, "cost ratio", over=1.0, remedy="divide the loss of a tree left by its cost")
    p = np.asarray(chance_over, dtype=np.float64)
    return np.asarray(np.minimum(1.0, ratio * p) - p)


def pick_apart(xy: FloatArray, worth: FloatArray, beaten: FloatArray, n: int) -> IntArray:
    """Return rows of most worth, one after the other, each lowering the worth of those near it.

    Worth, sharpened, is first averaged over the trees about each tree, since a beat tells of them too, and lowered near
    trees that were beaten already; each factor is 1 - exp(-(d / 15 m)^2).
    """
    if not len(xy):
        return np.zeros(0, dtype=np.int64)
    search = cKDTree(xy)
    _, near = search.query(xy, k=min(_NEIGHBOURS, len(xy)))
    value = (worth**_SHARPNESS)[np.asarray(near).reshape(len(xy), -1)].mean(axis=1)
    if len(beaten):
        distance, _ = cKDTree(beaten).query(xy)
        value *= _left_over(np.asarray(distance))
    chosen: list[int] = []
    free = np.ones(len(xy), dtype=np.bool_)
    while len(chosen) < min(n, len(xy)):
        best = int(np.argmax(np.where(free, value, -1.0)))
        chosen.append(best)
        free[best] = False
        close = np.asarray(search.query_ball_point(xy[best], 4.0 * NEAR_M), dtype=np.int64)
        value[close] *= _left_over(np.hypot(*(xy[close] - xy[best]).T))
    return np.array(chosen, dtype=np.int64)


def _left_over(distance: FloatArray) -> FloatArray:
    return np.asarray(-np.expm1(-((distance / NEAR_M) ** 2)))
