"""How much of the unevenness between beats belongs to the tree, from trees beaten more than once on a visit."""

from __future__ import annotations

import numpy as np

from gridmap.checks import FloatArray, IntArray
from gridmap.pressure._fit import Fitted
from gridmap.pressure._laplace import laplace
from gridmap.pressure._prior import Grid
from gridmap.pressure._walk import Walk, covariance

# Held likely as beta(1.5, 4.5), whose mean is the 0.25 that serves without repeats.
SHARES = np.array([0.02, 0.12, 0.25, 0.4, 0.55, 0.7, 0.85, 0.98])
_LOG_PRIOR = 0.5 * np.log(SHARES) + 3.5 * np.log1p(-SHARES)
_POINTS = 12
_LARGE_SHARE = 0.6
_LEAST_REPEATS = 5
_MOST_BEATS = 240


def estimate_tree_share(fitted: Fitted) -> float | None:
    """Return the share phi that repeat beats point to, None where under five trees were beaten twice on a visit.

    Notes
    -----
    Unevenness of size k has a variance of about log(1 + 1/k) on the log scale. A share phi of it is given to the tree,
    as a normal part common to its beats; the rest stays with the beat, as a size k_b with
    log(1 + 1/k_b) = (1 - phi) log(1 + 1/k). Phi is averaged over its own evidence, at the likeliest grid points.
    """
    walk, tree = repeats_first(fitted.walk)
    if len(tree) == 0:
        return None
    # Without a tree's share, places close by stand in for it: the likeliest points with a large share are asked too.
    whole = _log_weight(walk, tree, fitted.tried, fitted.log_mean, _LARGE_SHARE)
    best = np.union1d(
        np.argsort(fitted.tried.log_prior + fitted.log_evidence)[-_POINTS:], np.argsort(whole)[-_POINTS:]
    )
    points = fitted.tried.take(best)
    log_weight = _LOG_PRIOR.copy()
    for i, share in enumerate(SHARES):
        log_weight[i] += np.logaddexp.reduce(_log_weight(walk, tree, points, fitted.log_mean, float(share)))
    weight = np.exp(log_weight - log_weight.max())
    return float(SHARES @ weight / weight.sum())


def _log_weight(walk: Walk, tree: IntArray, points: Grid, log_mean: float, share: float) -> FloatArray:
    """Return the log weight of each grid point when this share of the unevenness belongs to the tree."""
    unevenness, same = np.log1p(1.0 / points.size), tree[:, None] == tree
    variance = share * unevenness
    size = 1.0 / np.expm1((1.0 - share) * unevenness)
    # The mean of a log-normal part is kept at 1 by half its variance.
    base = log_mean + walk.log_effort - 0.5 * variance[:, None]
    result = np.empty(len(points))
    for g in range(len(points)):
        K = covariance(walk, points.take(np.array([g]))) + variance[g] * same
        result[g] = laplace(K, walk.counts, base[g], size[g : g + 1]).log_evidence[0]
    return result + points.log_prior


def repeats_first(walk: Walk) -> tuple[Walk, IntArray]:
    """Return the walk and the number of each beat's tree on its visit; nothing where too few were beaten twice.

    Of a large walk, the beats of trees that were beaten more than once are taken first.
    """
    _, tree, beats = np.unique(
        np.column_stack([walk.xy, walk.visit]), axis=0, return_inverse=True, return_counts=True
    )
    if (beats > 1).sum() < _LEAST_REPEATS:
        return walk, np.zeros(0, dtype=np.int64)
    order = np.argsort(-beats[tree], kind="stable")[:_MOST_BEATS]
    return walk.take(order), np.asarray(tree[order], dtype=np.int64)
