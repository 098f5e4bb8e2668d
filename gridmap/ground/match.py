"""A grove surveyed again: which surveyed point is which known tree, one to one, and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.ndimage import gaussian_filter, maximum_filter
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import min_weight_full_bipartite_matching
from scipy.spatial import cKDTree

from gridmap import checks
from gridmap.checks import FloatArray, IntArray

#: A point further from a tree than this many times the survey's own error is not that tree: by chance exp(-16).
MOST_ERRORS: Final = 4.0
#: Below this nobody can point at the middle of a trunk [m] (common practice, no source).
LEAST_ERROR_M: Final = 0.25
_BIN_M: Final = 0.5
_SHIFTS_TRIED: Final = 12
_SHIFTS_WEIGHED: Final = 4


@dataclass(frozen=True)
class SurveyMatch:
    """What a survey says of the trees that were known before.

    Parameters
    ----------
    shift_m : (2,) array
        How far the whole survey lies to the east and north of the known trees [m]; taken off before matching.
    shift_doubt : float
        How nearly another shift, half a tree spacing away or more, fits as well: 0 not at all, 1 just as well.
    error_m : float
        Root mean square distance of the matched pairs, both axes together, estimated from their median so that single
        strays don't count [m]; NaN without any.
    limit_m : float
        Furthest distance that still counts as the same tree [m].
    matched : DataFrame
        old, new (line numbers from 0), distance_m (after the shift), sure (0 to 1).
    not_seen : DataFrame
        old, nearest_m (to any surveyed point), sure.
    unknown : DataFrame
        new, nearest_m (to any known tree), sure.
    """

    shift_m: FloatArray
    shift_doubt: float
    error_m: float
    limit_m: float
    matched: pd.DataFrame
    not_seen: pd.DataFrame
    unknown: pd.DataFrame


def match_survey(
    old: npt.ArrayLike, new: npt.ArrayLike, *, limit_m: float, shift_m: npt.ArrayLike | None = None
) -> SurveyMatch:
    """Tell which surveyed point is which known tree, which trees were not seen, and which points are no known tree.

    Parameters
    ----------
    old : (n, 2) array
        Known trees [m], the grove's projected CRS.
    new : (m, 2) array
        Surveyed points [m], the same CRS, any order.
    limit_m : float
        A point further from a tree than this is never taken for it, over 0 [m]. The survey as a whole may lie as far
        off, too.
    shift_m : (2,) array, optional
        How far the survey lies to the east and north [m]; found from the points when left out.

    Returns
    -------
    SurveyMatch

    Raises
    ------
    InputRefused
        Positions that are not finite pairs of metres; a limit that is no number over 0.

    Notes
    -----
    Pairs (i, j) minimise the sum of squared distances, where each tree and each point left without a partner costs half
    the squared limit (the linear assignment problem, solved as a sparse one). With normal errors this is the most
    likely one-to-one answer. The shift of the whole survey is the one whose answer costs least among the peaks of the
    cross-correlation of the two point patterns.

    ``sure`` weighs the answer against those that differ by one exchange, each worth exp(-(extra cost) / error_m^2):
    1 / (1 + sum of these). It is no promise: on a grid of spacing a, independent errors with root mean square e swap
    two neighbours with probability Q(a / e), Q the upper tail of the standard normal, whatever the method: 2.3 % at 4 m
    and 0.6 % at 5 m for e = 2 m.

    References
    ----------
    Jonker, R. and Volgenant, A. (1987), A shortest augmenting path algorithm for dense and sparse linear assignment
    problems, Computing 38, 325-340.

    Examples
    --------
    >>> trees = [[0, 0], [5, 0], [10, 0], [0, 7], [5, 7], [10, 7]]
    >>> survey = [[11.1, 9.0], [1.0, 9.1], [0.9, 2.0], [6.1, 2.1], [11.0, 1.9]]
    >>> found = match_survey(trees, survey, limit_m=4)
    >>> found.shift_m.round(1).tolist(), found.matched[["old", "new"]].values.tolist()
    ([1.0, 2.0], [[0, 2], [1, 3], [2, 4], [3, 1], [5, 0]])
    >>> found.not_seen["old"].tolist(), len(found.unknown), len(match_survey(trees, [], limit_m=4).not_seen)
    ([4], 0, 6)
    """
    old_xy, new_xy = _points(old, "known trees"), _points(new, "surveyed points")
    limit = checks.number(limit_m, "limit", "m", over=0)
    if shift_m is None:
        shift, doubt = _shift(old_xy, new_xy, limit)
    else:
        shift, doubt = checks.points([shift_m], "shift")[0], 0.0
    moved = new_xy - shift
    pairs = _assign(old_xy, moved, limit)
    error = _error(old_xy, moved, pairs)
    if np.isfinite(error) and MOST_ERRORS * max(error, LEAST_ERROR_M) < limit:
        limit = MOST_ERRORS * max(error, LEAST_ERROR_M)
        pairs = _assign(old_xy, moved, limit)
    sure = _sure(old_xy, moved, pairs, limit, max(error, LEAST_ERROR_M) if np.isfinite(error) else LEAST_ERROR_M)
    return SurveyMatch(shift, doubt, error, limit, *_frames(old_xy, moved, pairs, sure))


def _points(xy: npt.ArrayLike, name: str) -> FloatArray:
    return np.empty((0, 2)) if np.size(xy) == 0 else checks.points(xy, name)


def _assign(old: FloatArray, new: FloatArray, limit: float) -> tuple[IntArray, IntArray]:
    """Return the pairs of least cost; a partner of its own, at half the squared limit, stands for having none."""
    n, m = len(old), len(new)
    i, j, squared = _near(old, new, limit)
    alone = limit**2 / 2
    rows = np.concatenate([i, np.arange(n), n + np.arange(m), n + j])
    columns = np.concatenate([j, m + np.arange(n), np.arange(m), m + i])
    # One is added to every entry: a zero would not count as an entry, and a full matching has always n + m of them
    cost = 1 + np.concatenate([squared, np.full(n + m, alone), np.zeros(len(i))])
    if n + m == 0:
        return i, j
    left, right = min_weight_full_bipartite_matching(csr_matrix((cost, (rows, columns)), shape=(n + m, n + m)))
    both = (left < n) & (right < m)
    return left[both].astype(np.int64), right[both].astype(np.int64)


def _near(old: FloatArray, new: FloatArray, limit: float) -> tuple[IntArray, IntArray, FloatArray]:
    """Return all pairs within the limit and their squared distances [m2]."""
    if not len(old) or not len(new):
        return np.empty(0, np.int64), np.empty(0, np.int64), np.empty(0)
    found = cKDTree(old).sparse_distance_matrix(cKDTree(new), limit, output_type="coo_matrix")
    return found.row.astype(np.int64), found.col.astype(np.int64), np.asarray(found.data**2)


def _cost(old: FloatArray, new: FloatArray, pairs: tuple[IntArray, IntArray], limit: float) -> float:
    left, right = pairs
    alone = len(old) + len(new) - 2 * len(left)
    return float(((old[left] - new[right]) ** 2).sum() + alone * limit**2 / 2)


def _error(old: FloatArray, new: FloatArray, pairs: tuple[IntArray, IntArray]) -> float:
    """Return the root mean square distance, from the median: squared distances of normal errors are exponential."""
    if not len(pairs[0]):
        return float("nan")
    squared = ((old[pairs[0]] - new[pairs[1]]) ** 2).sum(axis=1)
    return float(np.sqrt(np.median(squared) / np.log(2)))


def _shift(old: FloatArray, new: FloatArray, limit: float) -> tuple[FloatArray, float]:
    """Return the shift whose pairs cost least, and how nearly another one fits as well."""
    if not len(old) or not len(new):
        return np.zeros(2), 0.0
    tried = []
    for start in _likely(old, new, _peaks(old, new, limit), limit):
        shift = start
        pairs = _assign(old, new - shift, limit)
        for _ in range(3):
            if not len(pairs[0]):
                break
            better = np.median(new[pairs[1]] - old[pairs[0]], axis=0)
            better = better if np.hypot(*better) <= limit else better * limit / np.hypot(*better)
            again = _assign(old, new - better, limit)
            if _cost(old, new - better, again, limit) >= _cost(old, new - shift, pairs, limit):
                break
            shift, pairs = better, again
        tried.append((_cost(old, new - shift, pairs, limit), shift, _error(old, new - shift, pairs)))
    tried.sort(key=lambda entry: entry[0])
    cost, best, error = tried[0]
    apart = _spacing(old) / 2
    other = [entry[0] for entry in tried if np.hypot(*(entry[1] - best)) >= apart]
    if not other or not np.isfinite(error):
        return best, 0.0
    return best, float(np.exp(-(min(other) - cost) / max(error, LEAST_ERROR_M) ** 2))


def _spacing(xy: FloatArray) -> float:
    """Return the median distance to the nearest neighbour [m]; nothing with one tree."""
    return 0.0 if len(xy) < 2 else float(np.median(np.asarray(cKDTree(xy).query(xy, k=[2])[0])))


def _peaks(old: FloatArray, new: FloatArray, limit: float) -> list[FloatArray]:
    """Return no shift, and the highest peaks of the cross-correlation of the two patterns within the limit."""
    i, j, _ = _near(old, new, limit)
    steps = int(np.ceil(limit / _BIN_M)) + 2
    edges = (np.arange(-steps, steps + 2) - 0.5) * _BIN_M
    apart = new[j] - old[i]
    votes = np.histogram2d(apart[:, 0], apart[:, 1], bins=[edges, edges])[0]
    smooth = gaussian_filter(votes, 1.0 / _BIN_M, mode="constant")
    east, north = np.nonzero((smooth == maximum_filter(smooth, 5, mode="constant")) & (smooth > 0))
    highest = np.argsort(-smooth[east, north], kind="stable")[:_SHIFTS_TRIED]
    found = (np.column_stack([east, north])[highest] - steps) * _BIN_M
    return [np.zeros(2), *found[np.hypot(*found.T) <= limit]]


def _likely(old: FloatArray, new: FloatArray, shifts: list[FloatArray], limit: float) -> list[FloatArray]:
    """Return the few shifts that bring the two patterns nearest: squared distances to the nearest, both ways."""
    far = min(limit, max(_spacing(old), LEAST_ERROR_M))
    tree, back = cKDTree(old), cKDTree(new)

    def apart(shift: FloatArray) -> float:
        there = np.asarray(tree.query(new - shift, distance_upper_bound=far)[0])
        here = np.asarray(back.query(old + shift, distance_upper_bound=far)[0])
        return float((np.minimum(there, far) ** 2).sum() + (np.minimum(here, far) ** 2).sum())

    return sorted(shifts, key=apart)[:_SHIFTS_WEIGHED]


def _sure(
    old: FloatArray, new: FloatArray, pairs: tuple[IntArray, IntArray], limit: float, error: float
) -> tuple[FloatArray, FloatArray]:
    """Weigh the answer of every tree and of every point against those that differ by one exchange."""
    to_new, to_old = np.full(len(old), -1), np.full(len(new), -1)
    to_new[pairs[0]], to_old[pairs[1]] = pairs[1], pairs[0]
    i, k, squared = _near(old, new, limit)
    other = to_new[i] != k
    i, k, squared = i[other], k[other], squared[other]
    j, rival = to_new[i], to_old[k]
    # What tree i and point k cost now, and what they would cost together with those that they leave behind
    before = np.where(j < 0, limit**2 / 2, _squared(old, i, new, j)) + np.where(
        rival < 0, limit**2 / 2, _squared(old, rival, new, k)
    )
    left_behind = np.minimum(_squared(old, rival, new, j), limit**2)
    after = squared + np.where((j < 0) & (rival < 0), 0.0, np.where((j < 0) | (rival < 0), limit**2 / 2, left_behind))
    weight = np.exp(-np.maximum(after - before, 0.0) / error**2)
    alone = np.exp(-np.maximum(limit**2 - _squared(old, pairs[0], new, pairs[1]), 0.0) / error**2)
    tree, point = np.zeros(len(old)), np.zeros(len(new))
    for indices, total in ((i, tree), (rival, tree), (k, point), (j, point)):
        np.add.at(total, indices[indices >= 0], weight[indices >= 0])
    tree[pairs[0]] += alone
    point[pairs[1]] += alone
    return 1 / (1 + tree), 1 / (1 + point)


def _squared(old: FloatArray, i: IntArray, new: FloatArray, j: IntArray) -> FloatArray:
    """Return squared distances [m2]; -1 stands for nobody, and its distance is never used."""
    if not len(i):
        return np.empty(0)
    return np.asarray(((old[i] - new[j]) ** 2).sum(axis=1))


def _frames(
    old: FloatArray, new: FloatArray, pairs: tuple[IntArray, IntArray], sure: tuple[FloatArray, FloatArray]
) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    left, right = pairs
    distance = np.hypot(*(old[left] - new[right]).T)
    matched = pd.DataFrame({"old": left, "new": right, "distance_m": distance, "sure": sure[0][left]})
    trees, points = np.setdiff1d(np.arange(len(old)), left), np.setdiff1d(np.arange(len(new)), right)
    not_seen = pd.DataFrame({"old": trees, "nearest_m": _nearest(old[trees], new), "sure": sure[0][trees]})
    unknown = pd.DataFrame({"new": points, "nearest_m": _nearest(new[points], old), "sure": sure[1][points]})
    return matched.sort_values("old", ignore_index=True), not_seen, unknown


def _nearest(xy: FloatArray, others: FloatArray) -> FloatArray:
    return np.asarray(cKDTree(others).query(xy)[0]) if len(others) and len(xy) else np.full(len(xy), np.nan)
