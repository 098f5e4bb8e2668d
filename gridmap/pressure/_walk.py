"""A walk's counts, checked and put into arrays, and the covariance between its beats."""

from __future__ import annotations

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.spatial.distance import cdist

from gridmap import checks
from gridmap.checks import BoolArray, FloatArray, IntArray
from gridmap.errors import InputRefused
from gridmap.pressure._prior import JITTER, SD_BLOCK, SD_MEAN, SD_SUSPECTED, Grid

# No sheet holds a million insects: such a number is a slip of the pen.
MOST_COUNT = 1e6


@dataclass(frozen=True)
class Walk:
    """Beats of one walk: place [m], count, logarithm of effort, block number, and whether the tree was suspected.

    ``blocks`` numbers the blocks that were beaten; None where the walk knows no blocks (then there is no block term).
    """

    xy: FloatArray
    counts: FloatArray
    log_effort: FloatArray
    block: IntArray
    blocks: dict[Hashable, int] | None
    suspected: BoolArray

    @property
    def sd_block(self) -> float:
        """Spread between blocks on the log scale: none where no block was told."""
        return 0.0 if self.blocks is None else SD_BLOCK

    def same_block(self) -> FloatArray:
        """Return 1 where two beats share a block, of shape (n, n)."""
        return (self.block[:, None] == self.block).astype(np.float64)

    def take(self, index: IntArray) -> Walk:
        """Return a walk of the chosen beats, its blocks numbered as before."""
        return Walk(
            self.xy[index], self.counts[index], self.log_effort[index], self.block[index], self.blocks,
            self.suspected[index],
        )


def covariance(walk: Walk, points: Grid) -> FloatArray:
    """Return K of each grid point between the beats of a walk, of shape (g, n, n).

    Suspected beats share one offset, so their covariance with each other is raised by its variance and they say
    nothing of the common mean that the offset could not explain as well.
    """
    ranges, which = np.unique(points.range_m, return_inverse=True)
    correlation = np.exp(-2.0 * cdist(walk.xy, walk.xy) / ranges[:, None, None])
    result: FloatArray = points.spread[:, None, None] ** 2 * correlation[which]
    shared = SD_MEAN**2 + walk.sd_block**2 * walk.same_block()
    shared += SD_SUSPECTED**2 * np.outer(walk.suspected, walk.suspected)
    result += shared + JITTER * np.eye(len(walk.xy))
    return result


def read_walk(
    xy: object, counts: object, taps: object, block: object, suspected: object, standard_taps: float
) -> Walk:
    """Check what the grower's walk holds and return it as arrays.

    Raises
    ------
    InputRefused
        No count at all, a count that is not a whole number from 0 up, taps not over 0, lengths that differ.
    """
    place = positions(xy)
    if len(place) == 0:
        raise InputRefused("the walk holds no count", "pressure needs at least one beaten tree", "beat a tree first")
    y = whole_counts(counts, len(place))
    blocks: dict[Hashable, int] | None = None
    number = np.zeros(len(place), dtype=np.int64)
    if block is not None:
        names = block_names(block, len(place))
        blocks = {name: i for i, name in enumerate(dict.fromkeys(names))}
        number = np.array([blocks[name] for name in names], dtype=np.int64)
    doubted = np.zeros(len(place), dtype=np.bool_)
    if suspected is not None:
        doubted = np.asarray(suspected, dtype=np.bool_)
        checks.same_length(len(place), suspected=doubted)
    return Walk(place, y, log_effort(taps, len(place), standard_taps), number, blocks, doubted)


def positions(xy: object) -> FloatArray:
    """Return positions of an array, a frame of two columns, or points of a geometry column, as (n, 2) [m]."""
    geometry = getattr(xy, "geometry", None)
    if geometry is not None:
        xy = np.column_stack([geometry.x, geometry.y])
    return checks.points(xy)


def whole_counts(counts: object, length: int) -> FloatArray:
    """Return counts as floats once each is a whole number from 0 up."""
    try:
        y = np.asarray(counts, dtype=np.float64)
    except (TypeError, ValueError):
        raise InputRefused("counts hold something that is no number", "each must be a whole number from 0 up") from None
    checks.same_length(length, counts=np.atleast_1d(y))
    bad = np.flatnonzero(~(np.isfinite(y) & (y >= 0) & (y == np.floor(y)) & (y <= MOST_COUNT)))
    if len(bad):
        rule = f"a count must be a whole number from 0 to {MOST_COUNT:.0f}"
        raise InputRefused(f"count {y[bad[0]]:g} at index {bad[0]}", rule)
    return y


def log_effort(taps: object, length: int, standard_taps: float) -> FloatArray:
    """Return the logarithm of taps over standard taps; no taps told means standard beats."""
    if taps is None:
        return np.zeros(length)
    try:
        number = np.asarray(taps, dtype=np.float64)
    except (TypeError, ValueError):
        raise InputRefused("taps hold something that is no number", "each must be a number over 0") from None
    number = np.full(length, float(number)) if number.ndim == 0 else number
    checks.same_length(length, taps=number)
    bad = np.flatnonzero(~(np.isfinite(number) & (number > 0)))
    if len(bad):
        remedy = "leave out trees that were not beaten"
        raise InputRefused(f"{number[bad[0]]:g} taps at index {bad[0]}", "taps must be over 0", remedy)
    return np.asarray(np.log(number) - math.log(standard_taps))


def block_names(block: object, length: int) -> list[Hashable]:
    """Return the block of each position; a missing one is refused."""
    values: npt.NDArray[np.object_] = np.empty(length, dtype=object)
    names: Sequence[Hashable] = list(block)  # type: ignore[call-overload]
    checks.same_length(length, block=names)
    values[:] = names
    missing = np.flatnonzero([not isinstance(name, tuple) and bool(pd.isna(name)) for name in names])  # type: ignore[call-overload]
    if len(missing):
        raise InputRefused(f"the block at index {missing[0]} is missing", "every position needs the name of its block")
    return names if isinstance(names, list) else list(names)
