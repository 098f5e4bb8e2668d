"""A spatially balanced draw: trees chosen by chance, yet far from one another."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from gridmap import checks
from gridmap.checks import FloatArray, IntArray
from gridmap.errors import InputRefused

# Nearest trees that are looked at before all that are left are.
_NEIGHBOURS = 16
_SURE = 1e-9


def balanced_draw(xy: object, probability: object, *, seed: int | np.random.Generator = 0) -> IntArray:
    """Choose trees by chance so that neighbours are seldom chosen together.

    Parameters
    ----------
    xy : array_like of shape (n, 2)
        Positions of the trees in a projected CRS [m].
    probability : array_like of shape (n,)
        How likely each tree is to be chosen, 0 to 1; their sum is how many are chosen (rounded by chance where it is
        no whole number).
    seed : int or numpy Generator
        Same seed, same trees.

    Returns
    -------
    ndarray of int
        Row numbers of ``xy``, rising.

    Raises
    ------
    InputRefused
        When a probability is not from 0 to 1.

    Notes
    -----
    The local pivotal method, its second variant: an undecided tree and its nearest undecided neighbour settle between
    them which of the two gets the chance of both. Every tree keeps its probability exactly.

    References
    ----------
    Grafström, A., Lundström, N. L. P. and Schelin, L. (2012) Spatially balanced sampling through the pivotal method.
    Biometrics 68:514-520. doi:10.1111/j.1541-0420.2011.01699.x.

    Examples
    --------
    >>> chosen = balanced_draw([[0, 0], [1, 0], [100, 0], [101, 0]], [0.5, 0.5, 0.5, 0.5])
    >>> (chosen < 2).sum(), (chosen >= 2).sum()
    (np.int64(1), np.int64(1))
    >>> balanced_draw([], [])
    array([], dtype=int64)
    """
    place = checks.points(xy, "trees")
    chance = np.array(probability, dtype=np.float64)
    checks.same_length(len(place), probability=chance)
    if chance.size and not ((chance >= 0.0) & (chance <= 1.0)).all():
        bad = chance[~((chance >= 0.0) & (chance <= 1.0))][0]
        raise InputRefused(f"a probability is {bad:g}", "it must be from 0 to 1")
    rng = seed if isinstance(seed, np.random.Generator) else np.random.default_rng(seed)
    open_ = (chance > _SURE) & (chance < 1.0 - _SURE)
    if open_.any():
        chance[open_] = _settle(place[open_], chance[open_], rng)
    return np.flatnonzero(chance > 0.5)


def _settle(place: FloatArray, chance: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Return the chances with each turned into 0 or 1."""
    n = len(place)
    _, near = cKDTree(place).query(place, k=min(_NEIGHBOURS, n))
    lists = np.asarray(near).reshape(n, -1)
    free = np.ones(n, dtype=np.bool_)
    queue = list(rng.permutation(n))
    while queue:
        i = int(queue.pop())
        if not free[i]:
            continue
        j = _nearest_free(i, lists, place, free)
        if j is None:
            chance[i] = float(rng.random() < chance[i])
            free[i] = False
            continue
        chance[i], chance[j] = _fight(chance[i], chance[j], rng)
        for each in (i, j):
            free[each] = _SURE < chance[each] < 1.0 - _SURE
        if free[i]:
            queue.insert(int(rng.integers(len(queue) + 1)), i)
    return np.round(chance)


def _nearest_free(i: int, lists: IntArray, place: FloatArray, free: np.ndarray) -> int | None:
    """Return the nearest undecided tree beside ``i``, None where there is no other."""
    for j in lists[i]:
        if j != i and free[j]:
            return int(j)
    left = np.flatnonzero(free)
    left = left[left != i]
    if not len(left):
        return None
    return int(left[np.argmin(((place[left] - place[i]) ** 2).sum(axis=1))])


def _fight(a: float, b: float, rng: np.random.Generator) -> tuple[float, float]:
    """Return the two chances after they met: Grafström et al. (2012), equations 1 and 2."""
    both, draw = a + b, float(rng.random())
    if both < 1.0:
        return (0.0, both) if draw < b / both else (both, 0.0)
    return (1.0, both - 1.0) if draw < (1.0 - b) / (2.0 - both) else (both - 1.0, 1.0)


def inclusion(weight: object, n: int) -> FloatArray:
    """Return how likely each tree must be to be chosen, in proportion to its weight, that n are chosen; none over 1.

    Examples
    --------
    >>> inclusion([1, 1, 2], 2)
    array([0.5, 0.5, 1. ])
    >>> inclusion([5, 1, 1], 2)
    array([1. , 0.5, 0.5])
    """
    w = np.asarray(weight, dtype=np.float64)
    if n >= len(w):
        return np.ones(len(w))
    result = np.zeros(len(w))
    sure = np.zeros(len(w), dtype=np.bool_)
    while True:
        rest = ~sure
        result[rest] = w[rest] * (n - sure.sum()) / w[rest].sum()
        over = rest & (result >= 1.0)
        if not over.any():
            return np.clip(result, 0.0, 1.0)
        sure |= over
        result[over] = 1.0
        if sure.sum() >= n:
            return np.where(sure, 1.0, 0.0)
