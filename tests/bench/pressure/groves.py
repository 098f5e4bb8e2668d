"""Groves with a known truth, and the walks through them. Four crooked blocks, about 1,050 trees, all made up.

A scenario draws its own range, spread, evenness and level for every grove, so that no single setting is favoured, and
every second field is smoother (Matern 3/2) than the model believes.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial.distance import cdist

THRESHOLD = 5.0
SHEET_LIMIT = 20
SIX = ("typical", "short range", "tree nugget", "no structure", "one hot spot", "one block")
SCENARIOS = (*SIX, "all zeros", "saturated", "third picked for high counts")


@dataclass(frozen=True)
class Grove:
    """Trees with their true expected count, the walk (rows of beaten trees, with their counts) and counts held out."""

    xy: np.ndarray
    block: np.ndarray
    expected: np.ndarray
    size: float
    beaten: np.ndarray
    counts: np.ndarray
    suspected: np.ndarray
    held: np.ndarray
    held_counts: np.ndarray
    level: float
    spread: float = 0.0
    range_m: float = 0.0


def trees(rng):
    """Return places and blocks of about 1,050 trees: four blocks, each turned, cut and planted in its own way."""
    places, blocks = [], []
    for number in range(4):
        row_m, tree_m = rng.uniform(5.5, 7.5), rng.uniform(4.0, 5.5)
        east, north = np.meshgrid(np.arange(-14, 15) * row_m, np.arange(-18, 19) * tree_m)
        turn = rng.uniform(0, np.pi)
        xy = np.column_stack([east.ravel(), north.ravel()]) @ [[np.cos(turn), np.sin(turn)],
                                                               [-np.sin(turn), np.cos(turn)]]
        corner = rng.uniform(0, 2 * np.pi, 5)
        inside = np.abs(xy).max(axis=1) < 50.0
        for angle in corner[:3]:
            inside &= xy @ [np.cos(angle), np.sin(angle)] < rng.uniform(38, 60)
        kept = np.flatnonzero(inside)
        places.append(xy[kept] + [115.0 * (number % 2), 115.0 * (number // 2)])
        blocks.append(np.full(len(kept), number))
    return np.vstack(places), np.concatenate(blocks)


def correlation(xy, range_m, smooth):
    """Return exponential (d at 13.5 % = range) or Matern 3/2 correlation of the same reach."""
    t = 2.0 * cdist(xy, xy) / range_m
    K = (1 + 1.6 * t) * np.exp(-1.6 * t) if smooth else np.exp(-t)
    K[np.diag_indices(len(xy))] += 1e-8
    return K


def field(xy, range_m, rng, *, smooth=False, n=1):
    """Return n fields of variance 1 at the places, (n, trees)."""
    return (np.linalg.cholesky(correlation(xy, range_m, smooth)) @ rng.standard_normal((len(xy), n))).T


def counts_of(expected, size, rng):
    """Return negative-binomial counts as gamma times Poisson."""
    return rng.poisson(expected * rng.gamma(size, 1 / size, len(expected)))


def grove(scenario, seed, *, sampled=50, held=150, shift=0.0):
    """Return one grove of a scenario; the same seed gives the same grove to every method."""
    rng = np.random.default_rng([SCENARIOS.index(scenario), seed])
    xy, block = trees(rng)
    smooth = bool(seed % 2)
    range_m = float(np.exp(rng.uniform(*np.log((10, 30) if scenario == "short range" else (30, 80)))))
    spread, level = rng.uniform(0.7, 1.5), rng.normal(np.log(2.0), 0.8) + shift
    size = float(np.exp(rng.normal(np.log(0.8), 0.5)))
    log_mean = level + spread * field(xy, range_m, rng, smooth=smooth)[0] + rng.normal(0, 0.5, 4)[block]
    if scenario == "tree nugget":
        log_mean, size = log_mean + rng.normal(-0.245, 0.7, len(xy)), size * 1.6
    elif scenario == "no structure":
        log_mean = np.full(len(xy), level)
    elif scenario == "one hot spot":
        far = np.hypot(*(xy - xy[rng.integers(len(xy))]).T)
        log_mean = np.log(0.3 + rng.uniform(15, 40) * np.exp(-((far / rng.uniform(9, 16)) ** 2)))
    elif scenario == "all zeros":
        log_mean = np.full(len(xy), np.log(0.03))
    elif scenario == "saturated":
        log_mean = log_mean + 1.7
    expected = np.exp(log_mean)
    beat = counts_of(expected, size, rng)
    order = rng.permutation(len(xy))
    if scenario == "one block":
        order = np.concatenate([order[block[order] == 0], order[block[order] != 0]])
    chosen, rest = order[:sampled], order[sampled:]
    suspected = np.zeros(sampled, dtype=bool)
    if scenario == "third picked for high counts":
        third = sampled // 3
        seen, away = order[sampled - third:sampled + 2 * sampled], order[sampled + 2 * sampled:]
        best = np.argsort(-beat[seen], kind="stable")
        picked = seen[best[:third]]
        chosen = np.concatenate([order[:sampled - third], picked])
        rest = np.concatenate([seen[best[third:]], away])
        suspected[sampled - third:] = True
    counts = beat[chosen]
    if scenario == "all zeros":
        counts = np.zeros_like(counts)
    rest = rng.permutation(rest)
    held_rows = rest[:held]
    held_counts = beat[held_rows]
    if scenario == "saturated":
        counts, held_counts = np.minimum(counts, SHEET_LIMIT), np.minimum(held_counts, SHEET_LIMIT)
    return Grove(xy, block, expected, size, chosen, counts, suspected, held_rows, held_counts, level, spread, range_m)


def later_walk(first, correlated, seed, *, sampled=50):
    """Return the same grove one visit on: its field has the given correlation with the former one, its level moved."""
    rng = np.random.default_rng([77, round(100 * correlated), seed])
    old = np.log(first.expected)
    new = first.spread * field(first.xy, first.range_m, rng, smooth=bool(seed % 2))[0]
    new += rng.normal(0, 0.5, 4)[first.block]
    log_mean = first.level + rng.normal(0, 0.5) + correlated * (old - first.level) + (1 - correlated**2) ** 0.5 * new
    expected = np.exp(log_mean)
    order = rng.permutation(len(expected))
    counts = counts_of(expected, first.size, rng)
    return replace(first, expected=expected, beaten=order[:sampled], counts=counts[order[:sampled]],
                   held=order[sampled:sampled + 150], held_counts=counts[order[sampled:sampled + 150]],
                   suspected=np.zeros(sampled, dtype=bool))
