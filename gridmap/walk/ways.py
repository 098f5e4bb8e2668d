"""How far it is on foot from tree to tree: along the alleys, round the row ends, through a row only at a price."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd
from scipy import sparse
from scipy.sparse.csgraph import dijkstra
from scipy.spatial import cKDTree
from scipy.spatial.distance import cdist

from gridmap import checks
from gridmap.checks import FloatArray, IntArray

# What passing between two trees of a row counts for [m] where the grower says nothing else: stooping under branches and
# stepping over a dripper line (common practice, no source).
CROSS_ROW_M = 10.0
# From a tree's side of the alley to so many of the nearest trees on the other side: the way across is a slanting one.
_ACROSS = 4
# A step of length zero would be no step for the graph.
_NO_WAY_M = 1e-6


def walking_m(
    trees: pd.DataFrame, rows: object, *, gate_xy: object = None, cross_row_m: float = CROSS_ROW_M
) -> FloatArray:
    """Tell how far it is on foot between chosen trees, and from the gate to each.

    Parameters
    ----------
    trees : GeoDataFrame
        Living trees: block, row, position, geometry (Point, projected CRS [m]).
    rows : array_like of int, shape (n,)
        Row numbers of ``trees`` of those between which one walks.
    gate_xy : array_like of shape (2,), optional
        Where the walk starts and ends, in the same CRS [m].
    cross_row_m : float, default 10
        What passing through a row counts for, on top of the way itself [m].

    Returns
    -------
    ndarray of shape (n, n), or (n + 1, n + 1) with the gate first
        Metres, the same both ways.

    Raises
    ------
    InputRefused
        When a column is missing, or the price of crossing is negative.

    Notes
    -----
    A graph for each block: every tree has a side on the alley below its row and one on the alley above; one walks along
    a side, across the alley, through the row at a price, and round its two ends for nothing. At a chosen tree one may
    go on from either side. Between blocks one leaves at a row end or from the outer side of an outer row, and walks
    straight. Dijkstra 1959, doi:10.1007/BF01386390.

    Examples
    --------
    >>> import geopandas as gpd
    >>> places = gpd.points_from_xy([0, 5, 10, 0, 5, 10], [0, 0, 0, 7, 7, 7])
    >>> trees = gpd.GeoDataFrame({"block": "A", "row": [1, 1, 1, 2, 2, 2], "position": [1, 2, 3] * 2}, geometry=places)
    >>> walking_m(trees, [0, 2, 3]).round(1).tolist()
    [[0.0, 10.0, 7.0], [10.0, 0.0, 12.2], [7.0, 12.2, 0.0]]
    >>> walking_m(trees, []).shape
    (0, 0)
    """
    checks.columns(trees, ["block", "row", "position", "geometry"], "trees")
    price = checks.number(cross_row_m, "crossing a row", "m", least=0.0)
    chosen = np.asarray(rows, dtype=np.int64)
    geometry = trees["geometry"]
    xy = np.column_stack([geometry.x, geometry.y]) if len(trees) else np.zeros((0, 2))
    block = pd.factorize(trees["block"])[0]
    parts = [
        _reach(trees, xy, np.flatnonzero(block == b), chosen[block[chosen] == b], price)
        for b in pd.unique(block[chosen])
    ]
    names = np.concatenate([part.chosen for part in parts]) if parts else np.zeros(0, dtype=np.int64)
    D = np.zeros((len(names), len(names)))
    starts = np.cumsum([0, *(len(part.chosen) for part in parts)])
    at = [slice(a, b) for a, b in pairwise(starts)]
    for i, here in enumerate(parts):
        D[at[i], at[i]] = here.between
        for j in range(i):
            D[at[i], at[j]] = _over(here, parts[j])
            D[at[j], at[i]] = D[at[i], at[j]].T
    # From the order of the blocks back to the order asked for.
    place = {int(row): k for k, row in enumerate(names)}
    order = np.array([place[int(row)] for row in chosen], dtype=np.int64)
    D = D[np.ix_(order, order)]
    if gate_xy is None:
        return D
    gate = checks.points([gate_xy], "gate")
    from_gate = np.concatenate([np.zeros(0), *((cdist(gate, part.exits) + part.out).min(axis=1) for part in parts)])
    full = np.zeros((len(chosen) + 1, len(chosen) + 1))
    full[1:, 1:] = D
    full[0, 1:] = full[1:, 0] = from_gate[order]
    return full


@dataclass(frozen=True)
class _Reach:
    """Chosen trees of one block: metres between them, to each way out (n, e), and where the ways out are (e, 2)."""

    chosen: IntArray
    between: FloatArray
    out: FloatArray
    exits: FloatArray


def _reach(trees: pd.DataFrame, xy: FloatArray, members: IntArray, chosen: IntArray, price: float) -> _Reach:
    """Walk through one block from each chosen tree."""
    row, position = trees["row"].to_numpy()[members], trees["position"].to_numpy()[members]
    order = np.lexsort([position, row])
    members = members[order]
    place, row = xy[members], row[order]
    lines = np.split(np.arange(len(members)), np.flatnonzero(np.diff(row)) + 1)
    graph = _graph(place, lines, price)
    index = {int(member): k for k, member in enumerate(members)}
    mine = np.array([index[int(tree)] for tree in chosen], dtype=np.int64)
    n = len(members)
    # A tree itself can be left to either side, and never be walked through.
    far = dijkstra(graph, directed=True, indices=2 * n + mine).reshape(len(mine), -1)
    lower, upper = far[:, 0: 2 * n: 2], far[:, 1: 2 * n: 2]
    between = np.minimum(lower[:, mine], upper[:, mine])
    between = np.where(np.eye(len(mine), dtype=np.bool_), 0.0, np.minimum(between, between.T))
    ends = np.unique(np.concatenate([[line[0], line[-1]] for line in lines]))
    first, last = lines[0], lines[-1]
    exits = np.concatenate([ends, first, last])
    out = np.hstack([np.minimum(lower, upper)[:, ends], lower[:, first], upper[:, last]])
    return _Reach(chosen, between, out, place[exits])


def _graph(place: FloatArray, lines: list[IntArray], price: float) -> sparse.csr_array:
    """Return the ways of a block; tree k has its lower side at 2 k, its upper side at 2 k + 1, itself at 2 n + k."""
    n = len(place)
    ways: list[tuple[IntArray, IntArray, FloatArray]] = []
    for line in lines:
        a, b = line[:-1], line[1:]
        along = np.hypot(*(place[b] - place[a]).T)
        ways += [(2 * a, 2 * b, along), (2 * a + 1, 2 * b + 1, along)]
        through = np.full(len(line), price)
        through[[0, -1]] = 0.0
        ways.append((2 * line, 2 * line + 1, through))
    for low, high in pairwise(lines):
        ways += [_across(place, low, high, up=True), _across(place, high, low, up=False)]
    start, end = (np.concatenate([way[k] for way in ways]) for k in (0, 1))
    metres = np.concatenate([way[2] for way in ways])
    tree = np.arange(n)
    start, end = np.concatenate([start, end, 2 * n + tree, 2 * n + tree]), np.concatenate(
        [end, start, 2 * tree, 2 * tree + 1]
    )
    metres = np.maximum(np.concatenate([metres, metres, np.zeros(2 * n)]), _NO_WAY_M)
    # The same way found from both rows is one way, not one of double length.
    key, first = np.unique(start * (3 * n) + end, return_index=True)
    return sparse.csr_array((metres[first], (key // (3 * n), key % (3 * n))), shape=(3 * n, 3 * n))


def _across(place: FloatArray, here: IntArray, there: IntArray, *, up: bool) -> tuple[IntArray, IntArray, FloatArray]:
    """Return the ways across an alley, from each tree on one side to the nearest on the other."""
    some = min(_ACROSS, len(there))
    metres, near = cKDTree(place[there]).query(place[here], k=some)
    a, b = np.repeat(here, some), there[np.asarray(near).ravel()]
    side = (2 * a + 1, 2 * b) if up else (2 * a, 2 * b + 1)
    return *side, np.asarray(metres, dtype=np.float64).ravel()


def _over(here: _Reach, there: _Reach) -> FloatArray:
    """Return the ways from the chosen trees of one block to those of another."""
    beside = cdist(here.exits, there.exits)
    to_exit = (here.out[:, :, None] + beside[None, :, :]).min(axis=1)
    return np.asarray((to_exit[:, None, :] + there.out[None, :, :]).min(axis=2))
