"""Blocks as the model holds them likely before a tree is beaten: for trying out a way to walk before walking it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from gridmap import checks
from gridmap.checks import FloatArray
from gridmap.errors import InputRefused
from gridmap.pressure._draw import draw_field
from gridmap.pressure._prior import grid, spacing_factor


@dataclass(frozen=True)
class LikelyBlocks:
    """Drawn blocks: each tree's expected count over its block's mean (draws, trees), and the size k of each draw."""

    relative: FloatArray
    k: FloatArray


def likely_blocks(xy: object, draws: int = 4000, *, spacing_m: float = 15.0, seed: int = 0) -> LikelyBlocks:
    """Draw blocks whose trees differ as the pressure model holds likely: neighbours alike, counts uneven.

    Parameters
    ----------
    xy : array_like of shape (t, 2)
        Trees of one block, in a projected CRS [m]; no two at one place.
    draws : int, default 4000
        Blocks to draw.
    spacing_m : float, default 15
        Usual distance between trees that are beaten [m]; the likely ranges follow it, as in the model.
    seed : int, default 0
        Same seed, same blocks.

    Returns
    -------
    LikelyBlocks
        ``relative``, of mean 1 over the trees of each draw, and ``k``.

    Raises
    ------
    InputRefused
        When there is no tree.

    Notes
    -----
    relative_i = exp(sigma f_i) / mean_j exp(sigma f_j), f a field with correlation exp(-2 d / rho); range, sigma and k
    are drawn from the model's own prior (docs/pressure-model.md), which knows no threshold.

    Examples
    --------
    >>> drawn = likely_blocks([[0, 0], [5, 0], [10, 0]], draws=50)
    >>> drawn.relative.shape, bool(np.allclose(drawn.relative.mean(axis=1), 1))
    ((50, 3), True)
    >>> likely_blocks([])
    Traceback (most recent call last):
    gridmap.errors.InputRefused: No tree was given: a block has one at least.
    """
    place = checks.points(xy, "trees")
    if not len(place):
        raise InputRefused("no tree was given", "a block has one at least")
    number = int(checks.number(draws, "draws", least=1))
    spacing = checks.number(spacing_m, "usual spacing", "m", over=0.0)
    rng = np.random.default_rng(seed)
    points = grid(spacing_factor(np.array([[0.0, 0.0], [spacing, 0.0]])))
    point = np.sort(rng.choice(len(points), number, p=np.exp(points.log_prior)))
    field = np.empty((number, len(place)))
    for range_m in np.unique(points.range_m[point]):
        rows = points.range_m[point] == range_m
        field[rows] = draw_field(place, float(range_m), int(rows.sum()), rng)
    field *= points.spread[point][:, None]
    field -= field.max(axis=1, keepdims=True)
    relative = np.exp(field)
    relative /= relative.mean(axis=1, keepdims=True)
    order = rng.permutation(number)
    return LikelyBlocks(relative[order], points.size[point][order])
