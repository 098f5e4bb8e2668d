"""What changed from one visit to another, tree by tree, block by block, and what a treatment did."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from gridmap import checks
from gridmap.checks import BoolArray, FloatArray
from gridmap.errors import InputRefused
from gridmap.pressure._draw import Asked
from gridmap.pressure._walk import positions
from gridmap.pressure.model import PressureModel

_LEVELS = {"median": 0.5, "low_50": 0.25, "high_50": 0.75, "low_80": 0.1, "high_80": 0.9, "low_90": 0.05,
           "high_90": 0.95}
CHANGE_COLUMNS = (*(f"{name}_ratio" if name == "median" else name for name in _LEVELS), "chance_fewer")


@dataclass(frozen=True)
class Change:
    """Change of the expected count per standard beat from one visit to another, as a ratio (later over earlier).

    Parameters
    ----------
    trees : DataFrame
        median_ratio, low_50, high_50, low_80, high_80, low_90, high_90, chance_fewer (chance that there are fewer
        now), one line for each tree in the order given.
    blocks : DataFrame
        The same for the mean of each block, with block and trees (their number).
    treatment : DataFrame
        part (treated, untreated, treated against untreated), the same columns, and reduction_percent with
        reduction_low_90 and reduction_high_90 on the last line; empty where no tree was treated, or every tree.
    """

    trees: pd.DataFrame
    blocks: pd.DataFrame
    treatment: pd.DataFrame


def change_between(
    model: PressureModel, xy: object, *, before: Hashable, after: Hashable = None, block: object = None,
    treated_before: object = None, treated_after: object = None, n: int = 400, seed: int = 0,
) -> Change:
    """Tell what became of every tree and block from one visit to another, and what a treatment did.

    Parameters
    ----------
    model : PressureModel
        Fitted to both visits (`fit(..., visit=...)`).
    xy : array_like of shape (t, 2), or points
        Trees, same CRS as the walk [m].
    before, after : hashable
        Visits; ``after`` is the latest where it is left out.
    block : sequence of shape (t,), optional
        Block of each tree; needed when the walk told blocks.
    treated_before, treated_after : sequence of shape (t,), optional
        Last treatment of each tree before either visit, as in `PressureModel.fit`; needed when it told treatments. The
        trees whose treatment differs between the two are the treated ones.
    n, seed : int
        Joint draws and their seed: same seed, same answer.

    Returns
    -------
    Change
        Ratios with their limits, from joint draws of both visits, since what is not known is common to both.

    Raises
    ------
    InputRefused
        A visit that the walk does not have, or the same one twice; no tree.

    Notes
    -----
    Treated against untreated: (T_after / T_before) / (C_after / C_before), T and C the means of treated and of
    untreated trees; the reduction is 100 (1 - that) (Henderson and Tilton 1955, J. Econ. Entomol. 48:157-161,
    doi:10.1093/jee/48.2.157, from memory). Untreated trees are a fair measure only where they would have fared like
    the treated ones.

    Examples
    --------
    >>> xy = [[0, 0], [8, 0], [16, 0], [24, 0]]
    >>> model = PressureModel(5).fit(xy * 2, [9, 7, 8, 6, 0, 1, 9, 8], visit=[1] * 4 + [2] * 4,
    ...     treated=[0] * 4 + [1, 1, 0, 0])
    >>> change = change_between(model, xy, before=1, treated_before=[0] * 4, treated_after=[1, 1, 0, 0])
    >>> change.treatment["part"].tolist()
    ['treated', 'untreated', 'treated against untreated']
    >>> bool(change.treatment["chance_fewer"].iloc[2] > 0.9)
    True
    >>> change_between(model, [], before=1, treated_before=[], treated_after=[])
    Traceback (most recent call last):
    gridmap.errors.InputRefused: No tree was given: change is told of trees.
    """
    if not len(positions(xy)):
        raise InputRefused("no tree was given", "change is told of trees")
    number = int(checks.number(n, "number of draws", least=20))
    old, new = model._asked(xy, block, before, treated_before), model._asked(xy, block, after, treated_after)
    if old.visit[0] == new.visit[0]:
        raise InputRefused(f"both visits are {before}", "change is told between two", "name an earlier one")
    both = Asked(*(np.concatenate([getattr(old, name), getattr(new, name)]) for name in (
        "xy", "block", "visit", "treated"
    )))
    draws = model._draw(both, number, seed)
    earlier, later = draws[:, :len(old.xy)], draws[:, len(old.xy):]
    trees = _lines(later / earlier)
    index = getattr(xy, "index", None)
    trees.index = index if isinstance(index, pd.Index) else trees.index
    return Change(trees, _blocks(earlier, later, block), _treatment(earlier, later, old.treated != new.treated))


def _lines(ratio: FloatArray) -> pd.DataFrame:
    """Return the columns of a change for draws (n, things)."""
    limits = np.quantile(ratio, list(_LEVELS.values()), axis=0)
    return pd.DataFrame(np.column_stack([*limits, (ratio < 1.0).mean(axis=0)]), columns=list(CHANGE_COLUMNS))


def _blocks(earlier: FloatArray, later: FloatArray, block: object) -> pd.DataFrame:
    """Return the change of each block's mean, blocks in the order in which they are met."""
    names = pd.Series(["all"] * earlier.shape[1] if block is None else list(block))  # type: ignore[call-overload]
    groups = [np.asarray(rows) for rows in names.groupby(names, sort=False).indices.values()]
    ratio = np.column_stack([later[:, rows].mean(axis=1) / earlier[:, rows].mean(axis=1) for rows in groups])
    table = _lines(ratio)
    table.insert(0, "block", [names.iloc[rows[0]] for rows in groups])
    table.insert(1, "trees", [len(rows) for rows in groups])
    return table


def _treatment(earlier: FloatArray, later: FloatArray, treated: BoolArray) -> pd.DataFrame:
    """Return the change of treated trees, of untreated ones, and of the one against the other."""
    extra = ("reduction_percent", "reduction_low_90", "reduction_high_90")
    if not treated.any() or treated.all():
        return pd.DataFrame(columns=["part", *CHANGE_COLUMNS, *extra])
    each = [later[:, rows].mean(axis=1) / earlier[:, rows].mean(axis=1) for rows in (treated, ~treated)]
    table = _lines(np.column_stack([*each, each[0] / each[1]]))
    table.insert(0, "part", ["treated", "untreated", "treated against untreated"])
    last = table.iloc[2]
    values = 100.0 * (1.0 - np.array([last["median_ratio"], last["high_90"], last["low_90"]]))
    for name, value in zip(extra, values, strict=True):
        table[name] = [np.nan, np.nan, value]
    return table
