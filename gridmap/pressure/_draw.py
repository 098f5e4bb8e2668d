"""Joint draws: groves that could be the real one, given the walk.

A draw of the unconditioned field is corrected by what the walk found where it was beaten (Matheron's rule; Wilson and
others 2021, J. Mach. Learn. Res. 22:105, https://jmlr.org/papers/v22/20-1260.html). The unconditioned field is drawn
place after place from its nearest neighbours among those already drawn (Vecchia 1988, J. R. Stat. Soc. B 50:297-312,
doi:10.1111/j.2517-6161.1988.tb01729.x), so that cost grows with the number of trees and not with its cube.
"""

from __future__ import annotations

import numpy as np
from scipy import sparse
from scipy.spatial import cKDTree
from scipy.spatial.distance import cdist

from gridmap.checks import FloatArray, IntArray
from gridmap.pressure._fit import Fitted
from gridmap.pressure._predict import block_links, chunks
from gridmap.pressure._prior import SD_MEAN, SD_SUSPECTED
from gridmap.pressure._walk import Walk

# Drawn exactly up to here; beyond, in rounds that each grow the drawn set by a quarter, from 20 neighbours.
_EXACT = 1200
_GROWTH = 1.25
_NEIGHBOURS = 20


def draw_log_counts(
    walk: Walk, fitted: Fitted, xy: FloatArray, block: IntArray, log_mean: float, n: int, rng: np.random.Generator
) -> tuple[FloatArray, IntArray]:
    """Return n joint draws of the log expected count of each tree, and the grid point of each draw."""
    point = np.sort(rng.choice(len(fitted.weight), size=n, p=fitted.weight))
    # One line per distinct place, so that a tree that was beaten is one with its beats.
    place, which = np.unique(np.vstack([walk.xy, xy]), axis=0, return_inverse=True)
    at_beats, at_trees = which[: len(walk.xy)], which[len(walk.xy):]
    links = block_links(walk)
    result = np.empty((n, len(xy)))
    ranges = fitted.points.range_m[point]
    for range_m in np.unique(ranges):
        rows = np.flatnonzero(ranges == range_m)
        field = draw_field(place, float(range_m), len(rows), rng)
        _one_range(result, rows, point, walk, fitted, field[:, at_beats], field[:, at_trees], xy, block, links, rng)
    # In an order that owes nothing to the grid.
    order = rng.permutation(n)
    return result[order] + log_mean, point[order]


def _one_range(
    result: FloatArray, rows: IntArray, point: IntArray, walk: Walk, fitted: Fitted, beats: FloatArray,
    trees: FloatArray, xy: FloatArray, block: IntArray, links: FloatArray, rng: np.random.Generator,
) -> None:
    """Fill the draws that share a range: unconditioned draw plus the correction that the walk asks for."""
    spread = fitted.points.spread[point[rows]][:, None]
    common = SD_MEAN * rng.standard_normal((len(rows), 1))
    # The blocks beaten, then one column for each block that was not: those must differ from each other too.
    of_block = walk.sd_block * rng.standard_normal((len(rows), max(len(links), int(block.max(initial=0)) + 1)))
    offset = SD_SUSPECTED * rng.standard_normal((len(rows), 1)) * walk.suspected
    at_beats = spread * beats + common + of_block[:, walk.block] + offset
    noise = rng.standard_normal(at_beats.shape)
    pull = np.empty_like(at_beats)
    for g in np.unique(point[rows]):
        mine = np.flatnonzero(point[rows] == g)
        root, inverse = fitted.posterior.root[g], fitted.posterior.inverse[g]
        # a - M (f + W^-1/2 z) = a - S B^-1 (S f + z): no division by a weight that may be 0.
        pull[mine] = fitted.posterior.pull[g] - root * ((root * at_beats[mine] + noise[mine]) @ inverse)
    level = pull @ (walk.sd_block**2 * links + SD_MEAN**2).T
    known = np.minimum(block, len(links) - 1)
    for some in chunks(len(xy), len(walk.xy)):
        r = np.exp(-2.0 * cdist(xy[some], walk.xy) / fitted.points.range_m[point[rows[0]]])
        drawn = spread * trees[:, some] + common + of_block[:, block[some]]
        result[rows, some] = drawn + (spread**2 * pull) @ r.T + level[:, known[some]]


def draw_field(place: FloatArray, range_m: float, n: int, rng: np.random.Generator) -> FloatArray:
    """Return n draws (n, places) of a field with variance 1 and correlation exp(-2 d / rho); places are distinct."""
    order = rng.permutation(len(place))
    sorted_place = place[order]
    drawn = np.empty((len(place), n))
    first = min(_EXACT, len(place))
    K = np.exp(-2.0 * cdist(sorted_place[:first], sorted_place[:first]) / range_m)
    K[np.diag_indices(first)] += 1e-9
    drawn[:first] = np.linalg.cholesky(K) @ rng.standard_normal((first, n))
    while first < len(place):
        last = min(len(place), int(first * _GROWTH) + 1)
        links, sd = _conditional(sorted_place[:first], sorted_place[first:last], range_m)
        drawn[first:last] = links @ drawn[:first] + sd[:, None] * rng.standard_normal((last - first, n))
        first = last
    field = np.empty((n, len(place)))
    field[:, order] = drawn.T
    return field


def _conditional(known: FloatArray, new: FloatArray, range_m: float) -> tuple[sparse.csr_array, FloatArray]:
    """Return the weights of known places in the mean of each new one, and the standard deviation that is left."""
    distance, neighbour = cKDTree(known).query(new, k=_NEIGHBOURS)
    near = known[neighbour]
    between = np.sqrt(((near[:, :, None, :] - near[:, None, :, :]) ** 2).sum(axis=-1))
    K = np.exp(-2.0 * between / range_m) + 1e-9 * np.eye(_NEIGHBOURS)
    k = np.exp(-2.0 * np.asarray(distance) / range_m)
    weight = np.linalg.solve(K, k[:, :, None])[:, :, 0]
    variance = 1.0 - (weight * k).sum(axis=1)
    start = np.arange(0, len(new) * _NEIGHBOURS + 1, _NEIGHBOURS)
    links = sparse.csr_array((weight.ravel(), np.asarray(neighbour).ravel(), start), shape=(len(new), len(known)))
    return links, np.sqrt(np.maximum(variance, 0.0))
