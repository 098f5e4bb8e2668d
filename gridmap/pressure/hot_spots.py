"""Where trees over the threshold stand together, and what the walk says of each block."""

from __future__ import annotations

from collections.abc import Collection

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from gridmap import checks
from gridmap.checks import FloatArray, IntArray

# Neighbours: the next tree in the row or the nearest one in the next row, with room for trees out of line.
_REACH = 1.5

HOT_SPOT_COLUMNS = (
    "hot_spot", "block", "from_row", "to_row", "trees", "trees_over", "median_per_beat", "geometry",
)


def hot_spots(
    trees: gpd.GeoDataFrame, pressure: pd.DataFrame, *, blocks: pd.DataFrame, walked: Collection[object] | None = None
) -> gpd.GeoDataFrame:
    """Tell where trees with a chance over one half stand together, the place with most trees over first.

    Parameters
    ----------
    trees : GeoDataFrame
        tree, block, row, status, geometry (Point, any projected CRS in metres); gone trees are passed over.
    pressure : DataFrame
        tree, median_per_beat [insects per standard beat], chance_over.
    blocks : DataFrame
        block, row_spacing_m, tree_spacing_m. Where both are missing, the usual distance between neighbours is taken.
    walked : collection of str, optional
        Blocks with a count in the walks used; a block that nobody walked is unknown and has no hot spot. Without it
        every block is taken.

    Returns
    -------
    GeoDataFrame
        hot_spot (rank from 1), block, from_row, to_row, trees, trees_over (expected number), median_per_beat (middle of
        its trees' medians), geometry (convex hull of its trees: a point or a line where there are few). Empty where no
        tree has a chance over one half, or no threshold was given.

    Raises
    ------
    InputRefused
        When a column is missing.

    Notes
    -----
    Two trees of a block are neighbours within 1.5 times the larger of its row and tree spacing; a hot spot is a set of
    at least two trees joined through neighbours; a tree alone shows on the map, but is no place to go to.
    Ranked by the sum of the chances, which is the expected number of trees over.

    Examples
    --------
    >>> trees = gpd.GeoDataFrame({"tree": ["a", "b", "c"], "block": "east", "row": [1, 1, 9], "status": "alive"},
    ...     geometry=gpd.points_from_xy([0, 5, 90], [0, 0, 90]))
    >>> pressure = pd.DataFrame({"tree": ["a", "b", "c"], "median_per_beat": [6.0, 8.0, 1.0],
    ...     "chance_over": [0.6, 0.9, 0.1]})
    >>> blocks = pd.DataFrame({"block": ["east"], "row_spacing_m": [6.0], "tree_spacing_m": [5.0]})
    >>> spots = hot_spots(trees, pressure, blocks=blocks)
    >>> spots[["hot_spot", "block", "trees", "trees_over"]].values.tolist()
    [[1, 'east', 2, 1.5]]
    >>> len(hot_spots(trees, pressure.assign(chance_over=float("nan")), blocks=blocks))
    0
    """
    checks.columns(trees, ["tree", "block", "row", "status", "geometry"], "trees")
    checks.columns(pressure, ["tree", "median_per_beat", "chance_over"], "pressure")
    checks.columns(blocks, ["block", "row_spacing_m", "tree_spacing_m"], "blocks")
    alive = trees[trees["status"] != "gone"]
    table = alive[["tree", "block", "row", "geometry"]].merge(
        pressure[["tree", "median_per_beat", "chance_over"]], on="tree", how="inner"
    )
    if walked is not None:
        table = table[table["block"].isin(list(walked))]
    spacing = blocks.set_index("block")[["row_spacing_m", "tree_spacing_m"]].max(axis=1)
    lines: list[dict[str, object]] = []
    for block, inside in table.groupby("block", sort=False):
        xy = np.column_stack([inside.geometry.x, inside.geometry.y])
        reach = _REACH * _spacing(float(spacing.get(block, np.nan)), xy)
        hot = np.flatnonzero(inside["chance_over"].to_numpy() > 0.5)
        group = _groups(xy[hot], reach)
        members = [inside.iloc[hot[group == number]] for number in np.unique(group)]
        lines += [{"block": block} | _describe(member) for member in members if len(member) > 1]
    if not lines:
        return gpd.GeoDataFrame({name: [] for name in HOT_SPOT_COLUMNS}, geometry="geometry", crs=trees.crs)
    ranked = pd.DataFrame(lines).sort_values(["trees_over", "block", "from_row"], ascending=[False, True, True])
    ranked.insert(0, "hot_spot", np.arange(1, len(ranked) + 1))
    return gpd.GeoDataFrame(ranked.reset_index(drop=True), geometry="geometry", crs=trees.crs)


def _spacing(told: float, xy: FloatArray) -> float:
    """Return the larger spacing of a block, or the usual distance to the nearest tree where it was not told."""
    if np.isfinite(told) or len(xy) < 2:
        return told if np.isfinite(told) else 0.0
    nearest, _ = cKDTree(xy).query(xy, k=2)
    return float(np.median(np.asarray(nearest)[:, 1]))


def _groups(xy: FloatArray, reach: float) -> IntArray:
    """Return the group of each tree, joined through neighbours within reach."""
    if len(xy) == 0:
        return np.zeros(0, dtype=np.int64)
    pairs = cKDTree(xy).query_pairs(reach, output_type="ndarray")
    links = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(xy), len(xy)))
    return np.asarray(connected_components(links, directed=False)[1], dtype=np.int64)


def _describe(group: pd.DataFrame) -> dict[str, object]:
    """Return one line of the table of hot spots."""
    return {
        "from_row": group["row"].min(), "to_row": group["row"].max(), "trees": len(group),
        "trees_over": float(group["chance_over"].sum()), "median_per_beat": float(group["median_per_beat"].median()),
        "geometry": shapely.convex_hull(shapely.multipoints(group["geometry"].to_numpy())),
    }


def block_table(
    trees: pd.DataFrame, pressure: pd.DataFrame, draws: FloatArray, counts: pd.DataFrame, *,
    threshold: float | None = None,
) -> pd.DataFrame:
    """Tell for each block how many insects a beat would bring, and how many trees are over, with limits.

    Parameters
    ----------
    trees : DataFrame
        tree, block, status; gone trees are passed over.
    pressure : DataFrame
        tree, mean_per_beat [insects per standard beat], chance_over.
    draws : ndarray of shape (n, t)
        Joint draws of `PressureModel.draw`, one column for each line of ``pressure``.
    counts : DataFrame
        tree of every count in the walks used.
    threshold : float, optional
        The grower's action threshold [insects per standard beat]; without it the limits of trees over are missing.

    Returns
    -------
    DataFrame
        block, trees, beaten (trees with a count), mean_per_beat, median_per_beat, low_80, high_80 [insects per standard
        beat, of the block's mean], trees_over, trees_over_low_80, trees_over_high_80, walked. A block that was not
        walked is unknown: its figures say only what the rest of the grove is like.

    Raises
    ------
    InputRefused
        When a column is missing or the draws have another number of trees.

    Notes
    -----
    Limits come from joint draws: neighbouring trees are wrong together, so limits of single trees can't be added up.

    Examples
    --------
    >>> trees = pd.DataFrame({"tree": ["a", "b"], "block": ["east", "west"], "status": "alive"})
    >>> pressure = pd.DataFrame({"tree": ["a", "b"], "mean_per_beat": [6.0, 1.0], "chance_over": [0.6, 0.1]})
    >>> draws = np.array([[4.0, 1.0], [8.0, 1.0]])
    >>> table = block_table(trees, pressure, draws, pd.DataFrame({"tree": ["a"]}), threshold=5)
    >>> table[["block", "beaten", "mean_per_beat", "trees_over", "walked"]].values.tolist()
    [['east', 1, 6.0, 0.6, True], ['west', 0, 1.0, 0.1, False]]
    >>> len(block_table(trees.iloc[:0], pressure.iloc[:0], draws[:, :0], pd.DataFrame({"tree": []})))
    0
    """
    checks.columns(trees, ["tree", "block", "status"], "trees")
    checks.columns(pressure, ["tree", "mean_per_beat", "chance_over"], "pressure")
    checks.columns(counts, ["tree"], "counts")
    checks.same_length(len(pressure), draws=np.asarray(draws).T)
    block_of = trees.set_index("tree")["block"]
    beaten = pd.Series(counts["tree"].unique()).map(block_of).value_counts()
    alive = trees.loc[trees["status"] != "gone", ["tree", "block"]]
    column = pd.Series(np.arange(len(pressure)), index=pressure["tree"].to_numpy())
    alive = alive[alive["tree"].isin(column.index)]
    lines = []
    for block, inside in alive.groupby("block", sort=False):
        at = column[inside["tree"]].to_numpy()
        number = int(beaten.get(block, 0))
        line = {"block": block, "trees": len(at), "beaten": number, "walked": number > 0}
        lines.append(line | _block(pressure.iloc[at], draws[:, at], threshold))
    return pd.DataFrame(lines, columns=list(_BLOCK_COLUMNS))


_BLOCK_COLUMNS = (
    "block", "trees", "beaten", "mean_per_beat", "median_per_beat", "low_80", "high_80", "trees_over",
    "trees_over_low_80", "trees_over_high_80", "walked",
)


def _block(pressure: pd.DataFrame, draws: FloatArray, threshold: float | None) -> dict[str, float]:
    """Return the figures of one block."""
    low, middle, high = np.quantile(draws.mean(axis=1), [0.1, 0.5, 0.9])
    fewest, most = np.nan, np.nan
    if threshold is not None:
        fewest, most = np.quantile((draws > threshold).sum(axis=1), [0.1, 0.9])
    return {
        "mean_per_beat": float(pressure["mean_per_beat"].mean()), "median_per_beat": float(middle),
        "low_80": float(low), "high_80": float(high), "trees_over": float(pressure["chance_over"].sum(skipna=False)),
        "trees_over_low_80": float(fewest), "trees_over_high_80": float(most),
    }
