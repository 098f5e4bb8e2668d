"""Whether to go on beating: what more trees could change in what is sprayed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from gridmap import checks
from gridmap.checks import FloatArray, IntArray
from gridmap.errors import InputRefused
from gridmap.pressure._walk import positions
from gridmap.pressure.model import PressureModel

_DRAWS = 600
# Trees that the sum is taken over; of a larger grove an even sample stands for all.
_MOST_TREES = 1500
_NODES, _NODE_WEIGHTS = np.polynomial.hermite_e.hermegauss(31)
# Below this share of the trees whose decision would change, more beats are said not to change it.
LEAST_CHANGED = 0.01


@dataclass(frozen=True)
class MoreTrees:
    """What beating some more trees would be expected to bring.

    Parameters
    ----------
    rows : ndarray
        Trees that would be beaten, as `PressureModel.next_trees` names them.
    saving : float
        Expected saving over the whole grove, in costs of spraying one tree, the cost of beating not taken off.
    decisions_changed : float
        Expected number of trees whose decision would change.
    trees : int
        Trees in the grove.
    """

    rows: IntArray
    saving: float
    decisions_changed: float
    trees: int

    @property
    def would_change(self) -> bool:
        """Whether more trees would change the decision: for one tree in a hundred, and at least one."""
        return self.decisions_changed >= max(1.0, LEAST_CHANGED * self.trees)

    def words(self) -> str:
        """Say it to the grower."""
        if not self.would_change:
            return "More trees would not change the decision."
        return (
            f"Beating {len(self.rows)} more trees would be expected to change what is done with "
            f"{self.decisions_changed:.0f} of {self.trees:,} trees, and to save as much as spraying "
            f"{self.saving:.0f} trees costs, less the work of beating."
        )


def worth_of_more(
    model: PressureModel, xy: object, block: object = None, *, n: int = 20, cost_ratio: float = 4.0,
    treated: object = None, seed: int = 0,
) -> MoreTrees:
    """Tell whether n more trees would change what is sprayed, and what that would save.

    Parameters
    ----------
    model : PressureModel
        Fitted, with a threshold.
    xy, block, treated
        All trees of the grove, as in `PressureModel.predict`.
    n : int, default 20
        Trees that would be beaten: those of `PressureModel.next_trees`.
    cost_ratio : float, default 4
        Loss from a tree over the threshold that is left, over the cost of spraying one tree; over 1.
    seed : int, default 0
        Same seed, same answer.

    Returns
    -------
    MoreTrees
        Saving and number of decisions expected to change.

    Raises
    ------
    InputRefused
        As `PressureModel.next_trees`; no tree.

    Notes
    -----
    The expected value of sample information (Raiffa and Schlaifer 1961). Log expected counts of trees and of those to
    be beaten are taken as jointly normal, with covariances from joint draws; a beat tells the log expected count
    with variance 1 / mean + 1 / k. What 600 draws would find by accident is taken off as from an adjusted R squared.
    Costs are those of the rule min(1, r p), before and after, averaged over what the beats may bring.

    Examples
    --------
    >>> model = PressureModel(5).fit([[0, 0], [6, 0], [12, 0]], [60, 40, 90])
    >>> worth_of_more(model, [[3, 0], [9, 0]], n=1).words()
    'More trees would not change the decision.'
    """
    place = positions(xy)
    if not len(place):
        raise InputRefused("no tree was given", "the worth of a walk is told of trees")
    rows = model.next_trees(xy, block, n=n, cost_ratio=cost_ratio, treated=treated)
    asked = model._asked(xy, block, None, treated)
    rng = np.random.default_rng(seed)
    sample = rng.choice(len(place), min(_MOST_TREES, len(place)), replace=False)
    logs = np.log(model._draw(asked.take(np.concatenate([rows, sample])), _DRAWS, seed))
    beaten, trees = logs[:, : len(rows)], logs[:, len(rows):]
    inverse_k = float((model.hyper_["weight"] / model.hyper_["k"]).sum())
    noise = 1.0 / np.exp(beaten).mean(axis=0) + inverse_k
    mean, variance = trees.mean(axis=0), trees.var(axis=0, ddof=1)
    share = learned_share(trees, beaten, noise)
    # next_trees has made sure that there is a threshold.
    away = mean - np.log(model.threshold or np.nan)
    saving, changed = _gain(away, variance, share, checks.number(cost_ratio, "cost ratio", over=1.0))
    scale = len(place) / len(sample)
    return MoreTrees(rows, float(saving.sum() * scale), float(changed.sum() * scale), len(place))


def learned_share(trees: FloatArray, beaten: FloatArray, noise: FloatArray) -> FloatArray:
    """Return the share of each tree's variance that beats would take away, from joint draws (n, .); 0 to 0.99."""
    draws, number = beaten.shape
    off, between = trees - trees.mean(axis=0), beaten - beaten.mean(axis=0)
    C = between.T @ between / (draws - 1) + np.diag(noise)
    cross = between.T @ off / (draws - 1)
    raw = (cross * np.linalg.solve(C, cross)).sum(axis=0) / np.maximum(off.var(axis=0, ddof=1), 1e-12)
    return np.asarray(np.clip(1.0 - (1.0 - raw) * (draws - 1) / (draws - number - 1), 0.0, 0.99))


def _gain(away: FloatArray, variance: FloatArray, share: FloatArray, ratio: float) -> tuple[FloatArray, FloatArray]:
    """Return each tree's expected saving and its chance of another decision."""
    weights = _NODE_WEIGHTS / _NODE_WEIGHTS.sum()
    now = ndtr(away / np.sqrt(variance))
    node = away[:, None] + np.sqrt(variance * share)[:, None] * _NODES
    later = ndtr(node / np.sqrt(variance * (1.0 - share))[:, None])
    # The same sum for the chance now, so that rounding of the nodes can't look like a saving.
    cost_now = np.minimum(1.0, ratio * (later @ weights))
    saving = np.maximum(cost_now - np.minimum(1.0, ratio * later) @ weights, 0.0)
    changed = ((later > 1.0 / ratio) != (now > 1.0 / ratio)[:, None]) @ weights
    return saving, np.where(share > 0, changed, 0.0)
