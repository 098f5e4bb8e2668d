"""The floor of a row: half-way to its neighbours on either side, without the canopies and the mulch under them."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from gridmap import checks
from gridmap.errors import InputMissing

_CIRCLE = 8


def row_floor(trees: gpd.GeoDataFrame, blocks: gpd.GeoDataFrame, *, mulch_m: float = 0.0) -> gpd.GeoDataFrame:
    """Draw the floor that belongs to each row, where grass can be seen from above.

    Parameters
    ----------
    trees : GeoDataFrame
        `trees` contract; the grove's projected CRS [m].
    blocks : GeoDataFrame
        `blocks` contract: outline, row_spacing_m, tree_spacing_m, canopy_width_m.
    mulch_m : float
        Radius of the mulch or bare circle around each trunk [m], where it is wider than the canopy.

    Returns
    -------
    GeoDataFrame
        block, row, upslope_m (mean of its trees), trees, geometry (Polygon or MultiPolygon, inside the outline); a row
        without any floor is left out.

    Raises
    ------
    InputMissing
        A block whose row spacing the grower has not said.

    Notes
    -----
    Canopies are circles of the tree's own width, else its block's; where neither is told, only mulch is left out.

    Examples
    --------
    >>> table = {"tree": ["a", "b"], "block": "A", "row": 1, "position": [1, 2], "upslope_m": [3.0, 5.0],
    ...     "canopy_width_m": [2.0, np.nan]}
    >>> trees = gpd.GeoDataFrame(table, geometry=gpd.points_from_xy([10, 20], [10, 10]))
    >>> blocks = gpd.GeoDataFrame({"block": ["A"], "row_spacing_m": [6.0], "tree_spacing_m": [10.0],
    ...     "canopy_width_m": [np.nan]}, geometry=[shapely.box(0, 0, 40, 40)])
    >>> row_floor(trees, blocks)[["row", "upslope_m"]].values.tolist()
    [[1.0, 4.0]]
    >>> bool(row_floor(trees, blocks).area.round().iloc[0] == 120 - 3)
    True
    """
    radius = checks.number(mulch_m, "radius of the mulch", "m", least=0.0, most=20.0)
    checks.columns(trees, ["block", "row", "position", "upslope_m", "canopy_width_m", "geometry"], "trees")
    settings = blocks.set_index("block")
    lines = []
    for (block, row), group in trees.sort_values("position").groupby(["block", "row"], sort=True):
        setting = settings.loc[block]
        if not setting["row_spacing_m"] > 0:
            raise InputMissing(f"the row spacing of block {block!r} is not said", "the floor of a row is as wide",
                               "say it first", missing=["row spacing"])
        width = group["canopy_width_m"].fillna(setting["canopy_width_m"]).fillna(0.0).to_numpy(dtype=np.float64)
        circles = shapely.buffer(group.geometry.to_numpy(), np.maximum(width / 2.0, radius), quad_segs=_CIRCLE)
        strip = shapely.intersection(_strip(group, setting), setting.geometry)
        open_floor = shapely.difference(strip, shapely.union_all(circles))
        if open_floor.area > 0.0:
            upslope = float(group["upslope_m"].astype("float64").mean(skipna=True))
            lines.append((block, row, upslope, len(group), open_floor))
    frame = pd.DataFrame(lines, columns=["block", "row", "upslope_m", "trees", "geometry"])
    return gpd.GeoDataFrame(frame, geometry="geometry", crs=trees.crs)


def _strip(group: gpd.GeoDataFrame, setting: pd.Series) -> shapely.Geometry:
    """Return the strip of a row, drawn on by half a tree spacing at both ends."""
    xy = shapely.get_coordinates(group.geometry.to_numpy())
    spacing = setting["tree_spacing_m"] if setting["tree_spacing_m"] > 0 else setting["row_spacing_m"]
    if len(xy) == 1:
        bearing = np.radians(float(setting.get("row_bearing_deg", 0.0) or 0.0))
        along = np.array([np.sin(bearing), np.cos(bearing)])
        xy = np.vstack([xy[0] - along * 0.01, xy[0] + along * 0.01])
    ends = []
    for end, inner in ((xy[0], xy[1]), (xy[-1], xy[-2])):
        away = end - inner
        ends.append(end + away / max(float(np.hypot(*away)), 1e-9) * spacing / 2.0)
    line = shapely.LineString(np.vstack([ends[0], xy, ends[1]]))
    return shapely.buffer(line, float(setting["row_spacing_m"]) / 2.0, cap_style="flat", join_style="mitre")
