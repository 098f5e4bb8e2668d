"""A walk's counts, checked and put into arrays, and the covariance between its beats."""

from __future__ import annotations

import math
from collections.abc import Hashable
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy.spatial.distance import cdist

from gridmap import checks
from gridmap.checks import BoolArray, FloatArray, IntArray
from gridmap.errors import InputRefused
from gridmap.pressure._prior import JITTER, LEVEL_LINK, SD_BLOCK, SD_MEAN, SD_SUSPECTED, SD_TREATED, Grid

# No sheet holds a million insects: such a number is a slip of the pen.
MOST_COUNT = 1e6


@dataclass(frozen=True)
class Walk:
    """Beats of one or more visits: place [m], count, logarithm of effort, block number, whether the tree was suspected.

    ``blocks`` numbers the blocks that were beaten; None where the walk knows no blocks (then there is no block term).
    ``visit`` counts visits from 0, the oldest; ``visits`` are their names. ``treated`` is the number of a tree's last
    treatment before the visit, 0 for none; ``treatments`` are their names. ``sd_mean`` is how far off the common level
    may be, on the log scale.
    """

    xy: FloatArray
    counts: FloatArray
    log_effort: FloatArray
    block: IntArray
    blocks: dict[Hashable, int] | None
    suspected: BoolArray
    visit: IntArray
    visits: tuple[Hashable, ...]
    treated: IntArray
    treatments: tuple[Hashable, ...]
    sd_mean: float = SD_MEAN

    @property
    def sd_block(self) -> float:
        """Spread between blocks on the log scale: none where no block was told."""
        return 0.0 if self.blocks is None else SD_BLOCK

    def same_block(self) -> FloatArray:
        """Return 1 where two beats share a block, of shape (n, n)."""
        return (self.block[:, None] == self.block).astype(np.float64)

    def apart(self) -> IntArray:
        """Return how many visits lie between two beats, of shape (n, n)."""
        return np.abs(self.visit[:, None] - self.visit)

    def take(self, index: IntArray) -> Walk:
        """Return a walk of the chosen beats, its blocks, visits and treatments numbered as before."""
        each = ("xy", "counts", "log_effort", "block", "suspected", "visit", "treated")
        return replace(self, **{name: getattr(self, name)[index] for name in each})


def covariance(walk: Walk, points: Grid) -> FloatArray:
    """Return K of each grid point between the beats of a walk, of shape (g, n, n).

    Suspected beats share one offset, so their covariance with each other is raised by its variance and they say
    nothing of the common mean that the offset could not explain as well. So do beats after the same treatment.
    """
    ranges, which = np.unique(points.range_m, return_inverse=True)
    correlation = np.exp(-2.0 * cdist(walk.xy, walk.xy) / ranges[:, None, None])
    result: FloatArray = points.spread[:, None, None] ** 2 * correlation[which]
    common, block = np.full(walk.apart().shape, walk.sd_mean**2), walk.sd_block**2 * walk.same_block()
    if len(walk.visits) > 1:
        apart = walk.apart()
        fade = LEVEL_LINK**apart
        common, block = common * fade, block * fade
        result *= points.carry()[:, None, None] ** apart
    if walk.treated.any():
        same = walk.treated[:, None] == walk.treated
        result *= same
        block = block * same
        common = common + SD_TREATED**2 * (same & (walk.treated > 0))
    shared = common + block + SD_SUSPECTED**2 * np.outer(walk.suspected, walk.suspected)
    result += shared + JITTER * np.eye(len(walk.xy))
    return result


def read_walk(
    xy: object, counts: object, taps: object, block: object, suspected: object, standard_taps: float,
    visit: object = None, treated: object = None,
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
    when, visits = visit_numbers(visit, len(place))
    after, treatments = treatment_numbers(treated, len(place), None)
    return Walk(
        place, y, log_effort(taps, len(place), standard_taps), number, blocks, doubted, when, visits, after, treatments
    )


def visit_numbers(visit: object, length: int) -> tuple[IntArray, tuple[Hashable, ...]]:
    """Return the number of each beat's visit, in the order of their names, and the names; one visit without any."""
    if visit is None:
        return np.zeros(length, dtype=np.int64), (None,)
    names = _names(visit, length, "visit")
    try:
        visits = tuple(sorted(set(names)))  # type: ignore[type-var]
    except TypeError:
        raise InputRefused("the visits can't be put in order", "they must be dates, numbers or like words") from None
    number = {name: i for i, name in enumerate(visits)}
    return np.array([number[name] for name in names], dtype=np.int64), visits


def visit_number(walk: Walk, visit: Hashable) -> int:
    """Return the number of a visit of the walk, the latest without a name."""
    if visit is None:
        return len(walk.visits) - 1
    if visit not in walk.visits:
        known = ", ".join(str(name) for name in walk.visits if name is not None) or "no visit was told"
        raise InputRefused(f"visit {visit} is none of the walk's", f"there are: {known}")
    return walk.visits.index(visit)


def treatment_numbers(
    treated: object, length: int, known: tuple[Hashable, ...] | None
) -> tuple[IntArray, tuple[Hashable, ...]]:
    """Return the number of each position's last treatment (0: none, False or missing), and the treatments' names.

    ``known`` are the treatments of the walk; one that the walk never met gets a number after them.
    """
    names = [None] * length if treated is None else list(treated)  # type: ignore[call-overload]
    checks.same_length(length, treated=names)
    number: dict[Hashable, int] = {name: i + 1 for i, name in enumerate(known or ())}
    result = np.zeros(length, dtype=np.int64)
    for i, name in enumerate(names):
        if name is not None and not pd.isna(name) and name is not False and name != 0:
            result[i] = number.setdefault(name, len(number) + 1)
    return result, tuple(number)


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
    return _names(block, length, "block")


def _names(given: object, length: int, what: str) -> list[Hashable]:
    """Return the name that each position has; a missing one is refused."""
    names: list[Hashable] = list(given)  # type: ignore[call-overload]
    checks.same_length(length, **{what: names})
    values = np.empty(length, dtype=object)
    values[:] = names
    missing = np.flatnonzero(pd.isna(values))
    if len(missing):
        rule = f"every position needs the name of its {what}"
        raise InputRefused(f"the {what} at index {missing[0]} is missing", rule)
    return names
