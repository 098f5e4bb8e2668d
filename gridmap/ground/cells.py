"""The ground of one tree: a cell as long as the tree spacing, turned with its row."""

from __future__ import annotations

from typing import Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from scipy.spatial import cKDTree

from gridmap import checks
from gridmap.checks import FloatArray, IntArray
from gridmap.errors import InputMissing, InputRefused

# Share of the row spacing that a cell is wide: rows stay apart to the eye, so that the grove reads as rows.
ACROSS: Final = 0.78
# Neighbours in the row on either side that give its direction: few enough for a curve, enough against 2 m of error.
_REACH: Final = 2


def cells(trees: gpd.GeoDataFrame, blocks: pd.DataFrame, *, across: float = ACROSS) -> gpd.GeoDataFrame:
    """Give every tree its cell of ground, as the map colours it and a zone takes it in.

    Parameters
    ----------
    trees : GeoDataFrame
        tree, block, row, position, geometry (Point); the grove's projected CRS [m]; any order.
    blocks : DataFrame
        block, row_bearing_deg, row_spacing_m, tree_spacing_m (NaN where the grower has not said: then from the trees).
    across : float
        Width of a cell as a share of the row spacing, over 0 and at most 1.

    Returns
    -------
    GeoDataFrame
        tree, geometry (Polygon of four corners, counter-clockwise), indexed like ``trees``.

    Raises
    ------
    InputRefused
        A block that is not in ``blocks``.
    InputMissing
        A spacing that neither the grower has said nor the trees tell (a block of one tree).

    Notes
    -----
    The direction of a row at a tree is that from its second neighbour on one side to its second on the other, so that
    rows may curve; a lone tree takes the bearing of its block. No published source: a way of drawing.

    Examples
    --------
    >>> import pandas as pd
    >>> blocks = pd.DataFrame([{"block": "A", "row_bearing_deg": 90.0, "row_spacing_m": 6.0, "tree_spacing_m": 5.0}])
    >>> table = {"tree": ["t1", "t2"], "block": ["A", "A"], "row": [1, 1], "position": [1, 2]}
    >>> trees = gpd.GeoDataFrame(table, geometry=gpd.points_from_xy([5, 10], [5, 5]))
    >>> cells(trees, blocks).area.round(2).tolist()
    [23.4, 23.4]
    >>> len(cells(trees.head(0), blocks))
    0
    """
    share = checks.number(across, "across", least=0.01, most=1.0)
    checks.columns(trees, ["tree", "block", "row", "position", "geometry"], "trees")
    checks.columns(blocks, ["block", "row_bearing_deg", "row_spacing_m", "tree_spacing_m"], "blocks")
    if len(trees) == 0:
        return gpd.GeoDataFrame({"tree": trees["tree"]}, geometry=gpd.GeoSeries([], index=trees.index, crs=trees.crs))
    names = pd.Index(blocks["block"])
    block = names.get_indexer(trees["block"])
    if (block < 0).any():
        name = trees["block"].iloc[int(np.flatnonzero(block < 0)[0])]
        raise InputRefused(f"block {name!r} of the trees is not in the blocks", "every tree stands in a known block")
    xy = shapely.get_coordinates(trees.geometry.to_numpy())
    row, position = trees["row"].to_numpy(dtype=np.int64), trees["position"].to_numpy(dtype=np.int64)
    spacing = _spacings(xy, block, row, position, blocks)
    along = row_direction(xy, block, row, position, blocks["row_bearing_deg"].to_numpy(dtype=np.float64))
    half_length = spacing[block, 1] / 2
    half_width = share * spacing[block, 0] / 2
    u = along * half_length[:, None]
    v = np.column_stack([-along[:, 1], along[:, 0]]) * half_width[:, None]
    corners = np.stack([xy - u - v, xy + u - v, xy + u + v, xy - u + v], axis=1)
    shapes = gpd.GeoSeries(shapely.polygons(corners), index=trees.index, crs=trees.crs)
    return gpd.GeoDataFrame({"tree": trees["tree"]}, geometry=shapes)


def row_direction(
    xy: FloatArray, block: IntArray, row: IntArray, position: IntArray, bearing_deg: FloatArray
) -> FloatArray:
    """Tell in which direction its row runs at every tree.

    Parameters
    ----------
    xy : (n, 2) array
        Trees [m], any projected CRS.
    block, row, position : (n,) arrays of int
        Index of the block, number of the row, position in it.
    bearing_deg : (blocks,) array
        Row bearing of every block [degrees clockwise from grid north], NaN where not said.

    Returns
    -------
    (n, 2) array
        Unit vectors (east, north), towards growing positions where the row has neighbours.

    Examples
    --------
    >>> one = np.array([0])
    >>> row_direction(np.array([[0.0, 0.0]]), one, one, one, np.array([90.0])).round(3).tolist()
    [[1.0, 0.0]]
    """
    order = np.lexsort((position, row, block))
    place = np.arange(len(order))
    starts = np.ones(len(order), dtype=bool)
    starts[1:] = (np.diff(block[order]) != 0) | (np.diff(row[order]) != 0)
    start = np.maximum.accumulate(np.where(starts, place, 0))
    ends = np.append(starts[1:], True)
    end = np.minimum.accumulate(np.where(ends, place, len(order))[::-1])[::-1]
    ahead, behind = np.minimum(place + _REACH, end), np.maximum(place - _REACH, start)
    step = np.empty_like(xy)
    step[order] = xy[order][ahead] - xy[order][behind]
    length = np.hypot(step[:, 0], step[:, 1])
    # North where nobody knows: a lone tree in a block without a bearing.
    angle = np.radians(np.nan_to_num(bearing_deg[block]))
    default = np.column_stack([np.sin(angle), np.cos(angle)])
    lone = length < 1e-6
    return np.where(lone[:, None], default, step / np.where(lone, 1.0, length)[:, None])


def _spacings(xy: FloatArray, block: IntArray, row: IntArray, position: IntArray, blocks: pd.DataFrame) -> FloatArray:
    """Return row and tree spacing of every block [m], as said or else as the trees tell."""
    spacing = np.column_stack([blocks[name].to_numpy(dtype=np.float64) for name in ("row_spacing_m", "tree_spacing_m")])
    for index in np.unique(block):
        mine = block == index
        name = str(blocks["block"].iloc[index])
        if np.isnan(spacing[index, 1]):
            spacing[index, 1] = _tree_spacing(xy[mine], row[mine], position[mine], name)
        if np.isnan(spacing[index, 0]):
            spacing[index, 0] = _row_spacing(xy[mine], row[mine], name)
    return spacing


def _tree_spacing(xy: FloatArray, row: IntArray, position: IntArray, block: str) -> float:
    """Return the median distance of neighbours in a row, per step of position [m]."""
    order = np.lexsort((position, row))
    same = (np.diff(row[order]) == 0) & (np.diff(position[order]) > 0)
    if not same.any():
        raise InputMissing(
            f"the tree spacing of block {block} is not known", "no row of it has two trees", missing=["tree spacing"]
        )
    step = np.diff(xy[order], axis=0)[same]
    return float(np.median(np.hypot(step[:, 0], step[:, 1]) / np.diff(position[order])[same]))


def _row_spacing(xy: FloatArray, row: IntArray, block: str) -> float:
    """Return the median distance from a tree to the nearest of the next row [m]."""
    found = [
        np.asarray(cKDTree(xy[row == number + 1]).query(xy[row == number])[0])
        for number in np.unique(row)
        if (row == number + 1).any()
    ]
    if not found:
        raise InputMissing(
            f"the row spacing of block {block} is not known", "it has no two rows side by side", missing=["row spacing"]
        )
    return float(np.median(np.concatenate(found)))
