"""The living trees of a grove in the order of their rows, with the direction of the row at each tree."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd

from gridmap.checks import BoolArray, FloatArray, IntArray, columns, number
from gridmap.errors import InputMissing, InputRefused

# The row's direction at a tree is that of the chord from three trees before it to three after it, so that a curved row
# is followed and two or three metres of position error on one tree do not turn it.
_REACH = 3


@dataclass(frozen=True)
class Rows:
    """Living trees sorted by block, row and position; every array has one entry for each.

    Parameters
    ----------
    trees : GeoDataFrame
        The contract's ``trees`` columns and the block's ``row_spacing_m``, ``tree_spacing_m``; index 0 to n - 1.
    xy : (n, 2) array
        Easting and northing [m].
    row_id : (n,) array of int
        Number of the row over the whole grove, from 0.
    first : (n,) array of bool
        Whether the tree is the first living one of its row.
    along : (n, 2) array
        Unit vector along the row towards higher positions.
    """

    trees: gpd.GeoDataFrame
    xy: FloatArray
    row_id: IntArray
    first: BoolArray
    along: FloatArray

    def __len__(self) -> int:
        return len(self.trees)

    def per_tree(self, value: float | pd.Series, name: str, unit: str = "") -> FloatArray:
        """Return one finite number of at least 0 for each tree, from one for all or from a Series indexed by tree."""
        if not isinstance(value, pd.Series):
            return np.full(len(self), number(value, name, unit, least=0))
        absent = ~self.trees["tree"].isin(value.index)
        if absent.any():
            raise InputRefused(f"{name} has no entry for {int(absent.sum())} living trees",
                               "it must have one for each", "give one number for all, or a Series indexed by tree")
        array = value.reindex(self.trees["tree"]).to_numpy(dtype=np.float64)
        bad = np.flatnonzero(~(np.isfinite(array) & (array >= 0)))
        if bad.size:
            raise InputRefused(f"{name} of tree {self.trees['tree'].iloc[bad[0]]} is {array[bad[0]]:g} {unit}".rstrip(),
                               "it must be finite and at least 0")
        return array


def lay_rows(trees: gpd.GeoDataFrame, blocks: gpd.GeoDataFrame) -> Rows:
    """Put the living trees into the order of their rows.

    Parameters
    ----------
    trees, blocks : GeoDataFrame
        As in the contract; any projected CRS in metres.

    Returns
    -------
    Rows
        Without a living tree: empty arrays.

    Raises
    ------
    InputRefused
        A column is absent, a block unknown, or two living trees share a place.
    InputMissing
        A block's spacings, or the bearing of a block with a row of one tree, were not given.

    Examples
    --------
    >>> import geopandas as gpd
    >>> point = gpd.points_from_xy([5, 0], [0, 0], crs="EPSG:7855")
    >>> trees = gpd.GeoDataFrame({"tree": ["b", "a"], "block": "East", "row": 1, "position": [2, 1]}, geometry=point)
    >>> blocks = gpd.GeoDataFrame({"block": ["East"], "row_spacing_m": 8.0, "tree_spacing_m": 5.0,
    ...                            "row_bearing_deg": 90.0})
    >>> rows = lay_rows(trees, blocks)
    >>> rows.trees["tree"].tolist(), rows.along.tolist()
    (['a', 'b'], [[1.0, 0.0], [1.0, 0.0]])
    >>> len(lay_rows(trees.iloc[:0], blocks))
    0
    """
    columns(trees, ["tree", "block", "row", "position", "geometry"], "trees")
    columns(blocks, ["block", "row_spacing_m", "tree_spacing_m", "row_bearing_deg"], "blocks")
    living = trees[trees["status"] == "alive"] if "status" in trees.columns else trees
    living = living.sort_values(["block", "row", "position"], kind="stable").reset_index(drop=True)
    twice = living.duplicated(["block", "row", "position"])
    if twice.any():
        one = living[twice].iloc[0]
        raise InputRefused(f"two living trees stand at {one['block']} row {one['row']} position {one['position']}",
                           "a place holds one living tree")
    living = _with_spacings(living, blocks)
    xy = np.column_stack([living.geometry.x, living.geometry.y]).astype(np.float64)
    first = (living["block"].ne(living["block"].shift()) | living["row"].ne(living["row"].shift())).to_numpy(dtype=bool)
    row_id = np.cumsum(first).astype(np.int64) - 1
    return Rows(living, xy, row_id, first, _directions(living, blocks, xy, row_id))


def _with_spacings(living: gpd.GeoDataFrame, blocks: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Add each tree's spacings, or say whose were not given."""
    by_block = blocks.set_index("block")
    unknown = sorted(set(living["block"]) - set(by_block.index))
    if unknown:
        raise InputRefused(f"trees stand in {', '.join(map(repr, unknown))}", "blocks hold no such block")
    for column, words in (("row_spacing_m", "row spacing"), ("tree_spacing_m", "tree spacing")):
        spacing = living["block"].map(by_block[column]).astype(np.float64)
        without = sorted(set(living.loc[~(spacing > 0), "block"]))
        if without:
            asked = [f"{words} of {block} ({column})" for block in without]
            raise InputMissing(f"{words} is not known for {', '.join(without)}", "a zone is drawn from it",
                               "type the distance in metres", missing=asked)
        living[column] = spacing
    return living


def _directions(living: gpd.GeoDataFrame, blocks: gpd.GeoDataFrame, xy: FloatArray, row_id: IntArray) -> FloatArray:
    """Return the unit vector along the row at each tree: its chord's, or the block's bearing for a row of one tree."""
    n = len(living)
    if n == 0:
        return np.empty((0, 2))
    starts = np.searchsorted(row_id, row_id, side="left")
    ends = np.searchsorted(row_id, row_id, side="right") - 1
    here = np.arange(n)
    chord = xy[np.minimum(here + _REACH, ends)] - xy[np.maximum(here - _REACH, starts)]
    length = np.hypot(chord[:, 0], chord[:, 1])
    short = length < 1e-6
    if short.any():
        bearing = living.loc[short, "block"].map(blocks.set_index("block")["row_bearing_deg"]).astype(np.float64)
        if bearing.isna().any():
            without = sorted(set(living.loc[bearing[bearing.isna()].index, "block"]))
            raise InputMissing(f"row bearing is not known for {', '.join(without)}", "a row there has a single tree",
                               "type the bearing of the rows", missing=[f"row bearing of {block}" for block in without])
        turn = np.radians(bearing.to_numpy())
        chord[short] = np.column_stack([np.sin(turn), np.cos(turn)])
        length[short] = 1.0
    return chord / length[:, None]
