"""Ranges, spreads and sizes weighed by the walk: which points of the grid explain the counts, and how well."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from gridmap.checks import FloatArray, IntArray
from gridmap.errors import InputRefused
from gridmap.pressure._laplace import Posterior, join, laplace
from gridmap.pressure._prior import (
    LOG_PRIOR_VISITS,
    SIZES,
    SPACING_M,
    USUAL_SIZES,
    VISITS_M,
    Grid,
    grid,
    usual_spacing_m,
)
from gridmap.pressure._walk import Walk, covariance
from gridmap.pressure._windows import cells, windows

# Up to this many beats every grid point is computed on all of them.
MOST_BEATS_WHOLE_GRID = 300
# Over it, the grid is weighed on so many clusters of so many beats at most, and these many points are computed window
# by window.
CLUSTERS, CLUSTER = 6, 100
_POINTS_OF_LARGE = 6
_OUT_OF_RACE = 1e-4
MOST_BEATS = 100_000
# Where the largest usual size holds this much of the weight, counts are nearly Poisson and the rest is computed.
_NEARLY_POISSON = 0.3
# The unlikeliest points, holding together no more than this of the weight, are left out.
_LEAST_SAID = 0.003
# Points below this weight are not tried with each distance between visits.
_LEAST_SAY = 0.004
# Numbers in one batch of matrices (8 bytes each, some eight such arrays at a time).
_BATCH = 2_000_000


@dataclass(frozen=True)
class Fitted:
    """Grid points that carry weight, their posterior, and every point that was computed with its evidence.

    ``posterior`` is None where there are many beats: it is then worked out window by window, in `parts`.
    """

    walk: Walk
    points: Grid
    posterior: Posterior | None
    weight: FloatArray
    tried: Grid
    log_evidence: FloatArray
    spacing_factor: float
    log_mean: float

    def parts(self, xy: FloatArray) -> Iterator[Part]:
        """Return the beats that speak for each group of trees, with what they say: all at once, or by windows."""
        if self.posterior is not None:
            yield Part(np.arange(len(self.walk.xy)), np.arange(len(xy)), self.walk, self.posterior)
            return
        for beats, trees in windows(self.walk.xy, xy):
            local = self.walk.take(beats)
            yield Part(beats, trees, local, posterior_of(local, self.points, self.log_mean))


@dataclass(frozen=True)
class Part:
    """Beats (rows of the walk) that speak for some trees (rows asked about), their walk and posterior."""

    beats: IntArray
    trees: IntArray
    walk: Walk
    posterior: Posterior


def fit_walk(walk: Walk, log_mean: float, *, whole: bool | None = None) -> Fitted:
    """Return what a walk says, averaged over the grid of range, spread and size.

    ``whole`` True or False takes all beats at once, or windows, whatever their number (for tests that compare).

    Raises
    ------
    InputRefused
        Over 100,000 beats.
    """
    n = len(walk.xy)
    if n > MOST_BEATS:
        raise InputRefused(
            f"the walk holds {n} beats", f"at most {MOST_BEATS:,} can be mapped at once",
            "map it in parts, or leave out the oldest walks",
        )
    factor = walk_spacing_factor(walk)
    if n <= MOST_BEATS_WHOLE_GRID if whole is None else whole:
        tried, posterior = _whole_grid(walk, log_mean, factor)
        log_evidence = posterior.log_evidence
        weight = grid_weights(tried, log_evidence)
        order = np.argsort(weight)
        kept = np.sort(order[np.cumsum(weight[order]) > _LEAST_SAID])
        of_kept: Posterior | None = posterior.take(kept)
    else:
        tried, log_evidence = _by_clusters(walk, log_mean, factor)
        weight = grid_weights(tried, log_evidence)
        kept = np.sort(np.argsort(weight)[::-1][:_POINTS_OF_LARGE])
        of_kept = None
    share = weight[kept] / weight[kept].sum()
    return Fitted(walk, tried.take(kept), of_kept, share, tried, log_evidence, factor, log_mean)


def walk_spacing_factor(walk: Walk) -> float:
    """Return how wide a visit was spaced, on average over the visits, over 15 m; held in 0.5 to 10."""
    spacing = [usual_spacing_m(walk.xy[walk.visit == v]) for v in range(len(walk.visits)) if (walk.visit == v).any()]
    return float(np.clip(np.mean(spacing) / SPACING_M, 0.5, 10.0))


def _whole_grid(walk: Walk, log_mean: float, factor: float) -> tuple[Grid, Posterior]:
    """Return the usual points, and those of nearly Poisson counts where the usual ones point that way."""
    every = grid(factor)
    if len(walk.visits) > 1:
        every = every.apart(VISITS_M[1:2] * factor, np.zeros(1))
    usual = np.flatnonzero(every.size <= SIZES[USUAL_SIZES - 1])
    points = every.take(usual)
    posterior = posterior_of(walk, points, log_mean)
    at_edge = points.size == SIZES[USUAL_SIZES - 1]
    if grid_weights(points, posterior.log_evidence)[at_edge].sum() > _NEARLY_POISSON:
        rest = every.take(np.setdiff1d(np.arange(len(every)), usual))
        posterior = join([posterior, posterior_of(walk, rest, log_mean)])
        points = points.and_also(rest)
    if len(walk.visits) > 1:
        # The other parts were weighed at one distance between visits; only what has a say is tried with each.
        likely = np.flatnonzero(grid_weights(points, posterior.log_evidence) > _LEAST_SAY)
        points = points.take(likely).apart(VISITS_M * factor, LOG_PRIOR_VISITS)
        posterior = posterior_of(walk, points, log_mean)
    return points, posterior


def _by_clusters(walk: Walk, log_mean: float, factor: float) -> tuple[Grid, FloatArray]:
    """Return points and the sum of their evidence over clusters of beats, each taken as if it stood alone."""
    clusters = cells(walk.xy, CLUSTER)
    chosen = np.unique(np.linspace(0, len(clusters) - 1, CLUSTERS).round().astype(int))
    first, *others = (walk.take(clusters[i]) for i in np.random.default_rng(0).permutation(chosen))
    points, posterior = _whole_grid(first, log_mean, factor)
    log_evidence = posterior.log_evidence
    for cluster in others:
        # Points that are out of the race are not computed again.
        kept = np.flatnonzero(grid_weights(points, log_evidence) > _OUT_OF_RACE)
        points = points.take(kept)
        log_evidence = log_evidence[kept] + posterior_of(cluster, points, log_mean).log_evidence
    return points, log_evidence


def posterior_of(walk: Walk, points: Grid, log_mean: float) -> Posterior:
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

