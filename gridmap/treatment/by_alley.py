"""Runs of a sprayer that works by alley: which alleys to drive, from where to where, with which side open."""

from __future__ import annotations

from itertools import pairwise
from typing import Any, Final, Literal

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from shapely import ops

from gridmap.checks import FloatArray, columns, number, one_of
from gridmap.errors import InputRefused
from gridmap.ground import alleys
from gridmap.treatment.order import walking_order

#: Said beside every list of them.
DERIVED: Final = ("Alley runs are derived from the chosen trees: every tree of the zone from both of its alleys. They "
                  "are not the cheapest choice of alleys.")
SIDES: Final = ("lower", "upper")
_COLUMNS: Final = ("run", "block", "alley", "side", "from_position", "to_position", "trees", "length_m", "minutes",
                   "litres", "geometry")


def alley_runs(
    treated: pd.DataFrame, trees: gpd.GeoDataFrame, blocks: pd.DataFrame, *, flow_l_per_min: float,
    speed_km_per_h: float, blows: Literal["both_sides", "one_side"] = "both_sides",
    start: tuple[float, float] | None = None,
) -> gpd.GeoDataFrame:
    """Tell which alleys to drive, and where to open which side, so that every tree of a zone is sprayed.

    Parameters
    ----------
    treated : DataFrame
        tree: the trees of the zone.
    trees : GeoDataFrame
        Living trees: tree, block, row, position, geometry (Point); projected CRS [m].
    blocks : DataFrame
        block, row_spacing_m, tree_spacing_m, row_bearing_deg.
    flow_l_per_min : float
        Flow with both sides open [L/min].
    speed_km_per_h : float
        Travel speed while spraying [km/h].
    blows : {"both_sides", "one_side"}
        Whether the sprayer can blow to both sides at once; else an alley is driven once for each side.
    start : (easting, northing), optional
        Where the work starts [m].

    Returns
    -------
    GeoDataFrame
        In driving order: run, block, alley, side (both, lower, upper: the side whose nozzles are open), from_position
        and to_position (of the trees passed, as driven), trees (tree sides sprayed on it), length_m, minutes, litres,
        geometry (LineString as driven). Empty where nothing is treated.

    Raises
    ------
    InputRefused
        A treated tree that is not among the living ones; no flow or speed.

    Notes
    -----
    Each tree is sprayed from the two alleys beside its row, over its own tree spacing: the nozzles shut half a spacing
    beyond the last tree, so at the row's end too, and beside an outer row the outside ones stay off. Minutes = length /
    speed; litres = minutes x flow, half of it with one side open. How the zone was chosen counts runs along rows, so a
    tree at its edge may cost a stretch of alley that the choice did not see.

    Examples
    --------
    >>> places = gpd.points_from_xy([0, 5, 10, 0, 5, 10], [0, 0, 0, 7, 7, 7])
    >>> trees = gpd.GeoDataFrame({"tree": list("abcdef"), "block": "A", "row": [1, 1, 1, 2, 2, 2],
    ...                           "position": [1, 2, 3, 1, 2, 3]}, geometry=places)
    >>> blocks = pd.DataFrame({"block": ["A"], "row_spacing_m": 7, "tree_spacing_m": 5, "row_bearing_deg": 90})
    >>> zone = pd.DataFrame({"tree": ["b", "c", "f"]})
    >>> runs = alley_runs(zone, trees, blocks, flow_l_per_min=30, speed_km_per_h=3)
    >>> runs[["alley", "side", "trees", "length_m"]].values.tolist()
    [[1, 'upper', 2, 10.0], [2, 'both', 2, 5.0], [2, 'lower', 1, 5.0], [3, 'lower', 1, 5.0]]
    >>> len(alley_runs(zone[:0], trees, blocks, flow_l_per_min=30, speed_km_per_h=3))
    0
    """
    columns(treated, ["tree"], "treated trees")
    columns(trees, ["tree", "block", "row", "position", "geometry"], "trees")
    one_of(blows, ("both_sides", "one_side"), "how the sprayer blows")
    flow = number(flow_l_per_min, "flow", "L/min", over=0)
    metres_per_minute = number(speed_km_per_h, "travel speed", "km/h", over=0) * 1000.0 / 60.0
    unknown = sorted(set(treated["tree"]) - set(trees["tree"]))
    if unknown:
        raise InputRefused(f"treated tree {unknown[0]!r} is not among the living trees",
                           "a zone holds living trees only")
    chosen = trees[trees["tree"].isin(set(treated["tree"]))]
    whole = trees[trees["block"].isin(set(chosen["block"]))]
    parts: list[dict[str, object]] = []
    spacing = blocks.set_index("block")["tree_spacing_m"]
    for alley in alleys(whole, blocks).itertuples():
        parts += _stretches(alley, chosen, float(spacing[alley.block]), blows)
    frame = gpd.GeoDataFrame(parts, columns=[name for name in _COLUMNS if name != "run"], geometry="geometry",
                             crs=trees.crs)
    frame["minutes"] = frame["length_m"].astype(np.float64) / metres_per_minute
    frame["litres"] = frame["minutes"] * flow * np.where(frame["side"] == "both", 1.0, 0.5)
    return _as_driven(frame, start)


def _stretches(alley: Any, chosen: gpd.GeoDataFrame, spacing: float, blows: str) -> list[dict[str, object]]:
    """Return the stretches of one alley along which one set of sides is open."""
    line = _longer(alley.geometry, spacing / 2)
    beside = {side: _spans(line, chosen, alley.block, row, spacing)
              for side, row in zip(SIDES, (alley.lower_row, alley.upper_row), strict=True)}
    if blows == "one_side":
        cuts = {side: _cut({side: spans}) for side, spans in beside.items()}
    else:
        cuts = {"both": _cut(beside)}
    found = []
    for low, high, open_sides in (part for stretch in cuts.values() for part in stretch):
        positions = [position for side in open_sides for begin, end, position in beside[side]
                     if begin < high - 1e-6 and end > low + 1e-6]
        found.append({
            "block": alley.block, "alley": int(alley.alley),
            "side": "both" if len(open_sides) == 2 else open_sides[0], "from_position": min(positions),
            "to_position": max(positions), "trees": len(positions), "length_m": high - low, "minutes": np.nan,
            "litres": np.nan, "geometry": ops.substring(line, low, high)})
    return found


def _longer(line: shapely.LineString, by: float) -> shapely.LineString:
    """Draw an alley straight on at both ends, to where the nozzles shut beyond the last tree."""
    xy = shapely.get_coordinates(line)

    def beyond(end: FloatArray, inner: FloatArray) -> FloatArray:
        step = end - inner
        return np.asarray(end + by * step / max(float(np.hypot(*step)), 1e-9))

    return shapely.LineString(np.vstack([beyond(xy[0], xy[1]), xy, beyond(xy[-1], xy[-2])]))


def _spans(
    line: shapely.LineString, chosen: gpd.GeoDataFrame, block: str, row: Any, spacing: float
) -> list[tuple[float, float, int]]:
    """Return (from, to, position) along the alley for each treated tree of one row beside it."""
    if row is None or pd.isna(row):
        return []
    mine = chosen[(chosen["block"] == block) & (chosen["row"] == row)]
    along = shapely.line_locate_point(line, mine.geometry.to_numpy())
    length = float(line.length)
    return [(max(at - spacing / 2, 0.0), min(at + spacing / 2, length), int(position))
            for at, position in zip(along, mine["position"], strict=True)]


def _cut(beside: dict[str, list[tuple[float, float, int]]]) -> list[tuple[float, float, tuple[str, ...]]]:
    """Cut an alley where a side opens or shuts, and join neighbours with the same sides open."""
    marks = sorted({round(value, 6) for spans in beside.values() for span in spans for value in span[:2]})
    parts: list[tuple[float, float, tuple[str, ...]]] = []
    for low, high in pairwise(marks):
        middle = 0.5 * (low + high)
        sides = tuple(side for side, spans in beside.items() if any(a <= middle <= b for a, b, _ in spans))
        # Trees stand a few decimetres off their spacing: a slit narrower than that is no place to shut a nozzle.
        if not sides or high - low < 1e-6:
            continue
        if parts and parts[-1][1] == low and parts[-1][2] == sides:
            parts[-1] = (parts[-1][0], high, sides)
        else:
            parts.append((low, high, sides))
    return _without_slits(parts)


def _without_slits(parts: list[tuple[float, float, tuple[str, ...]]]) -> list[tuple[float, float, tuple[str, ...]]]:
    """Give a stretch under two metres to a neighbour that touches it and has all of its sides open."""
    kept = list(parts)
    i = 0
    while i < len(kept):
        low, high, sides = kept[i]
        if high - low < 2.0:
            for j in (i - 1, i + 1):
                if 0 <= j < len(kept) and set(sides) <= set(kept[j][2]) and (kept[j][1] == low or kept[j][0] == high):
                    kept[j] = (min(kept[j][0], low), max(kept[j][1], high), kept[j][2])
                    del kept[i]
                    i -= 1
                    break
        i += 1
    return kept


def _as_driven(frame: gpd.GeoDataFrame, start: tuple[float, float] | None) -> gpd.GeoDataFrame:
    """Put the stretches in driving order, each drawn the way it is driven."""
    if not len(frame):
        return frame.assign(run=pd.Series(dtype="int64"))[list(_COLUMNS)]
    ends = np.array([[line.coords[0], line.coords[-1]] for line in frame.geometry])[..., :2]
    key = frame.assign(row=frame["alley"], from_position=frame["from_position"])
    order, backwards = walking_order(key, ends[:, 0], ends[:, 1], start=start)
    turned = frame.copy()
    turned.loc[backwards, ["from_position", "to_position"]] = frame.loc[
        backwards, ["to_position", "from_position"]].to_numpy()
    lines = frame.geometry.to_numpy().copy()
    lines[backwards] = shapely.reverse(lines[backwards])
    turned = turned.set_geometry(gpd.GeoSeries(lines, index=frame.index, crs=frame.crs)).iloc[order]
    turned["run"] = np.arange(1, len(turned) + 1)
    return turned.reset_index(drop=True)[list(_COLUMNS)]
