"""Which place along its row every tree has, once the rows are known.

Each row is unrolled to metres along itself; the tree spacing is the step that near trees of one row share, each row
has its own start, and the places of a row are the nearest whole numbers that only grow (isotonic regression), so that
no two trees share a place and a gap keeps its number.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import isotonic_regression

from gridmap.checks import FloatArray, IntArray

SHORTEST, LONGEST = 0.4, 1.35  # tree spacings tried, as shares of (area of one tree / row spacing)
NEAR = 6.0  # compared within this many tree spacings
EXPECTED, EXPECTED_SPREAD = 0.92, 0.3  # of the spacing as a share of the guess: a few trees are always missing
NEIGHBOURS = 12
CHANCE = 4.0


@dataclass(frozen=True)
class Places:
    """Position number of each tree (from 1 in its row), how far it stands from that place, and the tree spacing."""

    position: IntArray
    off: FloatArray
    tree_spacing_m: float
    coherence: float


def find_places(
    xy: FloatArray, row: IntArray, u: FloatArray, gradient: FloatArray, along: FloatArray, guess_m: float
) -> Places:
    """Return the places along the rows; ``u`` and ``gradient`` are the wave of the rows, ``along`` a unit vector."""
    metres = _unroll(xy, row, u, gradient, along)
    order = np.lexsort([metres, row])
    s, r = metres[order], row[order]
    spacing = _spacing(s, r, guess_m)
    _, index = np.unique(r, return_inverse=True)
    spacing = _sharpen(s, index, spacing)
    wave = np.exp(2j * np.pi * s / spacing)
    start = np.angle(_sums(index, wave)) / (2 * np.pi)
    v = s / spacing - start[index]
    position = np.empty(len(s), dtype=np.int64)
    for first, last in _pieces(r):
        step = np.arange(last - first)
        position[first:last] = np.round(isotonic_regression(v[first:last] - step).x).astype(np.int64) + step
    coherence = _coherence(index, wave)
    off = v - position
    starts = np.array([first for first, _ in _pieces(r)])
    spacing = _slope(s, position, index, spacing)
    position -= position[starts][index] - 1
    back = np.empty(len(s), dtype=np.int64)
    back[order] = np.arange(len(s))
    return Places(position[back], off[back], spacing, coherence)


def _unroll(xy: FloatArray, row: IntArray, u: FloatArray, gradient: FloatArray, along: FloatArray) -> FloatArray:
    """Return how far along its row each tree stands [m], measured on the bent row."""
    length = np.hypot(*gradient.T)
    foot = xy + ((np.round(u) - u) / length**2)[:, None] * gradient
    tangent = np.column_stack([-gradient[:, 1], gradient[:, 0]]) / length[:, None]
    tangent *= np.where(tangent @ along < 0, -1.0, 1.0)[:, None]
    reach = foot @ along
    order = np.lexsort([reach, row])
    step = np.diff(foot[order], axis=0)
    middle = tangent[order][1:] + tangent[order][:-1]
    run = np.einsum("ij,ij->i", step, middle) / np.hypot(*middle.T)
    metres = np.concatenate([[0.0], np.cumsum(run)])
    for first, last in _pieces(row[order]):
        metres[first:last] += reach[order][first:last].mean() - metres[first:last].mean()
    result = np.empty(len(xy))
    result[order] = metres
    return result


def _spacing(s: FloatArray, row: IntArray, guess_m: float) -> float:
    """Return the tree spacing [m]: the step whose multiples the near trees of one row keep to."""
    reach = NEAR * guess_m
    steps = [s[k:] - s[:-k] for k in range(1, NEIGHBOURS) if k < len(s)]
    same = [row[k:] == row[:-k] for k in range(1, NEIGHBOURS) if k < len(s)]
    step = np.concatenate([a[b] for a, b in zip(steps, same, strict=True)])
    step = step[step < reach]
    if len(step) == 0:
        return guess_m
    weight = np.cos(np.pi / 2 * step / reach) ** 2
    edges = np.linspace(0, reach, 601)
    share = np.histogram(step, edges, weights=weight)[0]
    middle = (edges[1:] + edges[:-1]) / 2
    frequency = np.linspace(1 / (LONGEST * guess_m), 1 / (SHORTEST * guess_m), 500)
    power = np.cos(2 * np.pi * np.outer(frequency, middle)) @ share
    # Half the spacing, a third and so on fit exact positions as well: what the density of trees makes likely decides.
    likely = np.exp(-0.5 * (np.log(1 / (frequency * EXPECTED * guess_m)) / EXPECTED_SPREAD) ** 2)
    return float(1 / frequency[int(np.argmax(power * likely))])


def _sharpen(s: FloatArray, index: IntArray, spacing: float) -> float:
    """Return the spacing within 4 % at which whole rows keep step best."""
    tried = spacing * np.linspace(0.96, 1.04, 81)
    count = np.bincount(index)
    power = [float((np.abs(_sums(index, np.exp(2j * np.pi * s / one))) ** 2 / count).sum()) for one in tried]
    return float(tried[int(np.argmax(power))])


def _slope(s: FloatArray, position: IntArray, index: IntArray, spacing: float) -> float:
    """Return the spacing as the slope of metres on places, each row from its own start (least squares)."""
    count = np.bincount(index)
    place = position - (np.bincount(index, position) / count)[index]
    metres = s - (np.bincount(index, s) / count)[index]
    spread = float(place @ place)
    return float(place @ metres) / spread if spread > 0 else spacing


def _sums(index: IntArray, wave: np.ndarray) -> np.ndarray:
    """Return the sum of a complex wave over each row."""
    return np.bincount(index, wave.real) + 1j * np.bincount(index, wave.imag)


def _coherence(index: IntArray, wave: np.ndarray) -> float:
    """Return the mean cosine about a row's true start: by pairs of trees, as a start fitted to few trees is no gain."""
    count = np.bincount(index)
    pairs = float((count * (count - 1)).sum())
    squared = float((np.abs(_sums(index, wave)) ** 2 - count).sum()) / pairs if pairs else 0.0
    # The best of many spacings tried reaches about four standard errors by chance alone: then no place is known.
    return float(np.sqrt(squared)) if squared * np.sqrt(pairs) > CHANCE else 0.0


def _pieces(row: IntArray) -> list[tuple[int, int]]:
    """Return where each row begins and ends in an array sorted by row."""
    cut = np.flatnonzero(np.diff(row)) + 1
    return list(zip([0, *cut.tolist()], [*cut.tolist(), len(row)], strict=True))
