"""The shortest way round: which chosen tree comes after which."""

from __future__ import annotations

import numpy as np

from gridmap.checks import FloatArray, IntArray
from gridmap.errors import InputRefused

# Longest part of the way that is lifted out and set in elsewhere.
_SEGMENT = 3
# Shakes of the way after which it is tidied again; fewer where there are so many trees that each takes long.
_SHAKES = 120
_USUAL_STOPS = 60
_GAIN = 1e-9


def shortest_round(distance_m: object, *, seed: int = 0) -> IntArray:
    """Tell in which order to visit all stops, the first one being where the walk starts and ends.

    Parameters
    ----------
    distance_m : array_like of shape (n, n)
        Walking distance from each stop to each [m], the same both ways.
    seed : int, default 0
        Same seed, same round.

    Returns
    -------
    ndarray of int, shape (n,)
        Stop numbers in walking order, 0 first.

    Raises
    ------
    InputRefused
        When the distances are no square or not the same both ways.

    Notes
    -----
    Nearest stop next, then exchanges of two legs and moves of up to three stops (Croes 1958, doi:10.1287/opre.6.6.791;
    Or 1976) until none helps; then the round is cut into four and put together otherwise (Martin, Otto and Felten 1991)
    and tidied again, the better one being kept.

    Examples
    --------
    >>> square = np.array([[0, 1, 2, 1], [1, 0, 1, 2], [2, 1, 0, 1], [1, 2, 1, 0]])
    >>> round_m = square[shortest_round(square), np.roll(shortest_round(square), -1)].sum()
    >>> int(round_m)
    4
    >>> shortest_round(np.zeros((0, 0))).tolist()
    []
    """
    D = np.asarray(distance_m, dtype=np.float64)
    if D.ndim != 2 or D.shape[0] != D.shape[1]:
        raise InputRefused(f"distances have shape {D.shape}", "they must be a square: from each stop to each")
    if not np.isfinite(D).all() or not np.allclose(D, D.T, rtol=1e-6, atol=1e-6):
        raise InputRefused("distances are not the same both ways", "each must be finite and the same there and back")
    n = len(D)
    if n < 4:
        return np.arange(n)
    rng = np.random.default_rng(seed)
    best = _tidy(_nearest_next(D), D)
    length = _length(best, D)
    for _ in range(_shakes(n) if n > 7 else 20):
        tried = _tidy(_shaken(best, rng), D)
        new = _length(tried, D)
        if new < length + _GAIN:
            best, length = tried, new
    return np.roll(best, -int(np.flatnonzero(best == 0)[0]))


def _shakes(n: int) -> int:
    return int(_SHAKES * min(1.0, (_USUAL_STOPS / n) ** 2))


def _length(tour: IntArray, D: FloatArray) -> float:
    return float(D[tour, np.roll(tour, -1)].sum())


def _nearest_next(D: FloatArray) -> IntArray:
    """Return the round that always goes to the nearest stop not yet seen."""
    n = len(D)
    free = np.ones(n, dtype=np.bool_)
    tour = np.zeros(n, dtype=np.int64)
    free[0] = False
    for step in range(1, n):
        left = np.flatnonzero(free)
        tour[step] = left[np.argmin(D[tour[step - 1], left])]
        free[tour[step]] = False
    return tour


def _shaken(tour: IntArray, rng: np.random.Generator) -> IntArray:
    """Cut the round at three places near one another, and put the parts together in another order."""
    n = len(tour)
    turned = np.roll(tour, -int(rng.integers(n)))
    a, b, c = np.sort(rng.choice(np.arange(1, min(n, 50)), 3, replace=False))
    return np.concatenate([turned[:a], turned[b:c], turned[a:b], turned[c:]])


def _tidy(tour: IntArray, D: FloatArray) -> IntArray:
    """Make the best exchange or move, again and again, until none shortens the round."""
    while True:
        E = D[np.ix_(tour, tour)]
        gain, change = _exchange(E)
        for length in range(1, min(_SEGMENT, len(tour) - 3) + 1):
            other, move = _move(E, length)
            if other > gain:
                gain, change = other, move
        if gain <= _GAIN:
            return tour
        tour = tour[change]


def _exchange(E: FloatArray) -> tuple[float, IntArray]:
    """Return the best gain of two legs exchanged, and the round it makes (indices into the present one)."""
    n = len(E)
    nxt = np.roll(np.arange(n), -1)
    leg = E[np.arange(n), nxt]
    gain = leg[:, None] + leg[None, :] - E - E[np.ix_(nxt, nxt)]
    gain[np.tril_indices(n)] = -np.inf
    i, j = divmod(int(np.argmax(gain)), n)
    order = np.arange(n)
    order[i + 1: j + 1] = order[i + 1: j + 1][::-1]
    return float(gain[i, j]), order


def _move(E: FloatArray, length: int) -> tuple[float, IntArray]:
    """Return the best gain of ``length`` stops after another set in elsewhere, and the round it makes."""
    n = len(E)
    first = np.arange(n)
    last, before, after = (first + length - 1) % n, (first - 1) % n, (first + length) % n
    nxt = (first + 1) % n
    leg = E[first, nxt]
    out = E[before, first] + E[last, after] - E[before, after]
    straight = E[first, :] + E[last][:, nxt]
    turned = E[last, :] + E[first][:, nxt]
    gain = out[:, None] + leg[None, :] - np.minimum(straight, turned)
    # Not between two of its own stops, nor where it stands already.
    for step in range(-1, length):
        gain[first, (first + step) % n] = -np.inf
    i, j = divmod(int(np.argmax(gain)), n)
    order = np.roll(first, -i)
    part, rest = order[:length], order[length:]
    if turned[i, j] < straight[i, j]:
        part = part[::-1]
    at = int(np.flatnonzero(rest == j)[0]) + 1
    return float(gain[i, j]), np.concatenate([rest[:at], part, rest[at:]])
