"""Verdict tables from simulated blocks, and how often a plan would be right."""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np
import pandas as pd
from scipy.special import expit

from gridmap import checks
from gridmap.checks import BoolArray, FloatArray, IntArray
from gridmap.errors import InputRefused
from gridmap.pressure.likely import LikelyBlocks, likely_blocks
from gridmap.walk.verdict import ERROR, LEAST_TREES, VerdictTable, decide

# Enough for bounds that move by no more than an insect or two between seeds.
DRAWS = 8000
# The block's mean lies anywhere within so many times the threshold, on the log scale: no opinion beforehand.
_TIMES = 20.0
# Trees that stand for a block's mean; more teach the simulation nothing.
_MOST_TREES = 150
_NEWTON_STEPS = 12


def verdict_table(
    route_xy: object, block_xy: object, *, block: str, threshold_per_beat: float, minimum: int = LEAST_TREES,
    error: float = ERROR, draws: int = DRAWS, seed: int = 0,
) -> VerdictTable:
    """Tell for each number of trees and each total what the verdict of a block is.

    Parameters
    ----------
    route_xy : array_like of shape (n, 2)
        The block's trees to beat in walking order, projected CRS [m].
    block_xy : array_like of shape (t, 2)
        All its living trees [m]; their mean is what the verdict is about.
    block : str
        Its name.
    threshold_per_beat : float
        The grower's action threshold [insects per standard beat].
    minimum : int, default 6
        Trees before which nothing is said; the number of trees to beat where that is less.
    error : float, default 0.1
        How often a verdict may be wrong.
    draws, seed : int
        Simulated blocks; same seed, same table.

    Returns
    -------
    VerdictTable
        Up to as many trees as are to be beaten.

    Raises
    ------
    InputRefused
        Without a tree to beat, or with a number outside its limits.

    Notes
    -----
    Blocks are drawn from the pressure model before it has seen a count (`likely_blocks`), with a mean anywhere from a
    twentieth to twenty times the threshold, each as likely as another on the log scale; each is beaten in route order.
    For n trees and total S the chance that the block is over is fitted by logistic regression on powers of log S; under
    is the largest S where it is at most ``error``, over the smallest where it is at least 1 - ``error``. So neighbours
    that are alike, uneven counts and a k that nobody knows are all in the table. It is about the block's mean: a hot
    spot can hide in a block that is clearly under.

    Examples
    --------
    >>> xy = [[6 * i, 7 * j] for j in range(6) for i in range(8)]
    >>> table = verdict_table(xy[::5], xy, block="Top", threshold_per_beat=5, draws=2000)
    >>> table.verdict(10, 1), table.verdict(10, 300)
    ('clearly_under', 'clearly_over')
    """
    threshold = checks.number(threshold_per_beat, "action threshold", "per standard beat", over=0.0)
    wrong = checks.number(error, "error", over=0.0, most=0.4)
    drawn, beaten = _drawn(route_xy, block_xy, draws, seed)
    rng = np.random.default_rng([seed, 1])
    mean = threshold * np.exp(rng.uniform(-math.log(_TIMES), math.log(_TIMES), len(drawn.k)))
    running = _running(drawn, beaten, mean, rng)
    maximum = len(beaten)
    least = min(int(checks.number(minimum, "least trees", least=1)), maximum)
    n = np.arange(least, maximum + 1)
    bounds = [_bounds(running[:, i - 1], mean > threshold, i * threshold, wrong) for i in n]
    under = np.maximum.accumulate([low for low, _ in bounds])
    over = np.maximum.accumulate([-1 if high is None else high for _, high in bounds])
    return VerdictTable(
        block=block, threshold_per_beat=threshold, minimum=least, maximum=maximum,
        under=tuple(int(value) for value in under),
        over=tuple(None if bounds[i][1] is None else int(over[i]) for i in range(len(n))), error=wrong,
    )


def _bounds(total: IntArray, over: BoolArray, usual: float, wrong: float) -> tuple[int, int | None]:
    """Return the largest total that is clearly under (-1 for none), and the smallest that is clearly over."""
    weight = _chance_of_over(_powers(total, usual), over)
    possible = np.arange(int(total.max()) + 1)
    chance = np.maximum.accumulate(expit(_powers(possible, usual) @ weight))
    low, high = np.flatnonzero(chance <= wrong), np.flatnonzero(chance >= 1.0 - wrong)
    return int(low.max(initial=-1)), int(high.min()) if len(high) else None


def _powers(total: IntArray, usual: float) -> FloatArray:
    """Return powers 0 to 3 of the logarithm of totals over the usual one."""
    # A cubic was within an insect or two of the shares that 80,000 blocks gave, and steadier than those of 8,000.
    x = np.log((total + 1.0) / (usual + 1.0))
    return np.column_stack([np.ones_like(x), x, x**2, x**3])


def _chance_of_over(X: FloatArray, over: BoolArray) -> FloatArray:
    """Return the weights of a logistic regression (Newton's steps; a trace of ridge keeps them finite)."""
    weight = np.zeros(X.shape[1])
    ridge = 1e-6 * np.eye(X.shape[1])
    for _ in range(_NEWTON_STEPS):
        chance = expit(X @ weight)
        spread = chance * (1.0 - chance)
        weight += np.linalg.solve((X * spread[:, None]).T @ X + ridge, X.T @ (over - chance) - ridge @ weight)
    return weight


def characteristic(
    tables: dict[str, VerdictTable], route_xy: object, block_xy: object, means: Iterable[float], *,
    draws: int = DRAWS, seed: int = 0, alike: bool = True, k: float | None = None,
) -> pd.DataFrame:
    """Tell how often a plan says "over", and after how many trees, for blocks of a known mean.

    Parameters
    ----------
    tables : dict of str to VerdictTable
        Plans by name; classic lines through `table_of_lines`. None may go beyond the route.
    route_xy, block_xy : array_like
        As in `verdict_table`.
    means : iterable of float
        True means of the block [insects per standard beat].
    draws, seed : int
        Simulated blocks for each mean.
    alike : bool, default True
        Whether trees near one another are alike, as they are; False for what classic plans take for granted.
    k : float, optional
        Evenness of the counts; drawn from what the model holds likely when left out.

    Returns
    -------
    DataFrame
        plan, mean_per_beat, chance_over, chance_under, chance_stopped, mean_trees, se (of the chances, the largest):
        operating characteristic (1 - chance_over) and average sample number.

    Raises
    ------
    InputRefused
        Without a tree to beat, or with a table beyond the route.

    Examples
    --------
    >>> xy = [[6 * i, 7 * j] for j in range(6) for i in range(8)]
    >>> table = VerdictTable(block="Top", threshold_per_beat=5, minimum=2, maximum=3, under=(1, 4), over=(30, 36))
    >>> told = characteristic({"mine": table}, xy[:9], xy, [0.1, 100], draws=500)
    >>> (told["chance_over"] > 0.5).tolist()
    [False, True]
    """
    drawn, beaten = _drawn(route_xy, block_xy, draws, seed)
    relative = drawn.relative if alike else np.ones_like(drawn.relative)
    size = drawn.k if k is None else np.full(len(drawn.k), checks.number(k, "k", over=0.0))
    lines = []
    for name, table in tables.items():
        if table.maximum > len(beaten):
            raise InputRefused(
                f"plan {name!r} goes to {table.maximum} trees", f"the route has {len(beaten)}", "give a longer route"
            )
    for mean in means:
        rng = np.random.default_rng([seed, 2])
        at = np.full(len(size), checks.number(mean, "mean", "per beat", over=0.0))
        running = _running(LikelyBlocks(relative, size), beaten, at, rng)
        for name, table in tables.items():
            how, trees = decide(table, running)
            share = {word: float((how == code).mean()) for word, code in (("over", 1), ("under", -1), ("stopped", 0))}
            worst = max(value * (1 - value) for value in share.values())
            lines.append({
                "plan": name, "mean_per_beat": float(mean), "chance_over": share["over"],
                "chance_under": share["under"], "chance_stopped": share["stopped"],
                "mean_trees": float(trees.mean()), "se": math.sqrt(worst / len(how)),
            })
    return pd.DataFrame(lines)


def _drawn(route_xy: object, block_xy: object, draws: int, seed: int) -> tuple[LikelyBlocks, IntArray]:
    """Draw blocks at the trees to beat and enough others; return which columns are beaten, in walking order."""
    route, block = checks.points(route_xy, "trees to beat"), checks.points(block_xy, "trees of the block")
    if not len(route):
        raise InputRefused("no tree is to be beaten", "a verdict needs one at least", "plan a walk first")
    rng = np.random.default_rng([seed, 0])
    step = rng.permutation(len(block))[: max(_MOST_TREES, 0)]
    place, which = np.unique(np.vstack([route, block[step]]), axis=0, return_inverse=True)
    spacing = _usual_m(np.unique(route, axis=0))
    return likely_blocks(place, draws, spacing_m=spacing, seed=seed), np.asarray(which)[: len(route)]


def _usual_m(place: FloatArray) -> float:
    """Return the median distance to the nearest other tree that is beaten [m]; 15 m where there is only one."""
    if len(place) < 2:
        return 15.0
    gap = np.hypot(place[:, None, 0] - place[None, :, 0], place[:, None, 1] - place[None, :, 1])
    gap[np.diag_indices(len(place))] = np.inf
    return float(np.median(gap.min(axis=1)))


def _running(drawn: LikelyBlocks, beaten: IntArray, mean: FloatArray, rng: np.random.Generator) -> IntArray:
    """Beat the trees of each drawn block in turn; return the running totals (draws, trees)."""
    expected = np.minimum(mean[:, None] * drawn.relative[:, beaten], 1e6)
    uneven = rng.gamma(drawn.k[:, None], 1.0 / drawn.k[:, None], expected.shape)
    return np.asarray(rng.poisson(expected * uneven).cumsum(axis=1), dtype=np.int64)
