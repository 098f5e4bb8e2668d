"""How far the nymphs have come: the share of trees whose nymphs show wing buds, mapped with its limits."""

from __future__ import annotations

from collections.abc import Hashable

import numpy as np
import pandas as pd
from scipy.special import expit

from gridmap import checks
from gridmap.errors import InputRefused
from gridmap.pressure._fit import grid_weights, walk_spacing_factor
from gridmap.pressure._laplace import laplace_of_shares
from gridmap.pressure._predict import When, block_index, chunks, evaluate, gather
from gridmap.pressure._prior import SIZES, Grid, grid
from gridmap.pressure._walk import block_names, covariance, positions, read_walk
from gridmap.statistics import normal_mixture_quantiles

WING_BUDS = ("none", "some", "most")
_COLUMNS = ("median_share", "low_50", "high_50", "low_80", "high_80", "low_90", "high_90", "informed")
_LEVELS = (0.5, 0.25, 0.75, 0.1, 0.9, 0.05, 0.95)
_MOST_BEATS = 300


def stage_share(
    xy: object, wing_buds: object, trees_xy: object, *, block: object = None, trees_block: object = None,
    at_least: str = "some",
) -> pd.DataFrame:
    """Tell for every tree which share of beats there would show wing buds: how near the nymphs are to flying.

    Parameters
    ----------
    xy : array_like of shape (n, 2), or points
        Beaten trees, any projected CRS [m].
    wing_buds : sequence of shape (n,)
        ``none``, ``some`` or ``most`` of the nymphs of each beat; missing where no nymph was seen: such beats say
        nothing of the stage.
    trees_xy : array_like of shape (t, 2), or points
        Trees asked about.
    block, trees_block : sequence, optional
        Blocks of both, as in `PressureModel`.
    at_least : {"some", "most"}
        Which beats count as showing them.

    Returns
    -------
    DataFrame
        median_share, low_50, high_50, low_80, high_80, low_90, high_90 (0 to 1) and informed (0: nothing was learned of
        this tree's own place), indexed like ``trees_xy`` if it has an index.

    Raises
    ------
    InputRefused
        No beat with a stage, over 300 of them, or a word that is none of the three.

    Notes
    -----
    A binomial with log odds normal as the log count of `PressureModel` is: a common mean (0, that is one half, +- 1.5),
    blocks, and place with range and spread averaged over. It is a map of what is seen, no forecast of flight.

    Examples
    --------
    >>> seen = stage_share([[0, 0], [9, 0], [300, 0], [309, 0]], ["most", "some", "none", "none"], [[4, 0], [304, 0]])
    >>> (seen["median_share"] > 0.5).tolist()
    [True, False]
    >>> stage_share([[0, 0]], ["some"], []).shape
    (0, 8)
    """
    checks.one_of(at_least, WING_BUDS[1:], "stage")
    place, told = positions(xy), list(wing_buds)  # type: ignore[call-overload]
    checks.same_length(len(place), wing_buds=told)
    kept = np.flatnonzero([not pd.isna(word) for word in told])
    words = [checks.one_of(told[i], WING_BUDS, f"wing buds at index {i}") for i in kept]
    if not 0 < len(kept) <= _MOST_BEATS:
        raise InputRefused(f"{len(kept)} beats tell the stage", f"1 to {_MOST_BEATS} are needed")
    found = np.array([WING_BUDS.index(word) >= WING_BUDS.index(at_least) for word in words], dtype=np.float64)
    names = None if block is None else [list(block)[i] for i in kept]  # type: ignore[call-overload]
    walk = read_walk(place[kept], found, None, names, None, 1.0)
    points = _points(walk_spacing_factor(walk))
    posterior = laplace_of_shares(covariance(walk, points), found, np.ones(len(found)), 0.0)
    trees = positions(trees_xy)
    if walk.blocks is not None and trees_block is None:
        raise InputRefused("the trees come without blocks, but the walk told them", "give the block of each tree")
    of_trees: list[Hashable] | None = None if trees_block is None else block_names(trees_block, len(trees))
    number, none = block_index(walk, of_trees, len(trees)), np.zeros(len(points))
    gathered = gather(
        walk, points, posterior, grid_weights(points, posterior.log_evidence), log_mean=0.0, shift=none, extra=none,
        when=When(0),
    )
    values = np.empty((len(trees), len(_COLUMNS)))
    for rows in chunks(len(trees), len(found)):
        curves = evaluate(walk, gathered, trees[rows], number[rows])
        limits = normal_mixture_quantiles(
            curves.weight, curves.mean, np.sqrt(curves.variance), _LEVELS, tolerance=1e-5
        )
        values[rows] = np.column_stack([*expit(limits), curves.informed])
    index = getattr(trees_xy, "index", None)
    return pd.DataFrame(values, columns=list(_COLUMNS), index=index if isinstance(index, pd.Index) else None)


def _points(factor: float) -> Grid:
    """Return the grid of ranges and spreads, without sizes."""
    every = grid(factor)
    points = every.take(np.flatnonzero(every.size == SIZES[0]))
    return Grid(points.range_m, points.spread, points.size, points.log_prior - np.logaddexp.reduce(points.log_prior))
