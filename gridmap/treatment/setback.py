"""Trees that can't be sprayed because something that must never be sprayed is too near."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from gridmap.checks import BoolArray, FloatArray, columns, number
from gridmap.treatment.rows import Rows

# A circle drawn with 64 corners a quarter lies inside the true one; widening by 1/cos(half a side's angle) puts it
# outside, so the drawn setback is never narrower than the grower's (0.08 mm too wide for each metre). Outlines are
# rounded to 1 mm (see outline.py), hence 2 mm more; both far below the error of any position.
_QUARTER: Final = 64
_WIDENED: Final = 1.0 / math.cos(math.pi / (4 * _QUARTER))
_ROUNDING_M: Final = 0.002


@dataclass(frozen=True)
class Setback:
    """What the keep-outs forbid.

    Parameters
    ----------
    barred : DataFrame
        tree, reason (words), keep_out, distance_m (from the keep-out to the canopy's edge, 0 where it reaches in).
    mask : (n,) array of bool
        The same over all living trees.
    shut_before : (n,) array of bool
        Trees that the forbidden ground parts from the tree before them in the row.
    area : Geometry
        Forbidden ground.
    notes : tuple of str
        What had to be taken instead of a canopy width.
    """

    barred: pd.DataFrame
    mask: BoolArray
    shut_before: BoolArray
    area: Any
    notes: tuple[str, ...]


def apply_setbacks(rows: Rows, blocks: gpd.GeoDataFrame, keep_outs: gpd.GeoDataFrame | None) -> Setback:
    """Tell which trees stand too near something that must not be sprayed.

    Parameters
    ----------
    rows : Rows
        Living trees.
    blocks, keep_outs : GeoDataFrame
        As in the contract, in the CRS of the trees [m]; None or empty keep-outs forbid nothing.

    Returns
    -------
    Setback

    Notes
    -----
    A tree is barred when its trunk's distance to the keep-out less half its canopy width is under the setback, or when
    it stands inside. Where neither tree nor block has a canopy width, the canopy is taken to reach half the smaller
    spacing (the widest that fits between neighbours: more trees are barred, never fewer) and a note says so.
    """
    reach, notes = _canopy_reach(rows, blocks)
    n = len(rows)
    empty = pd.DataFrame({"tree": pd.Series(dtype=object), "reason": pd.Series(dtype=object),
                          "keep_out": pd.Series(dtype=object), "distance_m": pd.Series(dtype=np.float64)})
    if keep_outs is None or len(keep_outs) == 0:
        return Setback(empty, np.zeros(n, dtype=bool), np.zeros(n, dtype=bool), shapely.Polygon(), ())
    columns(keep_outs, ["keep_out", "name", "kind", "setback_m", "geometry"], "keep_outs")
    typed = np.array([number(value, f"setback of {name}", "m", least=0)
                      for value, name in zip(keep_outs["setback_m"], keep_outs["name"], strict=True)])
    wide = typed * _WIDENED + _ROUNDING_M
    shapes = keep_outs.geometry.to_numpy()
    area = shapely.union_all(shapely.buffer(shapes, wide, quad_segs=_QUARTER))
    if n == 0:
        return Setback(empty, np.zeros(0, dtype=bool), np.zeros(0, dtype=bool), area, ())
    points = rows.trees.geometry.to_numpy()
    near, tree = shapely.STRtree(points).query(shapes, predicate="dwithin", distance=wide + reach.max())
    distance = shapely.distance(shapes[near], points[tree])
    hit = (distance - reach[tree] < wide[near]) | (distance == 0)
    near, tree, edge = near[hit], tree[hit], np.maximum(distance[hit] - reach[tree[hit]], 0.0)
    order = np.lexsort((edge, tree))
    tree_once, at = np.unique(tree[order], return_index=True)
    near, edge = near[order][at], edge[order][at]
    mask = np.zeros(n, dtype=bool)
    mask[tree_once] = True
    barred = pd.DataFrame({
        "tree": rows.trees["tree"].to_numpy()[tree_once],
        "reason": [_reason(keep_outs.iloc[k], e) for k, e in zip(near, edge, strict=True)],
        "keep_out": keep_outs["keep_out"].to_numpy()[near],
        "distance_m": edge,
    })
    return Setback(barred, mask, _parted(rows, area), area, notes)


def _reason(keep_out: pd.Series, edge_m: float) -> str:
    where = "its canopy reaches in" if edge_m == 0 else f"its canopy is {edge_m:.1f} m away"
    return f"within {keep_out['setback_m']:g} m of {keep_out['name'] or keep_out['kind']}: {where}"


def _canopy_reach(rows: Rows, blocks: gpd.GeoDataFrame) -> tuple[FloatArray, tuple[str, ...]]:
    """Return half the canopy width of each tree [m], and a note on the trees that have none."""
    trees = rows.trees
    width = pd.Series(np.nan, index=trees.index, dtype=np.float64)
    if "canopy_width_m" in trees.columns:
        width = trees["canopy_width_m"].astype(np.float64)
    if "canopy_width_m" in blocks.columns:
        width = width.fillna(trees["block"].map(blocks.set_index("block")["canopy_width_m"]).astype(np.float64))
    without = ~(width >= 0)
    spacing = np.minimum(trees["row_spacing_m"], trees["tree_spacing_m"])
    reach = np.asarray(np.where(without, spacing, width) / 2.0, dtype=np.float64)
    if not without.any():
        return reach, ()
    names = ", ".join(sorted(set(trees.loc[without, "block"])))
    return reach, (f"Canopy width is not known for {int(without.sum())} trees ({names}): setbacks are measured as if a "
                   "canopy reached half the smaller spacing, the widest that fits. Type canopy widths to measure from "
                   "the real edge.",)


def _parted(rows: Rows, area: Any) -> BoolArray:
    """Tell where forbidden ground lies between a tree and the one before it in its row."""
    parted = np.zeros(len(rows), dtype=bool)
    later = np.flatnonzero(~rows.first)
    if later.size and not area.is_empty:
        shapely.prepare(area)
        between = shapely.linestrings(np.stack([rows.xy[later - 1], rows.xy[later]], axis=1))
        parted[later] = shapely.intersects(area, between)
    return parted
