"""Which trees to spray in every row: the set of runs of least expected cost, found exactly."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from gridmap.checks import BoolArray, FloatArray, IntArray, number, same_length
from gridmap.errors import InputRefused

_NOTHING: Final = (0.0, 0)
_NEVER: Final = (float("inf"), 0)


def best_runs(
    chance_over: npt.ArrayLike, *, row: npt.ArrayLike, cost_per_tree: npt.ArrayLike, start_cost: float,
    loss_per_tree: float, barred: npt.ArrayLike | None = None, shut_before: npt.ArrayLike | None = None,
) -> BoolArray:
    """Tell which trees to spray so that money spent and crop likely lost are least together.

    Parameters
    ----------
    chance_over : (n,) array
        Chance that each living tree is over threshold, rows one after the other, each in the order of its positions.
        A place without a living tree has no entry: it is passed over at no cost.
    row : (n,) array
        Which row each tree stands in; a run never goes on into another row.
    cost_per_tree : float or (n,) array
        Cost of spraying a tree, c [money].
    start_cost : float
        Cost of beginning a run, S [money].
    loss_per_tree : float
        Loss by a tree that is over threshold and left, L [money].
    barred : (n,) array of bool, optional
        Trees that can't be sprayed; the gun is shut there, so a run ends.
    shut_before : (n,) array of bool, optional
        Trees before which the gun is shut even where the tree before them is sprayed.

    Returns
    -------
    (n,) array of bool
        Without trees: empty.

    Raises
    ------
    InputRefused
        A chance outside 0 to 1 on a tree that can be sprayed, a cost under 0, or lengths that differ.

    Notes
    -----
    Minimises, over all sets of sprayed trees, sum of c over sprayed trees + S x number of runs + L x sum of the chance
    over trees that are left. Two states a tree (gun open, gun shut) make a shortest path, so the answer is exact in one
    pass [1]_. Of sets that cost the same, the one with fewer trees is taken. A sprayed tree is taken to lose nothing.

    References
    ----------
    .. [1] Bellman, R. (1957) Dynamic Programming. Princeton University Press.

    Examples
    --------
    Two trees of low chance between likely ones are sprayed, because a second start would cost more:

    >>> best_runs([0.9, 0.1, 0.9, 0.0], row=[1, 1, 1, 1], cost_per_tree=1, start_cost=2, loss_per_tree=5).tolist()
    [True, True, True, False]
    >>> best_runs([], row=[], cost_per_tree=1, start_cost=2, loss_per_tree=5).tolist()
    []
    """
    chance, rows, spray, stop, shut = _checked(chance_over, row, cost_per_tree, barred, shut_before)
    start = number(start_cost, "start cost", least=0)
    leave = (number(loss_per_tree, "loss per tree", least=0) * chance).tolist()
    n = len(chance)
    first = _first(rows).tolist()
    # Whether the tree before is sprayed in the best way to leave, and in the best way to spray, tree i.
    if_left, if_sprayed = [False] * n, [False] * n
    left, sprayed = _NOTHING, _NEVER
    for i in range(n):
        # Tuples compare cost first and number of trees second: fewer trees win a tie.
        before = sprayed < left
        best = sprayed if before else left
        if first[i]:
            best, sprayed = _NOTHING, _NEVER
        if_left[i] = if_sprayed[i] = before
        afresh = (best[0] + spray[i] + start, best[1] + 1)
        going_on = _NEVER if shut[i] else (sprayed[0] + spray[i], sprayed[1] + 1)
        left = (best[0] + leave[i], best[1])
        if stop[i]:
            sprayed = _NEVER
        elif going_on < afresh:
            sprayed, if_sprayed[i] = going_on, True
        else:
            sprayed = afresh
    answer = np.zeros(n, dtype=bool)
    state = sprayed < left
    for i in range(n - 1, -1, -1):
        answer[i] = state
        state = if_sprayed[i] if state else if_left[i]
    return answer


def number_runs(treated: npt.ArrayLike, *, row: npt.ArrayLike, shut_before: npt.ArrayLike | None = None) -> IntArray:
    """Give a number to each of the runs that a set of treated trees makes: maximal stretches of a row.

    Parameters
    ----------
    treated, row, shut_before : (n,) arrays
        As in `best_runs`.

    Returns
    -------
    (n,) array of int
        From 0; -1 on a tree that is not treated.

    Examples
    --------
    >>> number_runs([True, True, False, True, True], row=[1, 1, 1, 1, 2]).tolist()
    [0, 0, -1, 1, 2]
    """
    on, rows = np.asarray(treated, dtype=bool), np.asarray(row)
    same_length(len(on), row=rows)
    before = np.concatenate([[False], on[:-1]]) & ~_first(rows)
    if shut_before is not None:
        before &= ~np.asarray(shut_before, dtype=bool)
    return np.where(on, np.cumsum(on & ~before) - 1, -1).astype(np.int64)


def _first(rows: npt.NDArray[np.generic]) -> BoolArray:
    first = np.ones(len(rows), dtype=bool)
    if len(rows):
        first[1:] = rows[1:] != rows[:-1]
    return first


def _checked(
    chance_over: npt.ArrayLike, row: npt.ArrayLike, cost_per_tree: npt.ArrayLike, barred: npt.ArrayLike | None,
    shut_before: npt.ArrayLike | None,
) -> tuple[FloatArray, npt.NDArray[np.generic], list[float], list[bool], list[bool]]:
    """Check the arrays; a barred tree's chance does not matter, since nothing can be done about it."""
    chance, rows = np.asarray(chance_over, dtype=np.float64), np.asarray(row)
    n = len(chance)
    stop = np.zeros(n, dtype=bool) if barred is None else np.asarray(barred, dtype=bool)
    shut = np.zeros(n, dtype=bool) if shut_before is None else np.asarray(shut_before, dtype=bool)
    same_length(n, row=rows, barred=stop, shut_before=shut)
    chance = np.where(stop, 0.0, chance)
    bad = np.flatnonzero(~((chance >= 0) & (chance <= 1)))
    if bad.size:
        raise InputRefused(f"chance over threshold is {chance[bad[0]]:g} at index {bad[0]}", "it must be from 0 to 1")
    spray = np.broadcast_to(np.asarray(cost_per_tree, dtype=np.float64), (n,))
    if not (np.isfinite(spray) & (spray >= 0)).all():
        raise InputRefused("a cost per tree is negative or not finite", "it must be at least 0")
    return chance, rows, spray.tolist(), stop.tolist(), shut.tolist()
