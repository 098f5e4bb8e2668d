"""The plan of a walk: which trees, and in which order."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.spatial import cKDTree

from gridmap import checks
from gridmap.checks import BoolArray, FloatArray, IntArray
from gridmap.errors import InputMissing, InputRefused
from gridmap.pressure.where_next import NEAR_M, pick_apart, worth_of_knowing
from gridmap.walk.balanced import balanced_draw, inclusion
from gridmap.walk.pace import Pace
from gridmap.walk.route import shortest_round
from gridmap.walk.ways import CROSS_ROW_M, walking_m

# Share of the trees that go where the last round left the decision open: 20 of 50 (see docs/walk.md).
UNCERTAIN_SHARE = 0.4
# A tree worth less than this share of the one most worth knowing is decided well enough.
_OPEN = 0.2
# Most trees in one plan: a day has no room for more, and the round would not be found in time.
MOST_TREES = 500


@dataclass(frozen=True, kw_only=True)
class PlanSettings:
    """How a walk is spread; all of it is the grower's to change.

    Parameters
    ----------
    least_per_block : int, default 3
        Fewest trees of a block, where the number allows it.
    edge_weight : float, default 1.5
        How much likelier a tree on the edge of its block is chosen than one inside; 1 for no difference. Infestations
        often start at edges (common practice, no source).
    cross_row_m : float, default 10
        What passing through a row counts for [m].
    cost_ratio : float, default 4
        Loss from a tree over the threshold that is left, over the cost of spraying one tree; for the trees that the
        last round left open.

    Examples
    --------
    >>> PlanSettings(edge_weight=1).edge_weight
    1.0
    """

    least_per_block: int = 3
    edge_weight: float = 1.5
    cross_row_m: float = CROSS_ROW_M
    cost_ratio: float = 4.0

    def __post_init__(self) -> None:
        least = checks.number(self.least_per_block, "least trees of a block", least=1, most=MOST_TREES)
        object.__setattr__(self, "least_per_block", int(least))
        weight = checks.number(self.edge_weight, "weight of edge trees", least=1.0, most=10.0)
        object.__setattr__(self, "edge_weight", weight)
        object.__setattr__(self, "cross_row_m", checks.number(self.cross_row_m, "crossing a row", "m", least=0.0))
        object.__setattr__(self, "cost_ratio", checks.number(self.cost_ratio, "cost ratio", over=1.0))


def plan_walk(
    trees: pd.DataFrame, n: int | None = None, *, minutes: float | None = None, seed: int = 0,
    previous: pd.DataFrame | None = None, gate_xy: object = None, pace: Pace | None = None,
    settings: PlanSettings | None = None,
) -> pd.DataFrame:
    """Tell which trees to beat on the next walk, and which way round.

    Parameters
    ----------
    trees : GeoDataFrame
        Living trees, as in the contract: tree, block, row, position, geometry (Point, projected CRS [m]).
    n : int, optional
        Trees to beat in the whole grove.
    minutes : float, optional
        Time there is [minutes], instead of ``n``.
    seed : int, default 0
        Same seed, same walk; another seed, other trees.
    previous : DataFrame, optional
        Pressure frame of the last round: tree, chance_over, informed. Two trees in five then go where it left the
        decision open.
    gate_xy : array_like of shape (2,), optional
        Where the walk starts and ends, in the CRS of the trees [m]. Without it the walk starts at one of the trees.
    pace : Pace, optional
        From `pace`; about fifty trees in an hour when left out.
    settings : PlanSettings, optional
        How it is spread.

    Returns
    -------
    GeoDataFrame
        The chosen lines of ``trees`` in walking order, with ``order`` (from 1), ``leg_m`` (from the stop before, the
        first from the gate, 0 without one [m]), ``chosen`` (spread, uncertain) and ``edge`` (bool). ``attrs`` holds
        ``length_m`` of the whole way, ``back_m`` from the last tree to the gate, and ``minutes``.

    Raises
    ------
    InputMissing
        When neither n nor minutes is given.
    InputRefused
        When both are, when there are too few for one tree in each block, or a column is missing.

    Notes
    -----
    Trees go to blocks in proportion to their number, edges weighted, none under its least; inside a block they are
    drawn spatially balanced (`balanced_draw`). Trees that the last round left open are picked by the worth of knowing
    them, each lowering the worth of its neighbours by 1 - exp(-(d / 15 m)^2), and the others are thinned about them.

    Examples
    --------
    >>> import geopandas as gpd
    >>> row, position = np.divmod(np.arange(40), 10)
    >>> frame = {"tree": range(40), "block": "A", "row": row + 1, "position": position + 1}
    >>> trees = gpd.GeoDataFrame(frame, geometry=gpd.points_from_xy(5 * position, 7 * row))
    >>> walk = plan_walk(trees, 6, gate_xy=(0, -10))
    >>> len(walk), walk["order"].tolist()
    (6, [1, 2, 3, 4, 5, 6])
    >>> plan_walk(trees[:0], 6).empty
    True
    >>> plan_walk(trees)
    Traceback (most recent call last):
    gridmap.errors.InputMissing: It is not said how many trees to beat: a walk has its number of trees or its time...
    """
    checks.columns(trees, ["tree", "block", "row", "position", "geometry"], "trees")
    setting, speed = settings or PlanSettings(), pace or Pace(1.2)
    number = min(_number(n, minutes, speed), len(trees))
    edge = on_edge(trees)
    if not len(trees):
        return _frame(trees, np.zeros(0, dtype=np.int64), np.zeros(0), 0.0, edge, frozenset(), speed)
    rng = np.random.default_rng(seed)
    geometry = trees["geometry"]
    xy = np.column_stack([geometry.x, geometry.y])
    weight = np.where(edge, setting.edge_weight, 1.0)
    first = _uncertain(trees, xy, previous, number, setting, rng)
    chosen = np.concatenate([first, _spread(trees, xy, weight, first, number, setting, rng)])
    order, legs, back = _round(trees, chosen, gate_xy, setting, seed)
    return _frame(trees, chosen[order], legs, back, edge, frozenset(first.tolist()), speed)


def on_edge(trees: pd.DataFrame) -> BoolArray:
    """Tell which living trees stand on the edge of their block: at the ends of a row, or in its first or last row.

    Examples
    --------
    >>> frame = pd.DataFrame({"block": "A", "row": [1, 1, 1, 2, 2, 2, 3, 3, 3], "position": [1, 2, 3] * 3})
    >>> on_edge(frame).tolist()
    [True, True, True, True, False, True, True, True, True]
    """
    in_row, in_block = trees.groupby(["block", "row"])["position"], trees.groupby("block")["row"]
    ends = (trees["position"] == in_row.transform("min")) | (trees["position"] == in_row.transform("max"))
    outer = (trees["row"] == in_block.transform("min")) | (trees["row"] == in_block.transform("max"))
    return np.asarray(ends | outer, dtype=np.bool_)


def _number(n: int | None, minutes: float | None, pace: Pace) -> int:
    """Return how many trees the walk has."""
    if n is None and minutes is None:
        raise InputMissing(
            "it is not said how many trees to beat", "a walk has its number of trees or its time",
            "give one of the two", missing=["how many trees, or how many minutes"],
        )
    if n is not None and minutes is not None:
        raise InputRefused("trees and minutes are both given", "one follows from the other", "give one of the two")
    if n is None:
        time = checks.number(minutes, "time for the walk", "minutes", over=0.0)
        n = max(1, math.floor(time / pace.minutes_per_tree + 1e-9))
        return min(n, MOST_TREES)
    number = checks.number(n, "number of trees", least=1, most=MOST_TREES)
    if number != int(number):
        raise InputRefused(f"number of trees is {n}", "it must be whole")
    return int(number)


def share_out(
    names: list[str], weight: FloatArray, size: IntArray, held: IntArray, n: int, least: int
) -> IntArray:
    """Return how many of n trees each block gets, in proportion to its weight; each has its least, none over its size.

    ``held`` counts trees that a block has already, which are part of its number.

    Examples
    --------
    >>> share_out(["A", "B"], np.array([90.0, 10.0]), np.array([90, 10]), np.array([0, 0]), 10, 3).tolist()
    [7, 3]
    """
    if n < len(names):
        raise InputRefused(
            f"{n} trees are to be beaten in {len(names)} blocks", "every block has one at least",
            f"give {len(names)} or more: a block that nobody walked is not known",
        )
    floor = np.minimum(np.maximum(min(least, n // len(names)), held), size)
    # What the trees held beforehand leave over may be less than the least asked for.
    while floor.sum() > n:
        over = np.flatnonzero(floor > np.maximum(held, 1))
        floor[over[np.argmax(floor[over])] if len(over) else np.argmax(floor)] -= 1
    share = floor.copy()
    wish = weight / weight.sum() * n
    for _ in range(int(min(n, size.sum()) - share.sum())):
        short = np.where(share < size, wish - share, -np.inf)
        share[int(np.argmax(short))] += 1
    return share


def _uncertain(
    trees: pd.DataFrame, xy: FloatArray, previous: pd.DataFrame | None, n: int, setting: PlanSettings,
    rng: np.random.Generator,
) -> IntArray:
    """Return the trees whose decision the last round left open, by the worth of knowing them."""
    if previous is None:
        return np.zeros(0, dtype=np.int64)
    checks.columns(previous, ["tree", "chance_over", "informed"], "previous")
    last = previous.drop_duplicates("tree").set_index("tree").reindex(trees["tree"])
    chance = last["chance_over"].to_numpy(dtype=np.float64)
    known = np.isfinite(chance) & (last["informed"].fillna(0.0).to_numpy(dtype=np.float64) > 0.0)
    worth = np.where(known, worth_of_knowing(np.where(known, chance, 0.0), setting.cost_ratio), 0.0)
    # A block must keep room for its least number, so that the open trees of one never leave another unwalked.
    blocks = trees["block"].nunique()
    number = int(min(UNCERTAIN_SHARE * n, max(0, n - blocks * min(setting.least_per_block, n // blocks))))
    worth = np.where(worth >= _OPEN * worth.max(initial=0.0), worth, 0.0)
    if number == 0 or not worth.any():
        return np.zeros(0, dtype=np.int64)
    # Neighbours are worth much the same: chance says which of them, so that it is not always the same tree.
    picked = pick_apart(xy, worth * rng.uniform(0.8, 1.0, len(worth)), np.zeros((0, 2)), number)
    return picked[worth[picked] > 0.0]


def _spread(
    trees: pd.DataFrame, xy: FloatArray, weight: FloatArray, first: IntArray, n: int, setting: PlanSettings,
    rng: np.random.Generator,
) -> IntArray:
    """Return the other trees, spread over every block, thinner about those chosen first."""
    which, names = pd.factorize(trees["block"], sort=True)
    number = len(names)
    if len(first):
        far, _ = cKDTree(xy[first]).query(xy)
        weight = weight * np.maximum(-np.expm1(-((np.asarray(far) / NEAR_M) ** 2)), 1e-6)
    taken = np.zeros(len(xy), dtype=np.bool_)
    taken[first] = True
    held = np.bincount(which[first], minlength=number)
    plain = np.bincount(which, np.where(on_edge(trees), setting.edge_weight, 1.0), number).astype(np.float64)
    share = share_out(list(names), plain, np.bincount(which, minlength=number), held, n, setting.least_per_block)
    chosen = []
    for b in range(number):
        mine = np.flatnonzero((which == b) & ~taken)
        wanted = int(min(share[b] - held[b], len(mine)))
        if wanted > 0:
            chosen.append(mine[balanced_draw(xy[mine], inclusion(weight[mine], wanted), seed=rng)])
    return np.concatenate(chosen) if chosen else np.zeros(0, dtype=np.int64)


def _round(
    trees: pd.DataFrame, chosen: IntArray, gate_xy: object, setting: PlanSettings, seed: int
) -> tuple[IntArray, FloatArray, float]:
    """Return the order of the chosen trees, the leg to each [m], and the way back [m]."""
    D = walking_m(trees, chosen, gate_xy=gate_xy, cross_row_m=setting.cross_row_m)
    if gate_xy is None:
        # A stop that is no distance from all others makes the round an open walk from any tree to any other.
        D = np.pad(D, ((1, 0), (1, 0)))
    way = shortest_round(D, seed=seed)
    legs = D[way, np.roll(way, -1)]
    return way[1:] - 1, legs[:-1], float(legs[-1]) if len(way) > 1 else 0.0


def _frame(
    trees: pd.DataFrame, rows: IntArray, legs: FloatArray, back: float, edge: BoolArray, first: frozenset[int],
    pace: Pace,
) -> pd.DataFrame:
    frame = trees.iloc[rows].copy()
    frame["order"] = np.arange(1, len(rows) + 1)
    frame["leg_m"] = np.asarray(legs, dtype=np.float64)
    frame["chosen"] = pd.Series(
        ["uncertain" if int(row) in first else "spread" for row in rows], index=frame.index, dtype="str"
    )
    frame["edge"] = edge[rows]
    frame.attrs = {
        "length_m": float(np.sum(legs) + back), "back_m": back, "minutes": pace.minutes(len(rows)),
    }
    return frame
