"""Joint draws: groves that could be the real one, given the walk.

A draw of the unconditioned field is corrected by what the walk found where it was beaten (Matheron's rule; Wilson and
others 2021, J. Mach. Learn. Res. 22:105, https://jmlr.org/papers/v22/20-1260.html). The unconditioned field is drawn
place after place from its nearest neighbours among those already drawn (Vecchia 1988, J. R. Stat. Soc. B 50:297-312,
doi:10.1111/j.2517-6161.1988.tb01729.x), so that cost grows with the number of trees and not with its cube.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy import sparse
from scipy.spatial import cKDTree
from scipy.spatial.distance import cdist

from gridmap.checks import FloatArray, IntArray
from gridmap.pressure._fit import Fitted, Part
from gridmap.pressure._predict import When, chunks, links_at
from gridmap.pressure._prior import LEVEL_LINK, SD_SUSPECTED, SD_TREATED, Grid
from gridmap.pressure._walk import Walk

# Drawn exactly up to here; beyond, in rounds that each grow the drawn set by a quarter, from 20 neighbours.
_EXACT = 1200
_GROWTH = 1.25
_NEIGHBOURS = 20


@dataclass(frozen=True)
class Asked:
    """Trees to draw: place, number of the block, of the visit and of the last treatment, each (t,)."""

    xy: FloatArray
    block: IntArray
    visit: IntArray
    treated: IntArray

    def take(self, index: IntArray) -> Asked:
        """Return the chosen trees."""
        return Asked(self.xy[index], self.block[index], self.visit[index], self.treated[index])


@dataclass(frozen=True)
class Unconditioned:
    """Draws that know no count: log expected counts at beats and trees, (m, .), less their mean; noise at the beats."""

    at_beats: FloatArray
    at_trees: FloatArray
    noise: FloatArray


def draw_log_counts(
    fitted: Fitted, asked: Asked, n: int, rng: np.random.Generator
) -> tuple[FloatArray, IntArray]:
    """Return n joint draws of the log expected count of each tree, and the grid point of each draw."""
    point = np.sort(rng.choice(len(fitted.weight), size=n, p=fitted.weight))
    before = list(unconditioned(fitted.walk, fitted.points, point, asked, rng))
    result = np.empty((n, len(asked.xy)))
    for part in fitted.parts(asked.xy):
        here = asked.take(part.trees)
        for rows, drawn in before:
            for g in np.unique(point[rows]):
                mine = np.flatnonzero(point[rows] == g)
                result[np.ix_(rows[mine], part.trees)] = drawn.at_trees[np.ix_(mine, part.trees)] + _correction(
                    part, fitted.points.take(np.array([g])), int(g), here, drawn.at_beats[np.ix_(mine, part.beats)],
                    drawn.noise[np.ix_(mine, part.beats)],
                )
    # In an order that owes nothing to the grid.
    order = rng.permutation(n)
    return result[order] + fitted.log_mean, point[order]


def unconditioned(
    walk: Walk, points: Grid, point: IntArray, asked: Asked, rng: np.random.Generator
) -> Iterator[tuple[IntArray, Unconditioned]]:
    """Draw beats and trees together before any count, for all draws that share a range, range by range."""
    # One line per distinct place, so that a tree that was beaten is one with its beats.
    place, which = np.unique(np.vstack([walk.xy, asked.xy]), axis=0, return_inverse=True)
    visit, treated = np.concatenate([walk.visit, asked.visit]), np.concatenate([walk.treated, asked.treated])
    block = np.concatenate([walk.block, asked.block])
    n, classes = len(walk.xy), np.unique(treated)
    for range_m in np.unique(points.range_m[point]):
        rows = np.flatnonzero(points.range_m[point] == range_m)
        result = np.zeros((len(rows), len(which)))
        for state in classes:
            mine = np.flatnonzero(treated == state)
            field = _field_over_visits(place, which[mine], visit[mine], points, point[rows], rng)
            of_block = over_visits(rng, len(rows), int(block.max(initial=0)) + 1, int(visit.max(initial=0)) + 1)
            result[:, mine] = points.spread[point[rows]][:, None] * field
            result[:, mine] += walk.sd_block * of_block[visit[mine], :, block[mine]].T
            if state > 0:
                result[:, mine] += SD_TREATED * rng.standard_normal((len(rows), 1))
        common = over_visits(rng, len(rows), 1, int(visit.max(initial=0)) + 1)
        result += walk.sd_mean * common[visit, :, 0].T
        at_beats = result[:, :n] + SD_SUSPECTED * rng.standard_normal((len(rows), 1)) * walk.suspected
        yield rows, Unconditioned(at_beats, result[:, n:], rng.standard_normal(at_beats.shape))


def _field_over_visits(
    place: FloatArray, which: IntArray, visit: IntArray, points: Grid, point: IntArray, rng: np.random.Generator
) -> FloatArray:
    """Return the spatial part at each position, visit after visit as a chain (exponential in the visits apart)."""
    carry = points.carry()[point][:, None]
    result = np.empty((len(point), len(which)))
    used, local = np.unique(which, return_inverse=True)
    field = np.empty((0, 0))
    for v in range(int(visit.min()), int(visit.max()) + 1):
        new = draw_field(place[used], float(points.range_m[point[0]]), len(point), rng)
        field = new if not field.size else carry * field + np.sqrt(1.0 - carry**2) * new
        result[:, visit == v] = field[:, local[visit == v]]
    return result


def over_visits(rng: np.random.Generator, n: int, parts: int, visits: int) -> FloatArray:
    """Return draws (visits, n, parts) of level parts that fade from visit to visit."""
    result = rng.standard_normal((visits, n, parts))
    for v in range(1, visits):
        result[v] = LEVEL_LINK * result[v - 1] + (1.0 - LEVEL_LINK**2) ** 0.5 * result[v]
    return result


def _correction(
    part: Part, points: Grid, g: int, asked: Asked, at_beats: FloatArray, noise: FloatArray
) -> FloatArray:
    """Return what the walk asks to be added at each tree to draws that share a grid point."""
    walk, root = part.walk, part.posterior.root[g]
    # a - M (f + W^-1/2 z) = a - S B^-1 (S f + z): no division by a weight that may be 0.
    pull = part.posterior.pull[g] - root * ((root * at_beats + noise) @ part.posterior.inverse[g])
    added = np.empty((len(pull), len(asked.xy)))
    states = np.column_stack([asked.visit, asked.treated])
    for visit, treated in np.unique(states, axis=0):
        links = links_at(walk, points, When(int(visit), int(treated)))
        level, known = pull @ links.level.T, np.minimum(asked.block, len(links.block) - 1)
        of_place = points.spread[0] ** 2 * links.reach[0] * pull
        here = np.flatnonzero((states == (visit, treated)).all(axis=1))
        for rows in chunks(len(here), len(walk.xy)):
            some = here[rows]
            r = np.exp(-2.0 * cdist(asked.xy[some], walk.xy) / points.range_m[0])
            added[:, some] = of_place @ r.T + level[:, known[some]]
    return added


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
