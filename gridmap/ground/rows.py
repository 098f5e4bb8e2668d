"""Straight rows: where the trees of a block stand, and the numbers they carry for life."""

from __future__ import annotations

from typing import Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from gridmap import checks
from gridmap.checks import BoolArray, FloatArray, IntArray
from gridmap.errors import InputRefused
from gridmap.ground.outlines import check_outline

# Rows this close to straight up the slope have no lower side worth the name: see Notes of `generate_rows`.
UP_DOWN_DEG: Final = 10.0
MOST_PLACES: Final = 2_000_000
_TOLERANCE_M: Final = 1e-6


def generate_rows(
    outline: shapely.Polygon,
    *,
    row_bearing_deg: float,
    row_spacing_m: float,
    tree_spacing_m: float,
    headland_m: float,
    uphill_bearing_deg: float,
    crs: object = None,
) -> gpd.GeoDataFrame:
    """Lay straight rows of trees into a block and number them.

    Parameters
    ----------
    outline : Polygon
        The block, holes allowed; the grove's projected CRS [m].
    row_bearing_deg : float
        Direction of the rows [degrees clockwise from grid north]; the opposite bearing gives the same rows.
    row_spacing_m, tree_spacing_m : float
        Distance between rows and between trees in a row [m], over 0.
    headland_m : float
        Width kept free along the whole outline, holes included [m], 0 or more.
    uphill_bearing_deg : float
        Direction straight up the slope [degrees clockwise from grid north].
    crs : optional
        CRS of the outline, passed on to the frame.

    Returns
    -------
    GeoDataFrame
        row, position, geometry (Point), in the order of rows and positions.

    Raises
    ------
    InputRefused
        A spacing that is no number over 0; no room for a single tree; over two million places.

    Notes
    -----
    Trees stand on one grid, turned by the row bearing and centred in what the headland leaves, so that they line up
    across rows too. Row 1 is the lowest row, position 1 the left end for somebody who looks uphill. Both follow from
    the slope across the rows; for rows within 10 degrees of straight up the slope, where a degree more or less would
    turn the numbers round, row 1 is the leftmost row looking uphill and position 1 its lowest tree.

    A row that a hole or a bay interrupts keeps its one number, and its positions count the places that are not there:
    the difference of two positions times the tree spacing is always their distance. Each row starts at position 1 at
    its own first tree. Without a headland no tree stands on the outline itself.

    Examples
    --------
    >>> block = shapely.box(0, 0, 40, 28)
    >>> spacings = {"row_spacing_m": 6, "tree_spacing_m": 5, "headland_m": 5}
    >>> trees = generate_rows(block, row_bearing_deg=90, uphill_bearing_deg=0, **spacings)
    >>> trees.groupby("row").size().to_dict()
    {1: 7, 2: 7, 3: 7, 4: 7}
    >>> trees.geometry.iloc[0]
    <POINT (5 5)>
    """
    outline = check_outline(outline)
    row_spacing = checks.number(row_spacing_m, "row spacing", "m", over=0)
    tree_spacing = checks.number(tree_spacing_m, "tree spacing", "m", over=0)
    headland = checks.number(headland_m, "headland", "m", least=0)
    along, across = row_directions(row_bearing_deg, uphill_bearing_deg)
    free = shapely.buffer(outline, -headland) if headland > _TOLERANCE_M else outline
    if free.is_empty:
        what = f"a headland of {headland:g} m leaves no room in a block of {outline.area:,.0f} m2"
        raise InputRefused(what, "no tree would stand in it", "take a smaller headland")
    corners = shapely.get_coordinates(free)
    size_m = np.ptp(corners @ np.column_stack([along, across]), axis=0)
    if np.prod(size_m / [tree_spacing, row_spacing] + 1) > MOST_PLACES:
        what = f"spacings of {row_spacing:g} by {tree_spacing:g} m give over {MOST_PLACES:,} places"
        raise InputRefused(what, "no grove has so many", "check the spacings and the CRS")
    rows = _centred(corners @ across, row_spacing, on_edge=headland > _TOLERANCE_M)
    positions = _centred(corners @ along, tree_spacing, on_edge=headland > _TOLERANCE_M)
    row, position = np.divmod(np.arange(len(rows) * len(positions)), len(positions))
    xy = rows[row, None] * across + positions[position, None] * along
    inside = _inside(outline, xy, headland)
    if not inside.any():
        rule = "the spacings are wider than what the headland leaves"
        raise InputRefused("the block has no room for a tree", rule, "take smaller spacings")
    row, position = _number(row[inside], position[inside])
    return gpd.GeoDataFrame({"row": row, "position": position}, geometry=gpd.points_from_xy(*xy[inside].T), crs=crs)


def row_directions(row_bearing_deg: float, uphill_bearing_deg: float) -> tuple[FloatArray, FloatArray]:
    """Tell in which directions positions and rows count up.

    Parameters
    ----------
    row_bearing_deg, uphill_bearing_deg : float
        As in `generate_rows` [degrees clockwise from grid north].

    Returns
    -------
    along, across : (2,) arrays
        Unit vectors (east, north): of growing position, and of growing row number.

    Examples
    --------
    >>> along, across = row_directions(270, 0)
    >>> (along.round(6) + 0).tolist(), (across.round(6) + 0).tolist()
    ([1.0, 0.0], [0.0, 1.0])
    """
    row = _unit(checks.bearing_deg(row_bearing_deg, "row bearing"))
    uphill = _unit(checks.bearing_deg(uphill_bearing_deg, "uphill bearing"))
    right = np.array([uphill[1], -uphill[0]])
    normal = np.array([row[1], -row[0]])
    if abs(row @ right) < np.sin(np.radians(UP_DOWN_DEG)):
        return row * _sign(float(row @ uphill)), normal * _sign(float(normal @ right))
    return row * _sign(float(row @ right)), normal * _sign(float(normal @ uphill))


def number_places(trees: gpd.GeoDataFrame, blocks: pd.DataFrame) -> gpd.GeoDataFrame:
    """Give the trees along each row their numbers where an import names block and row but no position.

    Parameters
    ----------
    trees : GeoDataFrame
        block, row, geometry (Point), and optionally position; the grove's projected CRS [m].
    blocks : DataFrame
        block, row_bearing_deg, tree_spacing_m, uphill_bearing_deg.

    Returns
    -------
    GeoDataFrame
        The same with whole row and position; a position that was given stays, and a row where one is missing is
        numbered anew from its left end looking uphill, gaps of a multiple of the tree spacing counted.

    Raises
    ------
    InputRefused
        A block that is not there; a row or position that is no whole number over 0; a place given twice.

    Examples
    --------
    >>> facts = {"block": "A", "row_bearing_deg": 90.0, "tree_spacing_m": 5.0, "uphill_bearing_deg": 0.0}
    >>> blocks = pd.DataFrame([facts])
    >>> places = gpd.points_from_xy([20, 5, 10], [5, 5, 5])
    >>> trees = gpd.GeoDataFrame({"block": ["A"] * 3, "row": [1] * 3}, geometry=places)
    >>> number_places(trees, blocks)["position"].tolist()
    [4, 1, 2]
    """
    checks.columns(trees, ["block", "row", "geometry"], "trees")
    unknown = sorted(set(trees["block"]) - set(blocks["block"]))
    if unknown:
        what = f"block {unknown[0]!r} of the trees is not in the grove"
        raise InputRefused(what, "every tree stands in a known block", "import its outline first")
    given = trees["position"] if "position" in trees else pd.Series(np.nan, index=trees.index)
    result = trees.assign(row=_whole(trees["row"], "row"), position=given)
    xy = shapely.get_coordinates(trees.geometry.to_numpy())
    settings = blocks.set_index("block")
    position = pd.to_numeric(given, errors="coerce").to_numpy(dtype=np.float64, na_value=np.nan).copy()
    for (block, _), places in result.groupby(["block", "row"], sort=False).indices.items():
        if np.isnan(position[places]).any():
            position[places] = _along(xy[places], settings.loc[block])
    result["position"] = _whole(pd.Series(position, index=trees.index), "position")
    twice = result.duplicated(["block", "row", "position"])
    if twice.any():
        first = result[twice].iloc[0]
        what = f"place {first['block']} row {first['row']} position {first['position']} is given twice"
        raise InputRefused(what, "one plant stands in a place", "correct the numbers")
    return result


def _along(xy: FloatArray, block: pd.Series[float]) -> FloatArray:
    """Count along one row by the distance along its own main direction, from the left looking uphill."""
    along, _ = row_directions(block["row_bearing_deg"], block["uphill_bearing_deg"])
    if len(xy) > 1:
        main = np.linalg.svd(xy - xy.mean(axis=0))[2][0]
        along = main * _sign(float(main @ along))
    spacing = checks.number(
        block["tree_spacing_m"], "tree spacing", "m", over=0, remedy="give the block its tree spacing first"
    )
    distance: FloatArray = xy @ along
    order = np.argsort(distance, kind="stable")
    steps = np.maximum(np.rint(np.diff(distance[order]) / spacing), 1.0)
    position = np.empty(len(xy))
    position[order] = np.concatenate([[1.0], 1.0 + np.cumsum(steps)])
    return position


def _whole(values: pd.Series[float], name: str) -> IntArray:
    numbers = pd.to_numeric(values, errors="coerce").to_numpy(dtype=np.float64, na_value=np.nan)
    bad = ~(np.isfinite(numbers) & (numbers == np.rint(numbers)) & (numbers >= 1))
    if bad.any():
        found = values.iloc[int(np.flatnonzero(bad)[0])]
        raise InputRefused(f"{name} is {found}", "it must be a whole number from 1 on")
    return numbers.astype(np.int64)


def _unit(bearing_deg: float) -> FloatArray:
    """Return the unit vector (east, north) of a bearing clockwise from north."""
    angle = np.radians(bearing_deg)
    return np.array([np.sin(angle), np.cos(angle)])


def _sign(value: float) -> float:
    return 1.0 if value >= 0 else -1.0


def _centred(extent: FloatArray, spacing_m: float, *, on_edge: bool) -> FloatArray:
    """Return as many steps of the spacing as the extent holds, in its middle."""
    low, high = float(extent.min()), float(extent.max())
    # A width that is a whole multiple of the spacing holds one row more, if rows may stand on its two edges.
    slack = _TOLERANCE_M if on_edge else -_TOLERANCE_M
    steps = max(int(np.floor((high - low + slack) / spacing_m)), 0)
    return np.asarray((low + high) / 2 + (np.arange(steps + 1) - steps / 2) * spacing_m, dtype=np.float64)


def _inside(outline: shapely.Polygon, xy: FloatArray, headland_m: float) -> BoolArray:
    """Tell which places are in the outline and the headland away from every edge (exact, unlike a rounded buffer)."""
    shapely.prepare(outline)
    inside = shapely.contains_xy(outline, xy)
    if headland_m > _TOLERANCE_M:
        edge = outline.boundary
        shapely.prepare(edge)
        inside[inside] = ~shapely.dwithin(shapely.points(xy[inside]), edge, headland_m - _TOLERANCE_M)
    return np.asarray(inside)


def _number(row: IntArray, position: IntArray) -> tuple[IntArray, IntArray]:
    """Start rows at 1 at the first that has a tree, and every row at 1 at its own first tree."""
    first = np.full(int(row.max()) + 1, np.iinfo(np.int64).max)
    np.minimum.at(first, row, position)
    return row - row.min() + 1, position - first[row] + 1
