"""Ranges, spreads and sizes weighed by the walk: which points of the grid explain the counts, and how well."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree
from scipy.spatial.distance import cdist

from gridmap.checks import FloatArray, IntArray
from gridmap.errors import InputRefused
from gridmap.pressure._laplace import Posterior, join, laplace
from gridmap.pressure._prior import SIZES, USUAL_SIZES, Grid, grid, spacing_factor
from gridmap.pressure._walk import Walk, covariance

# Up to this many beats every grid point is computed on all of them.
MOST_BEATS_WHOLE_GRID = 300
# Over it, the grid is weighed on a subset and this many points are computed on all beats.
_POINTS_OF_LARGE = 6
MOST_BEATS = 2000
# Where the largest usual size holds this much of the weight, counts are nearly Poisson and the rest is computed.
_NEARLY_POISSON = 0.3
_LEAST_WEIGHT = 1e-5
# Numbers in one batch of matrices (8 bytes each, some eight such arrays at a time).
_BATCH = 2_000_000


@dataclass(frozen=True)
class Fitted:
    """Grid points that carry weight, their posterior, and every point that was computed with its evidence."""

    points: Grid
    posterior: Posterior
    weight: FloatArray
    tried: Grid
    log_evidence: FloatArray
    spacing_factor: float


def fit_walk(walk: Walk, log_mean: float) -> Fitted:
    """Return what a walk says, averaged over the grid of range, spread and size.

    Raises
    ------
    InputRefused
        Over 2,000 beats.
    """
    n = len(walk.xy)
    if n > MOST_BEATS:
        raise InputRefused(
            f"the walk holds {n} beats", f"at most {MOST_BEATS} can be mapped at once",
            "map it in parts, or leave out the oldest walks",
        )
    factor = spacing_factor(walk.xy)
    if n <= MOST_BEATS_WHOLE_GRID:
        tried, posterior = _whole_grid(walk, log_mean, factor)
    else:
        chosen = spread_subset(walk.xy, MOST_BEATS_WHOLE_GRID)
        tried, part = _whole_grid(walk.take(chosen), log_mean, factor)
        best = np.argsort(grid_weights(tried, part.log_evidence))[::-1][:_POINTS_OF_LARGE]
        tried = tried.take(best)
        posterior = _posterior(walk, tried, log_mean)
    weight = grid_weights(tried, posterior.log_evidence)
    kept = np.flatnonzero(weight > _LEAST_WEIGHT)
    share = weight[kept] / weight[kept].sum()
    return Fitted(tried.take(kept), posterior.take(kept), share, tried, posterior.log_evidence, factor)


def _whole_grid(walk: Walk, log_mean: float, factor: float) -> tuple[Grid, Posterior]:
    """Return the usual points, and those of nearly Poisson counts where the usual ones point that way."""
    every = grid(factor)
    usual = np.flatnonzero(every.size <= SIZES[USUAL_SIZES - 1])
    points = every.take(usual)
    posterior = _posterior(walk, points, log_mean)
    at_edge = points.size == SIZES[USUAL_SIZES - 1]
    if grid_weights(points, posterior.log_evidence)[at_edge].sum() > _NEARLY_POISSON:
        rest = every.take(np.setdiff1d(np.arange(len(every)), usual))
        posterior = join([posterior, _posterior(walk, rest, log_mean)])
        points = Grid(*(
            np.concatenate([getattr(points, name), getattr(rest, name)])
            for name in ("range_m", "spread", "size", "log_prior")
        ))
    return points, posterior


def _posterior(walk: Walk, points: Grid, log_mean: float) -> Posterior:
    """Return the posterior of each point, in batches that bound the memory."""
    step = max(1, _BATCH // len(walk.xy) ** 2)
    parts = []
    for start in range(0, len(points), step):
        some = points.take(np.arange(start, min(start + step, len(points))))
        parts.append(laplace(covariance(walk, some), walk.counts, log_mean + walk.log_effort, some.size))
    return join(parts)


def grid_weights(points: Grid, log_evidence: FloatArray) -> FloatArray:
    """Return the posterior weight of each point; they sum to 1."""
    log_weight = points.log_prior + log_evidence
    weight = np.exp(log_weight - log_weight.max())
    return np.asarray(weight / weight.sum())


def spread_subset(xy: FloatArray, number: int) -> IntArray:
    """Return beats spread over the walk, each with its nearest other beat, so that short distances are seen too."""
    start = int(np.argmin(((xy - xy.mean(axis=0)) ** 2).sum(axis=1)))
    spread = [start]
    distance = cdist(xy[[start]], xy)[0]
    while len(spread) < number // 2:
        farthest = int(np.argmax(distance))
        if distance[farthest] <= 0.0:
            break
        spread.append(farthest)
        distance = np.minimum(distance, cdist(xy[[farthest]], xy)[0])
    rest = np.setdiff1d(np.arange(len(xy)), spread)
    _, nearest = cKDTree(xy[rest]).query(xy[spread])
    return np.union1d(spread, rest[np.asarray(nearest)])
